"""The group of commands, which loads a command only when it is asked for, and the end of every run."""

from __future__ import annotations

import atexit
import gc
import os
import pkgutil
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import NoReturn

import click

from trayopt.cli import commands, streams
from trayopt.cli.exitcodes import Exit
from trayopt.cli.output import error_text
from trayopt.cli.stopping import STOPPING
from trayopt.version import __version__

ORDER = (
    "solve",
    "check",
    "mend",
    "compare",
    "explain",
    "grow",
    "batch",
    "sheets",
    "record",
    "library",
    "schema",
    "new",
    "desk",
)
"""Commands in the order of the help; other commands follow in the order of their names."""


class LazyGroup(click.Group):
    """Group that finds a command in the file of that name in ``trayopt.cli.commands``, as its ``command``."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands, in the order of the help."""
        del ctx
        names = [module.name for module in pkgutil.iter_modules(commands.__path__)]
        return sorted(names, key=lambda name: (ORDER.index(name) if name in ORDER else len(ORDER), name))

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Load a command; None if there is no command of that name."""
        if cmd_name not in self.list_commands(ctx):
            return None
        command: click.Command = import_module(f"{commands.__name__}.{cmd_name}").command
        return command


def _man(context: click.Context, option: click.Parameter, asked: bool) -> None:
    """Print the man page and end the run."""
    del option
    if asked and not context.resilient_parsing:
        from trayopt.cli.manpage import man_page

        sys.stdout.write(man_page(group, __version__))
        context.exit()


@click.group(
    "trayopt",
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Exit codes: 0 yes, 1 no, 2 usage or input, 3 stopped without a plan, 4 a fault of trayopt itself.",
)
@click.version_option(__version__, prog_name="trayopt", message="%(prog)s %(version)s")
@click.option(
    "--man", is_flag=True, expose_value=False, is_eager=True, callback=_man, help="Print the man page and exit."
)
def group() -> None:
    """Plan where the legs of high-count fibre trunks go: ports, travel, loops, divisions, trays and lengths."""


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run a command and end the process with its exit code."""
    _start_light()
    streams.ready()
    try:
        code = _run(arguments)
    except BrokenPipeError:
        code = Exit.PIPE_CLOSED
    except OSError as wrong:  # from a standard stream: errors of files become faults that name the file
        code = _unwritten(wrong)
    wrong_end = streams.flushed()
    if isinstance(wrong_end, BrokenPipeError):
        code = Exit.PIPE_CLOSED
    elif wrong_end is not None:
        code = _unwritten(wrong_end)
    _end(code)


def _unwritten(wrong: OSError) -> int:
    error_text(f"standard output cannot be written: {wrong.strerror or wrong}\n")
    return Exit.INPUT


def _end(code: int) -> NoReturn:
    """End the process, without waiting for a search that did not end in time.

    A run that was asked to end uses ``os._exit`` with its own code: after an interruption in code made from text, the
    interpreter would end itself by the signal.
    """
    solving = sys.modules.get("trayopt.solver.model.in_time")
    if STOPPING.asked is not None or (solving is not None and solving.left_behind()):
        streams.flushed()
        os._exit(code)
    sys.exit(code)


def _start_light() -> None:
    """Turn off what costs a short command the most time apart from its work.

    A command keeps its objects to the end, so garbage is collected rarely, and not again at the end. A validator of pydantic
    would look for plugins in the metadata of every installed package; trayopt uses none.
    """
    gc.set_threshold(1_000_000)
    atexit.register(gc.freeze)
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")


def _run(arguments: Sequence[str] | None) -> int:
    try:
        result = group.main(args=arguments, prog_name="trayopt", standalone_mode=False)
    except click.exceptions.Exit as end:
        return end.exit_code
    except (click.Abort, KeyboardInterrupt) as end:
        line_end = (
            "" if isinstance(end, click.Abort) else "\n"
        )  # ends the line of the terminal's ^C; click does so itself
        if STOPPING.asked in {None, "SIGINT"}:
            error_text(f"{line_end}interrupted\n")
            return Exit.INTERRUPTED
        error_text(f"{line_end}ended by {STOPPING.asked}\n")
        return Exit.TERMINATED
    except click.ClickException as wrong:
        wrong.show()
        return Exit.INPUT
    return result if isinstance(result, int) else Exit.YES
