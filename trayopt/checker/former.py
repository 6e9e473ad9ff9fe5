"""Plans of format 1: where things lie is taken over, and every figure is measured again by today's rules."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from trayopt.checker.checking import lay
from trayopt.checker.claims import row_leg
from trayopt.checker.measure import document
from trayopt.domain.base import EPSILON, DivideAt, remade
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan, PlanLeg, PlanTrunk, Status
from trayopt.domain.trunk import Trunk
from trayopt.errors import Fault, InputError
from trayopt.formats.json_in import MOST_BYTES, parse_plan
from trayopt.formats.source import read_text, source_name
from trayopt.track.routes import routes_of

if TYPE_CHECKING:
    from trayopt.domain.former_plan import FormerPlan

NOTE = "the plan is written in format 1"
HINT = (
    "its places, ways, ends and divisions are taken over; goals and lengths are counted in another way today, so "
    "they are measured again, and nothing is proven about them"
)


def read_document(job: Job, path: str | Path, warn: Callable[[Fault], None] | None = None) -> Plan:
    """Read the plan document of a job from a file, or from standard input for ``-``.

    Parameters
    ----------
    job, path
        The job, and the file.
    warn
        Told where the plan is of a former format.

    Raises
    ------
    InputError
        With every fault of the file, each with line and column.
    """
    return parse_document(job, read_text(path, MOST_BYTES), source_name(path), warn)


def parse_document(job: Job, text: str, source: str, warn: Callable[[Fault], None] | None = None) -> Plan:
    """Make the plan document of a job from JSON text; see ``read_document``."""
    plan = parse_plan(text, source)
    if isinstance(plan, Plan):
        return plan
    if warn is not None:
        warn(Fault(source, 0, 0, NOTE, hint=HINT))
    return taken_over(job, plan, source)


def taken_over(job: Job, former: FormerPlan, source: str = "<plan>") -> Plan:
    """Return a plan of format 1 as one of today, for a job.

    Rows that cannot stand are kept as they are written, so that a check sees them. Where the plan speaks of what the job does
    not have, all rows are, and no figure beside them.
    """
    rows = tuple(_trunks(job, former))
    plan = Plan(
        job=former.job, status="feasible", stopped="gap" if former.stopped == "proven" else former.stopped, goals=(),
        trunks=rows, legs=former.legs, trays=(), tied=(), crossings=(), broken=(), unplaced=former.unplaced,
        solver=former.solver,
    )  # fmt: skip
    try:
        laid = lay(job, plan, source)
    except InputError:
        return plan
    status: Status = "none" if former.status == "none" and not laid.place_of else "feasible"
    right = document(laid, status=status, stopped=plan.stopped, bounds={}, solver=plan.solver)
    return remade(right, job=former.job, legs=(*right.legs, *_beside(job, former, right)))


def _trunks(job: Job, former: FormerPlan) -> Iterator[PlanTrunk]:
    for row in former.trunks:
        trunk = job.trunk_by_id.get(row.trunk)
        placed = [leg for leg in former.legs if leg.trunk == row.trunk and leg.stack is not None]
        yield PlanTrunk(
            trunk=row.trunk, port=row.port, travel=row.travel, loops=row.loops,
            divide_at=divided_at(job, trunk, placed) if trunk is not None and placed else None,
            strip_mm=row.strip_mm,
        )  # fmt: skip


def divided_at(job: Job, trunk: Trunk, placed: list[PlanLeg]) -> DivideAt:
    """Tell where a trunk of format 1 was divided: by the tube of a leg that shows it, else by the trunk's own list.

    Where subunits have no tubes, they are divided at the port, whatever the plan took for granted.
    """
    if not trunk.cable.tubes:
        return "port"
    for row in placed:
        leg = row_leg(job, row)
        if leg is None or leg.of == 1 or row.tube_mm is None:
            continue
        subunit = job.subunit(leg)
        tube = routes_of(job).leg_tube(trunk, subunit, leg.of)
        own = abs(subunit.diameter_mm - row.tube_mm) <= EPSILON
        of_set = tube is not None and abs(tube.diameter_mm - row.tube_mm) <= EPSILON
        if own != of_set:
            return "tray" if own else "port"
    return trunk.divide_at[0]


def _beside(job: Job, former: FormerPlan, right: Plan) -> Iterator[PlanLeg]:
    """Yield the rows with a tray that are no leg as it lies: no legs at all, legs that are given again, or in two ways."""
    lies = {(row.trunk, row.subunit, row.group, row.of): row for row in right.legs}
    for row in former.legs:
        leg = row_leg(job, row)
        same = None if leg is None else lies.pop((leg.trunk, leg.subunit, leg.group, leg.of), None)
        there = same is not None and (same.stack, same.position, same.end) == (row.stack, row.position, row.end)
        if row.stack is not None and not there:
            yield row
