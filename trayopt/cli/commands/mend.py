"""``trayopt mend``: find the plan that keeps every must and changes least, with the moves that lead to it."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import click

from trayopt.cli.common import common
from trayopt.cli.exitcodes import Exit
from trayopt.cli.keeping import find_out, kept
from trayopt.cli.output import Output

if TYPE_CHECKING:
    from trayopt.solver.model.decisions import Weights


@click.command("mend", short_help="Find the nearest plan that keeps every must, and the moves to it.")
@click.argument("job", metavar="JOB", type=click.Path(allow_dash=True))
@click.argument("plan", metavar="PLAN", type=click.Path(allow_dash=True))
@click.option("-o", "--output", "new", metavar="NEW", help="Write the plan: JSON, or a table for .csv and .xlsx.")
@click.option(
    "--built", default="", metavar="TRAYS", help="Trays that are spliced already and stay, such as left/1-4,right/1-4."
)
@click.option("--weights", metavar="LIST", help="What each change counts: legs=1000,travel=100,ends=100,partings=20 …")
@click.option(
    "--time-limit", "limit_s", type=click.FloatRange(min=0, min_open=True), default=60.0,
    show_default=True, metavar="S",
    help="Time limit in seconds.",
)  # fmt: skip
@click.option(
    "--workers", type=click.IntRange(1, 64), default=2, show_default=True, metavar="N", help="Search threads."
)
@click.option(
    "--seed", type=click.IntRange(0, 2**31 - 1), default=1, show_default=True, metavar="N", help="Random seed."
)
@common
def command(
    output: Output,
    job: str,
    plan: str,
    new: str | None,
    built: str,
    weights: str | None,
    limit_s: float,
    workers: int,
    seed: int,
) -> int:
    """Find the plan that keeps every must and differs least from PLAN, and prove that no other changes less.

    PLAN is a plan in JSON or a table in CSV or XLSX. It may be older than JOB: a new trunk, a lost tray or a swapped cable
    is fitted in around what is built (--built, or a column built in the table).
    """
    from trayopt.api import load_job, mend
    from trayopt.formats.json_out import dump_rows
    from trayopt.review.answers import mended_text, no_plan, sure
    from trayopt.review.sheet_out import write_plan

    find_out(new)
    loaded = load_job(job, library=output.library, warn=output.unusual)
    weighed = parse_weights(weights)
    left_s = output.left(limit_s)
    mended = mend(loaded, plan, built=built, weights=weighed, time_limit_s=left_s, workers=workers, seed=seed)
    found = mended.plan
    if new is not None and found is not None:
        write, document = partial(write_plan, new, loaded, found), partial(dump_rows, found.plain())
        if not kept(output, new, write, document):
            output.note(sure(mended))
            return Exit.INPUT
    if new != "-":
        head = sure if mended.plan is not None else no_plan
        output.answer(mended.as_dict, lambda: mended_text(mended), lambda: head(mended))
    if mended.plan is not None:
        if new not in {None, "-"}:
            output.note(f"{new} written")
        return Exit.YES
    return Exit.NO if mended.impossible else Exit.NOTHING


def parse_weights(text: str | None) -> Weights:
    """Read weights such as ``legs=1000,travel=100``; kinds that are not named keep their weight."""
    from trayopt.errors import InputError
    from trayopt.solver.model.decisions import KINDS, Weights

    given: dict[str, int] = {}
    for part in filter(None, (text or "").split(",")):
        kind, _, value = part.partition("=")
        if kind.strip() not in KINDS or not value.strip().isdigit() or len(value.strip()) > 9:
            raise InputError.one(
                "weights cannot be read", source="--weights", found=part,
                allowed=f"kind=number, separated by commas; kinds: {', '.join(KINDS)}",
            )  # fmt: skip
        given[kind.strip()] = int(value)
    return Weights(**given)
