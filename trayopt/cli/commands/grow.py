"""``trayopt grow``: find how much more a box can take, and what stops the next trunk."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from trayopt.cli.common import common, folder_option
from trayopt.cli.exitcodes import Exit
from trayopt.cli.output import Output

if TYPE_CHECKING:
    from trayopt.domain.job import Job
    from trayopt.explainer.growth import By, Growth


@click.command("grow", short_help="Say how many more trunks a box takes, and what stops the next one.")
@click.argument("job", metavar="JOB", type=click.Path(allow_dash=True))
@click.option(
    "--cable", required=True, metavar="ID", help="The cable of the new trunks: one of the job's or of the library."
)
@click.option(
    "--to", metavar="TRUNK",
    help="Join them to the spare fibres of this trunk, from the lowest up; without it they come in pairs, joined to each other.",
)  # fmt: skip
@click.option(
    "--by", type=click.Choice(["trunk", "subunit"]), default="trunk", show_default=True,
    help="Count whole trunks, or the joined subunits of one.",
)  # fmt: skip
@click.option(
    "--ways-out", type=click.IntRange(0, 100), default=5, show_default=True, metavar="N",
    help="Show up to N ways out for the next one that give something up. 0 looks for none.",
)  # fmt: skip
@click.option(
    "--time-limit", "time_limit_s", type=click.FloatRange(min=0, min_open=True), default=60.0, show_default=True,
    metavar="S", help="Time limit in seconds; whatever is not proven by then is marked as not proven.",
)  # fmt: skip
@click.option("--reproducible", is_flag=True, help="No clock: the same answer, byte for byte.")
@folder_option("Write the job with all that fits, and the plan that proves it.")
@common
def command(
    output: Output,
    job: str,
    cable: str,
    to: str | None,
    by: By,
    ways_out: int,
    time_limit_s: float,
    reproducible: bool,
    folder: str | None,
) -> int:
    """Find how many more trunks of a cable, or subunits of one such trunk, fit into the box of JOB.

    What is built stays; everything else may be decided anew. A plan proves that so many fit, and a refutation that one more
    does not. The answer names the rules that stop the next one, and ways out.

    Exit code 1: not one more fits; 3: the time ended before one was proven to fit.
    """
    from trayopt.api import grow, load_job
    from trayopt.explainer.growth_words import as_dict, said, text

    loaded = load_job(job, library=output.library, warn=output.unusual)
    if not reproducible:
        time_limit_s = output.left(time_limit_s)
    found = grow(
        loaded,
        cable,
        to=to,
        by=by,
        ways_out=ways_out,
        time_limit_s=time_limit_s,
        reproducible=reproducible,
        library=output.library,
        job_file=None if job == "-" else Path(job).name,
    )
    if folder is not None:
        _write(output, loaded, job, found, folder)
    output.answer(lambda: as_dict(found), lambda: text(found, output.console().width), lambda: said(found))
    if found.fits:
        return Exit.YES
    return Exit.NO if found.settled else Exit.NOTHING


def _write(output: Output, job: Job, source: str, found: Growth, folder: str) -> None:
    """Write the job with everything that fits, and its plan."""
    from trayopt.api import grown_plan
    from trayopt.api.changing import changed_file
    from trayopt.explainer.growth_words import said
    from trayopt.formats.folder_out import write_folder_whole
    from trayopt.formats.json_out import dump_rows

    plan = grown_plan(found)
    if plan is None:
        output.warn(f"nothing is proven to fit, and nothing is written to {folder}")
        return
    target = Path(folder) / "job.yaml"
    text = changed_file(job, found.job, said(found), source=source, target=target, library=output.library)
    files = {"job.yaml": text.encode(), "plan.json": dump_rows(plan.plain()).encode()}
    write_folder_whole(folder, files, "plan.json")
    output.note(f"job.yaml and plan.json written to {folder}")
