"""``trayopt new``: a starter job with its keys explained, or an empty table for a job."""

from __future__ import annotations

from pathlib import Path

import click

from trayopt.cli.common import common
from trayopt.cli.output import Output

STARTER = Path(__file__).parent.parent / "starter.yaml"


@click.command("new", short_help="Write a starter job, or an empty table for a job.")
@click.argument("file", metavar="FILE", type=click.Path(allow_dash=True))
@click.option(
    "--table", metavar="TABLE", help="Write an empty table (.csv, .xlsx) for the job FILE, to be filled in by hand."
)
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@common
def command(output: Output, file: str, table: str | None, force: bool) -> None:
    """Write a starter job to FILE (or to stdout for -): it solves as it is, and its keys are explained beside them.

    With --table FILE is a job, and TABLE an empty table for it that check and mend read when it is filled in.
    """
    from trayopt.formats.json_out import write_whole

    target = file if table is None else table
    _not_there(target, force=force)
    if table is None:
        write_whole(file, STARTER.read_text(encoding="utf-8"))
        following = f"trayopt solve {file}"
    else:
        from trayopt.api import load_job
        from trayopt.review.sheet_out import empty_rows, write_table

        job = load_job(file, library=output.library)
        write_table(table, job, empty_rows(job))
        following = f"fill it in, then trayopt check {file} {table}"
    if target != "-":
        output.answer(lambda: {"written": target}, lambda: f"{target} written; next: {following}", lambda: target)


def _not_there(target: str, *, force: bool) -> None:
    from trayopt.errors import InputError

    if target != "-" and not force and (Path(target).exists() or Path(target).is_symlink()):
        raise InputError.one("there is such a file already", source=target, hint="choose another name, or add --force")
