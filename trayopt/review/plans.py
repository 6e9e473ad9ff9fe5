"""Plan documents as tables of legs, so that both are reviewed, mended and compared in the same way."""

from __future__ import annotations

from trayopt.checker import assignment_of
from trayopt.domain.decision import RunAt
from trayopt.domain.former import names_job
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.domain.ranges import Run, parse_span
from trayopt.errors import InputError
from trayopt.formats.locate import describe
from trayopt.review.handmade import Decided, Entry, Handmade, Line
from trayopt.rules.words import listed


def of_this_job(job: Job, plan: Plan, source: str, *, lenient: bool = False) -> None:
    """Raise InputError for a plan of another job (in one line), or for a plan of this job that cannot be used (with every fault).

    Parameters
    ----------
    job, plan, source
        The job, the plan document, and its name in errors.
    lenient
        Whether the job may have changed since; then it is enough that the job has some trunk with a tray in the plan.

    Raises
    ------
    InputError
        If the plan names something that the job does not have.
    """
    placed = {leg.trunk for leg in plan.legs if leg.stack is not None}
    try:
        if not lenient:
            assignment_of(job, plan, source)
        elif placed and not placed & job.trunk_by_id.keys():
            raise InputError.one("the job has none of its trunks", source=source, found=listed(sorted(placed)[:12]))
    except InputError as wrong:
        if names_job(plan.job, job):
            raise
        first, *others = wrong.faults
        more = f", and {len(others)} more of that kind" if others else ""
        at = f"{first.where}: " if first.where else ""
        hint = "; trayopt mend takes over what still fits" if placed & job.trunk_by_id.keys() else ""
        raise InputError.one(
            "this plan was made for another job, or the job was changed since",
            source=source,
            found=f"a plan of {describe(plan.job.title)}; {at}{first.message}: {first.found}{more}",
            allowed=f"a plan of {describe(job.title)}, with trunks {listed(list(job.trunk_by_id)[:12])}",
            hint=f"name the job that the plan was made for{hint}",
        ) from wrong


def handmade_of(job: Job, plan: Plan, source: str) -> Handmade:
    """Return the decisions of a plan document as a table; runs that the job does not have (any more) are kept apart."""
    made = Handmade(job, source, "legs")
    for i, row in enumerate(plan.trunks):
        line = Line(i, path=f"trunks[{i}]")
        if row.trunk in job.trunk_by_id and row.port is not None and row.travel is not None and row.loops is not None:
            values: dict[str, str | int] = {"port": row.port, "travel": row.travel, "loops": row.loops}
            if row.divide_at is not None:
                values["divide_at"] = row.divide_at
            if row.ribbons is not None and job.trunk_by_id[row.trunk].may_work_ribbons:
                values["ribbons"] = row.ribbons
            made.ways[row.trunk] = {key: Decided(value, line) for key, value in values.items()}
    for i, leg in enumerate(plan.legs):
        trunk = job.trunk_by_id.get(leg.trunk)
        if leg.stack is None or leg.position is None:
            continue
        try:
            first, last = parse_span(leg.fibres)
        except ValueError:
            continue
        place = Place(leg.stack, leg.position)
        if trunk is None or last > trunk.cable.fibres:
            made.gone_runs.append(RunAt(leg.trunk, first, last, place))
            continue
        line = Line(len(plan.trunks) + i, path=f"legs[{leg.leg}]")
        made.lines.append(line)
        made.entries.append(Entry(Run(trunk.id, first, last), place, leg.end, (line,), cut=leg.cut_mm))
    return made
