"""Takes a plan document as a table of legs, so that it can be reviewed, mended and compared like one."""

from __future__ import annotations

from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.domain.ranges import Run, parse_span
from trayopt.review.handmade import Decided, Entry, Handmade, Line
from trayopt.solver.model.decisions import RunAt


def handmade_of(job: Job, plan: Plan, source: str) -> Handmade:
    """Take the decisions of a plan document; runs in trays that the job does not have (any more) are ``lost``."""
    made = Handmade(job, source, "legs")
    for i, row in enumerate(plan.trunks):
        line = Line(i, path=f"trunks[{i}]")
        if row.trunk in job.trunk_by_id and row.port is not None and row.travel is not None and row.loops is not None:
            values: dict[str, str | int] = {"port": row.port, "travel": row.travel, "loops": row.loops}
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
            made.lost.append(RunAt(leg.trunk, first, last, place))
            continue
        line = Line(len(plan.trunks) + i, path=f"legs[{leg.leg}]")
        made.lines.append(line)
        made.entries.append(Entry(Run(trunk.id, first, last), place, leg.end, (line,), cut=leg.cut_mm))
    return made
