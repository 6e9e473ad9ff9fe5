"""``trayopt sheets``: write the sheets for the crew, the store and the files."""

from __future__ import annotations

from typing import Unpack

import click

from trayopt.cli.common import common, folder_option
from trayopt.cli.exitcodes import Exit
from trayopt.cli.output import Output
from trayopt.cli.sheet_options import SheetOptions, sheet_options


@click.command("sheets", short_help="Write the crew's sheets for a plan.")
@click.argument("job", metavar="JOB", type=click.Path(allow_dash=True))
@click.argument("plan", metavar="PLAN", type=click.Path(allow_dash=True))
@folder_option("Folder to write; it is made if it does not exist.", required=True)
@sheet_options
@common
def command(
    output: Output,
    job: str,
    plan: str,
    folder: str,
    **options: Unpack[SheetOptions],
) -> int:
    """Write the sheets of PLAN, a plan in JSON for JOB, into DIR.

    DIR/index.html is one page for tablet and paper. DIR also gets a CSV file for every list, all lists in lists.xlsx, the
    pictures, and settings.yaml with every figure that the sheets assume: change it, and pass it back with --settings. Exit
    code 1: the sheets are written, but the plan has unplaced splices or broken musts.
    """
    from trayopt.api import load_job
    from trayopt.api import sheets as make
    from trayopt.rules.words import several

    sheets = make(load_job(job, library=output.library, warn=output.unusual), plan, warn=output.unusual, **options)
    written = sheets.write(folder)
    for warning in [*sheets.left_out(), *sheets.warnings()]:
        output.warn(warning)
    output.answer(
        lambda: {"folder": folder, "written": written},
        lambda: f"{several(len(written), 'file')} written to {folder}; open {folder}/index.html",
        lambda: f"{folder}/index.html",
    )
    return Exit.YES if not sheets.book.troubled else Exit.NO
