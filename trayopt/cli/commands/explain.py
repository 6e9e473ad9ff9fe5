"""``trayopt explain``: why not, what to do about it, and why this."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from trayopt.cli.common import common
from trayopt.cli.exitcodes import Exit
from trayopt.cli.output import Output
from trayopt.explainer.costs import Costs, cost_names, costs_of

if TYPE_CHECKING:
    from trayopt.domain.explanation import Explanation
    from trayopt.domain.job import Job
    from trayopt.domain.plan import Plan


DEFAULT_COSTS = ", ".join(f"{name}={getattr(Costs(), name)}" for name in cost_names())


@click.command("explain", short_help="Say why a rule cannot be met, and what to do about it.")
@click.argument("job", metavar="JOB", type=click.Path(allow_dash=True))
@click.argument("plan", metavar="[PLAN]", required=False, type=click.Path(allow_dash=True))
@click.option(
    "--conflicts", type=click.IntRange(1, 100), default=1, show_default=True, metavar="N",
    help="Most conflicts; no two of them share a group.",
)  # fmt: skip
@click.option(
    "--ways-out", type=click.IntRange(0, 100), default=5, show_default=True, metavar="N",
    help="Most sets of groups to give up; what can be added comes beside them. With 0 no ways out are looked for.",
)  # fmt: skip
@click.option(
    "--cost", "costs", multiple=True, metavar="NAME=N",
    help="What a change costs, to order the ways out; may repeat. Where none is given: " + DEFAULT_COSTS + ".",
)  # fmt: skip
@click.option(
    "--best", metavar="PLAN", help="The best plan in JSON, where it is known, so that it is not searched for."
)
@click.option(
    "--time-limit", "time_limit_s", type=click.FloatRange(min=0, min_open=True), default=60.0, show_default=True,
    metavar="S", help="Most seconds; what is not proven by then is said not to be.",
)  # fmt: skip
@click.option("--reproducible", is_flag=True, help="No clock: the same explanation, byte for byte.")
@common
def command(
    output: Output,
    job: str,
    plan: str | None,
    conflicts: int,
    ways_out: int,
    costs: tuple[str, ...],
    best: str | None,
    time_limit_s: float,
    reproducible: bool,
) -> int:
    """Say why not every must of JOB can be kept with every splice placed, and prove the ways out of it.

    Where all can be kept, say why the best plan breaks the preferences that it breaks, and what holds each goal up.
    With PLAN, a plan in JSON or a hand-made table, say what of it cannot stand together, or what it costs.
    The exit code is 1 where there is a conflict.
    """
    from trayopt.api import explain, load_job
    from trayopt.library.job import box_file_of
    from trayopt.review.opening import open_readable

    if [job, plan, best].count("-") > 1:
        raise click.UsageError("only one of JOB, PLAN and --best can be stdin")
    chosen = costs_of(costs)
    loaded = load_job(job, library=output.library, warn=output.unusual)
    given = None
    if plan is not None:
        table, document = open_readable(loaded, plan)
        given = table.given()
        if document is not None and not document.job.names(loaded):
            output.warn(
                f"{plan} was made for another job, or before the job was changed; what it decides is asked of this job"
            )
    known = None if best is None else _best(output, loaded, best)
    if not reproducible:
        time_limit_s = output.left(time_limit_s)
    made = explain(
        loaded,
        given,
        best=known,
        conflicts=conflicts,
        ways_out=ways_out,
        time_limit_s=time_limit_s,
        reproducible=reproducible,
        costs=chosen,
        library=output.library,
        box_file=box_file_of(job),
    )
    output.answer(made.plain, lambda: _text(output, made), lambda: made.summary)
    return Exit.NO if made.conflicts else Exit.YES


def _best(output: Output, job: Job, path: str) -> Plan | None:
    """Read the plan that is given as the best; where it cannot stand for that, say why, and that it is searched for."""
    from trayopt.checker import lay
    from trayopt.review.opening import open_readable

    plan = open_readable(job, path)[1]
    if plan is None:
        why = f"{path} is a table, and no plan with figures (trayopt check JOB {path} -o plan.json makes one)"
    elif not plan.job.names(job):
        why = f"{path} was made for another job, or before the job was changed"
    elif any(place is None for _, place in lay(job, plan, path).piece_places):
        why = f"{path} leaves splices without a tray"
    else:
        return plan
    output.warn(f"{why}: the best plan is searched for in its place")
    return None


def _text(output: Output, made: Explanation) -> str:
    from trayopt.explainer.text import text

    return text(made, output.console().width)
