"""``trayopt new``: a starter job with its keys explained."""

from __future__ import annotations

from pathlib import Path

import click

from trayopt.cli.common import common
from trayopt.cli.output import Output

STARTER = Path(__file__).parent.parent / "starter.yaml"


@click.command("new", short_help="Write a starter job with its keys explained.")
@click.argument("file", metavar="FILE", type=click.Path(allow_dash=True))
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@common
def command(output: Output, file: str, force: bool) -> None:
    """Write a starter job to FILE (or to stdout for -): it solves as it is, and its keys are explained beside them."""
    from trayopt.errors import InputError
    from trayopt.formats.json_out import write_whole

    if file != "-" and not force and (Path(file).exists() or Path(file).is_symlink()):
        raise InputError.one("there is such a file already", source=file, hint="choose another name, or add --force")
    write_whole(file, STARTER.read_text(encoding="utf-8"))
    if file != "-":
        output.answer(lambda: {"written": file}, lambda: f"{file} written; next: trayopt solve {file}", lambda: file)
