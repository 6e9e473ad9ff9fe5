"""``trayopt desk``: serve a page on this machine, to write a job and to try a plan by hand."""

from __future__ import annotations

import contextlib
import importlib.util
from pathlib import Path

import click

from trayopt.cli.common import common
from trayopt.cli.exitcodes import Exit
from trayopt.cli.output import Output
from trayopt.cli.stopping import STOPPING

NEEDED = ("starlette", "uvicorn")


@click.command("desk", short_help="Open a page to write a job and to try a plan by hand.")
@click.argument("job", metavar="JOB", type=click.Path())
@click.argument("plan", metavar="[PLAN]", required=False, type=click.Path())
@click.option("--port", type=click.IntRange(0, 65535), default=0, metavar="N", help="Port; by default any free port.")
@click.option(
    "--workers", type=click.IntRange(1, 64), default=8, show_default=True, metavar="N", help="Search threads."
)
@click.option("--browser", is_flag=True, help="Open the page in the browser of this machine.")
@common
def command(output: Output, job: str, plan: str | None, port: int, workers: int, browser: bool) -> int:
    """Serve a page for JOB to this machine alone, until Ctrl-C: forms for the job, the box, and a plan to move legs in.

    PLAN is a plan in JSON or a hand-made table. Without PLAN, the desk opens JOB-plan.json beside the job, if it exists.
    The page's address holds a token; requests without it are refused. Unsaved changes are kept in a hidden file beside JOB,
    and the next desk offers them.
    """
    from trayopt.errors import InputError

    missing = [name for name in NEEDED if importlib.util.find_spec(name) is None]
    if missing:
        raise InputError.one(
            "the desk needs more than the rest of trayopt", source="desk", found=f"no {', '.join(missing)}",
            hint="pip install 'trayopt[desk]'",
        )  # fmt: skip
    from trayopt.desk.desk import Desk
    from trayopt.desk.server import Served

    desk = Desk(Path(job), None if plan is None else Path(plan), output.library, workers=workers)
    with Served(desk, port) as served, STOPPING.keeping(lambda _: None) as stop:
        address = served.address
        output.answer(lambda: {"address": address}, lambda: f"{address}\nCtrl-C closes the desk.", lambda: address)
        _flush()
        if browser:
            import webbrowser

            with contextlib.suppress(webbrowser.Error):
                webbrowser.open(address)
        stop.wait()
    if desk.keeping.file.exists():
        output.warn(f"not saved; kept in {desk.keeping.file}, which the next desk of {job} offers")
    return Exit.YES


def _flush() -> None:
    import sys

    sys.stdout.flush()
