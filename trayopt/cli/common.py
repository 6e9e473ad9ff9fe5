"""The options that every command takes, and the handling of errors in commands."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from trayopt.cli.completing import FOLDER, Named
from trayopt.cli.exitcodes import Exit
from trayopt.cli.output import Output, error_text
from trayopt.cli.stopping import STOPPING

F = TypeVar("F", bound=Callable[..., Any])

_LIBRARY = click.option(
    "--library",
    "library",
    multiple=True,
    metavar="DIR",
    type=Named("dir", Path),
    help="Look for entries here first; may repeat, the last comes first.",
)
_FORMAT = click.option(
    "--format",
    "format_",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="Form of the answer.",
)
_QUIET = click.option("-q", "--quiet", is_flag=True, help="Print only the answer, as short as it can be.")
_VERBOSE = click.option("-v", "--verbose", is_flag=True, help="Print more, and the traceback of a fault of trayopt.")


def folder_option(says: str, *, required: bool = False) -> Callable[[F], F]:
    """Make the option for the folder that a command writes."""
    return click.option("-o", "--output", "folder", metavar="DIR", type=FOLDER, required=required, help=says)


def common(command: Callable[..., int | None]) -> Callable[..., int]:
    """Add ``--library``, ``--format``, ``-q`` and ``-v`` to a command, which gets them as an ``Output``, its first argument.

    The command returns the exit code; None means 0. Faults of input lead to exit code 2, any other exception to 4.
    """

    @functools.wraps(command)
    def run(library: tuple[Path, ...], format_: str, quiet: bool, verbose: bool, **rest: Any) -> int:
        output = Output(library, "json" if format_ == "json" else "text", quiet, verbose)
        from trayopt.errors import InputError, SolverFault

        try:
            code = command(output, **rest)
            return Exit.YES if code is None else code
        except InputError as wrong:
            output.faults(wrong)
            return Exit.INPUT
        except BrokenPipeError:
            return Exit.PIPE_CLOSED
        except (click.ClickException, click.Abort, click.exceptions.Exit):
            raise
        except Exception as fault:
            STOPPING.obey()  # a module that is being loaded may turn an interruption into a fault of its own
            if isinstance(fault, OSError) and fault.filename is None:
                raise  # from a standard stream
            said = str(fault) if isinstance(fault, SolverFault) else f"{type(fault).__name__}: {fault}"
            _tell(output, said)
            return Exit.FAULT

    for option in (_VERBOSE, _QUIET, _FORMAT, _LIBRARY):
        run = option(run)
    return run


def _tell(output: Output, said: str) -> None:
    import traceback

    if output.verbose:
        traceback.print_exc()
    line = " ".join(said.split())
    hint = "" if output.verbose else " (run again with -v for the traceback)"
    error_text(f"trayopt: a fault of trayopt itself: {line}{hint}\n")
