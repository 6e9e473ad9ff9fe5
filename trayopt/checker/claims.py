"""Reading an assignment from the rows of a plan: what the rows claim, and which claims can stand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.base import DivideAt, RibbonWord
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan, PlanLeg
from trayopt.domain.ranges import Run, parse_span
from trayopt.domain.trunk import Trunk
from trayopt.errors import Fault, InputError
from trayopt.track.laid import Claim


def assignment_of(job: Job, plan: Plan, source: str = "<plan>") -> tuple[Assignment, list[Claim]]:
    """Read the decisions back out of a plan's trunks and legs.

    Parameters
    ----------
    job, plan
        The job, and a plan that should be one for it.
    source
        The name of the plan in errors.

    Returns
    -------
    assignment, claims
        The assignment of those legs that can stand, and every claimed run as it is written, for the rules that always
        hold.

    Raises
    ------
    InputError
        With every trunk, port, stack, position, end and leg that the job does not have, and every row that says half.
    """
    faults = _Faults(source)
    ways, outside = _ways(job, plan, faults)
    divide_at = {row.trunk: row.divide_at for row in plan.trunks if row.divide_at is not None}
    claims = []
    for i, row in enumerate(plan.legs):
        claim = _claim(job, row, f"legs[{i}]", faults)
        if claim is not None and claim.trunk in outside:
            text = f"{row.leg} has a tray and trunk {claim.trunk} no port, travel and loops"
            faults.add(f"legs[{i}]", text, "", "no tray, or a way for the trunk")
        elif claim is not None:
            claims.append(claim)
    if faults.found:
        raise InputError(faults.found)
    ribbons = {row.trunk: row.ribbons for row in plan.trunks if row.ribbons is not None}
    return assignment_of_claims(job, ways, claims, divide_at, ribbons), claims


def assignment_of_claims(
    job: Job,
    ways: Mapping[str, Way],
    claims: Iterable[Claim],
    divide_at: Mapping[str, DivideAt],
    ribbons: Mapping[str, RibbonWord] | None = None,
) -> Assignment:
    """Return the assignment of those claimed runs that can stand.

    A run that cannot be a leg, a second place of a leg and a second division of a subunit are left out: the first one holds.
    So is a leg without a spliced fibre, save where it is parked: in a subunit with splices that is opened at a tray. Of two
    ends of a stack the first one holds.
    """
    places: dict[Leg, Place] = {}
    division: dict[tuple[str, int], int] = {}
    ends: dict[str, str] = {}
    lying: dict[tuple[str, int, int], frozenset[Leg]] = {}
    """What lies in trays of each division that is claimed."""
    for claim in claims:
        if claim.end is not None:
            ends.setdefault(claim.place.stack, claim.end)
        trunk = job.trunk_by_id[claim.trunk]
        subunit = trunk.subunit_of(claim.first)
        leg = subunit.leg_of_run(claim.first, claim.last)
        if leg is None:
            continue
        key = (leg.trunk, leg.subunit, leg.of)
        if key not in lying:
            at = divide_at.get(trunk.id, trunk.divide_at[0])
            lying[key] = frozenset(job.legs_in(subunit, leg.of, at))
        if leg in lying[key] and division.setdefault((leg.trunk, leg.subunit), leg.of) == leg.of:
            places.setdefault(leg, claim.place)
    inside = job.inside(places)
    used = {place.stack for place in places.values()}
    return Assignment(
        {trunk: way for trunk, way in ways.items() if trunk in inside},
        places,
        {stack: end for stack, end in ends.items() if stack in used},
        {trunk: at for trunk, at in divide_at.items() if trunk in inside},
        {trunk: word for trunk, word in (ribbons or {}).items() if trunk in inside},
    )


def row_leg(job: Job, row: PlanLeg) -> Leg | None:
    """Return the leg that a row means; None if there is no such leg.

    A row names its leg three times: by name, by subunit, group and number of groups, and by its fibres. Where they do
    not agree, two against one decide, and else the numbers.
    """
    trunk = job.trunk_by_id.get(row.trunk)
    subunit = None if trunk is None else _subunit(trunk, row.subunit)
    numbered = None
    if subunit is not None and 1 <= row.group <= row.of and subunit.ribbons % row.of == 0:
        numbered = subunit.leg(row.group, row.of)
    run = None if trunk is None else _run(trunk, row.fibres)
    counted = None if trunk is None or run is None else trunk.subunit_of(run.first).leg_of_run(run.first, run.last)
    if numbered is None or (counted is not None and str(numbered) != row.leg == str(counted)):
        return counted
    return numbered


class _Faults:
    """Collects what is wrong with a plan, each at its path."""

    def __init__(self, source: str) -> None:
        self.source = source
        self.found: list[Fault] = []

    def add(self, where: str, message: str, found: object = "", allowed: str = "") -> None:
        """Note one fault."""
        self.found.append(Fault(self.source, 0, 0, message, str(found), allowed, "", where))


def _ways(job: Job, plan: Plan, faults: _Faults) -> tuple[dict[str, Way], set[str]]:
    """Read the ways of the trunks, and which trunks have none; a faulty row is neither."""
    ways: dict[str, Way] = {}
    outside = set(job.trunk_by_id)
    seen: set[str] = set()
    for i, row in enumerate(plan.trunks):
        where = f"trunks[{i}]"
        if row.trunk not in job.trunk_by_id:
            faults.add(f"{where}.trunk", "the job has no such trunk", row.trunk, ", ".join(job.trunk_by_id))
            continue
        if row.trunk in seen:
            faults.add(f"{where}.trunk", f"trunk {row.trunk} is given twice", row.trunk, "every trunk once")
            continue
        seen.add(row.trunk)
        if row.port is None and row.travel is None and row.loops is None:
            continue
        outside.discard(row.trunk)
        if row.port is None or row.travel is None or row.loops is None:
            faults.add(where, f"trunk {row.trunk} has only a part of port, travel and loops", "", "all three, or none")
        elif row.port not in job.enclosure.port_by_id:
            faults.add(f"{where}.port", "the enclosure has no such port", row.port, ", ".join(job.enclosure.port_by_id))
        elif row.loops < 0:
            faults.add(f"{where}.loops", f"trunk {row.trunk} makes fewer loops than none", row.loops, "0 or more")
        else:
            ways[row.trunk] = Way(row.port, row.travel, row.loops)
    return ways, outside


def _claim(job: Job, row: PlanLeg, where: str, faults: _Faults) -> Claim | None:
    """Read one row; None where it has no tray, or where something is wrong with it."""
    before = len(faults.found)
    if row.trunk not in job.trunk_by_id:
        faults.add(f"{where}.trunk", "the job has no such trunk", row.trunk, ", ".join(job.trunk_by_id))
        return None
    run = _claimed_run(job, row)
    if run is None:
        fibres = job.trunk_by_id[row.trunk].cable.fibres
        faults.add(
            f"{where}.fibres", f"{row.leg} is not a leg of trunk {row.trunk}", row.fibres, f"fibres 1 to {fibres}"
        )
    place = _place(job, row, where, faults)
    if run is None or place is None or len(faults.found) > before:
        return None
    return Claim(row.trunk, run.first, run.last, place, row.end)


def _place(job: Job, row: PlanLeg, where: str, faults: _Faults) -> Place | None:
    if row.stack is None and row.position is None and row.end is None:
        return None
    if row.stack is None or row.position is None or row.end is None:
        faults.add(where, f"{row.leg} has only a part of stack, position and end", "", "all three, or none")
        return None
    stack = job.enclosure.stack_by_id.get(row.stack)
    if stack is None:
        faults.add(f"{where}.stack", "the enclosure has no such stack", row.stack, ", ".join(job.enclosure.stack_by_id))
        return None
    if not 1 <= row.position <= stack.positions:
        text = f"stack {stack.id} has no such position"
        faults.add(f"{where}.position", text, row.position, f"1 to {stack.positions}")
    ends = [end.id for end in stack.ends]
    if row.end not in ends:
        faults.add(f"{where}.end", f"stack {stack.id} has no such end", row.end, ", ".join(ends))
    return Place(row.stack, row.position)


def _claimed_run(job: Job, row: PlanLeg) -> Run | None:
    """Return the run of the leg that a row means, or the fibres that it writes where there is no such leg."""
    leg = row_leg(job, row)
    if leg is None:
        return _run(job.trunk_by_id[row.trunk], row.fibres)
    return Run(leg.trunk, *job.subunit(leg).leg_run(leg))


def _run(trunk: Trunk, fibres: str) -> Run | None:
    """Read a run of a trunk; None where the text is none or the trunk ends before it."""
    try:
        first, last = parse_span(fibres)
    except ValueError:
        return None
    return Run(trunk.id, first, last) if last <= trunk.cable.fibres else None


def _subunit(trunk: Trunk, number: int) -> Subunit | None:
    return trunk.units[number - 1] if 1 <= number <= len(trunk.units) else None
