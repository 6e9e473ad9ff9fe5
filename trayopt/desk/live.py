"""Parts in service: built legs that a change of the plan would move, and their circuits."""

from __future__ import annotations

from collections.abc import Iterable

from trayopt.desk.decisions import Decisions
from trayopt.domain.cablework import Leg
from trayopt.domain.job import Job
from trayopt.domain.ranges import Run


def moved_live(job: Job, before: Decisions, after: Decisions) -> list[Run]:
    """Return the built runs of fibres that a change moves to another place, way or end, or divides anew.

    A built trunk without built legs counts with all of its spliced fibres.
    """
    found = [pin.leg for pin in job.leg_pins if pin.built and _moves(job, pin.leg, before, after)]
    named = {run.trunk for run in found} | {pin.leg.trunk for pin in job.leg_pins if pin.built}
    for pin in job.trunk_pins:
        if pin.built and pin.trunk not in named and _sent(pin.trunk, before, after):
            found += _spliced(job, pin.trunk)
    return found


def circuits(job: Job, runs: Iterable[Run]) -> dict[str, int]:
    """Count the splices of some runs by join, in the order of the job."""
    found: dict[str, int] = {}
    given = list(runs)
    for join in job.joins:
        fibres = {
            offset
            for side in (join.a, join.b)
            for run in given
            if run.trunk == side.trunk
            for offset in range(max(run.first, side.first) - side.first, min(run.last, side.last) - side.first + 1)
        }
        if fibres:
            found[join.name] = len(fibres)
    return found


def _moves(job: Job, run: Run, before: Decisions, after: Decisions) -> bool:
    leg = _leg(job, before, run)
    if leg is None or leg not in before.places:
        return False
    place = before.places[leg]
    if after.places.get(leg) != place or _leg(job, after, run) != leg or _sent(run.trunk, before, after):
        return True
    first = job.enclosure.stack_by_id[place.stack].ends[0].id
    return before.ends.get(place.stack, first) != after.ends.get(place.stack, first)


def _leg(job: Job, decisions: Decisions, run: Run) -> Leg | None:
    subunit = job.trunk_by_id[run.trunk].subunit_of(run.first)
    leg = subunit.leg_of_run(run.first, run.last)
    of = decisions.division.get((subunit.trunk, subunit.number), 1)
    return leg if leg is not None and leg.of == of else None


def _sent(trunk: str, before: Decisions, after: Decisions) -> bool:
    if trunk not in before.ways:
        return False
    parted, parted_now = before.divide_at.get(trunk), after.divide_at.get(trunk)
    parted_anew = parted is not None and parted_now is not None and parted != parted_now
    return before.ways[trunk] != after.ways.get(trunk) or parted_anew


def _spliced(job: Job, trunk: str) -> list[Run]:
    return [side for join in job.joins for side in (join.a, join.b) if side.trunk == trunk]
