"""How far a plan is from decisions that were given, and what each change weighs.

Plain data and counting only; the solver's own view of the same count is in ``nearest``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.base import DivideAt, RibbonWord
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.decision import GoesBy, RunAt
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job


@dataclass(frozen=True)
class Given:
    """The decisions of a plan that may be broken, unfinished, or made for another state of the job."""

    runs: tuple[RunAt, ...] = ()
    ways: Mapping[str, GoesBy] = field(default_factory=dict)
    ends: Mapping[str, str] = field(default_factory=dict)

    @property
    def whole_ways(self) -> dict[str, Way]:
        """Ways by trunk, where all of a way is given."""
        return {trunk: way for trunk, given in self.ways.items() if (way := given.whole) is not None}

    @property
    def partings(self) -> dict[str, DivideAt]:
        """Where trunks are divided, as far as that is given."""
        return {trunk: given.divide_at for trunk, given in self.ways.items() if given.divide_at is not None}

    @property
    def ribbons(self) -> dict[str, RibbonWord]:
        """The ribbon work of trunks, as far as it is given."""
        return {trunk: given.ribbons for trunk, given in self.ways.items() if given.ribbons is not None}

    def in_job(self, job: Job) -> Given:
        """Leave out what the job does not have any more: trunks, and fibres that lie in no tray of it."""
        known = job.trunk_by_id
        return Given(
            tuple(item for item in self.runs if item.trunk in known and lying_in(job, item)),
            {trunk: way for trunk, way in self.ways.items() if trunk in known},
            {stack: end for stack, end in self.ends.items() if stack in job.enclosure.stack_by_id},
        )

    def division(self, job: Job, subunit: Subunit) -> int | None:
        """Return the k into which a subunit is divided; None where its runs make none, or there are no runs."""
        legs = {subunit.leg_of_run(item.first, item.last) for item in self.runs if _touches(item, subunit)}
        of = {leg.of for leg in legs if leg is not None}
        return of.pop() if len(of) == 1 and None not in legs else None

    def divided(self, subunit: Subunit) -> bool:
        """Whether there are runs that divide a subunit."""
        return any(item.leg and _touches(item, subunit) for item in self.runs)


@dataclass(frozen=True)
class Weights:
    """What each change counts; a given leg that does not stay weighs most.

    ``partings`` is for a trunk that is divided at the other place: its tubes are opened elsewhere. ``ribbons`` is for one whose
    ribbons are worked otherwise.
    """

    legs: int = 1000
    travel: int = 100
    ends: int = 100
    partings: int = 20
    ribbons: int = 20
    ports: int = 10
    splits: int = 5
    loops: int = 1


KINDS = ("legs", "travel", "ends", "partings", "ribbons", "ports", "splits", "loops")
"""Kinds of changes, the gravest first."""


@dataclass(frozen=True)
class Changes:
    """What differs from what was given, by subject."""

    legs: tuple[RunAt, ...] = ()
    travel: tuple[str, ...] = ()
    ends: tuple[str, ...] = ()
    partings: tuple[str, ...] = ()
    ribbons: tuple[str, ...] = ()
    ports: tuple[str, ...] = ()
    splits: tuple[str, ...] = ()
    loops: tuple[str, ...] = ()

    def weighed(self, weights: Weights) -> int:
        """Sum of the changes, each times its weight."""
        return (
            weights.legs * len(self.legs)
            + weights.travel * len(self.travel)
            + weights.ends * len(self.ends)
            + weights.partings * len(self.partings)
            + weights.ribbons * len(self.ribbons)
            + weights.ports * len(self.ports)
            + weights.splits * len(self.splits)
            + weights.loops * len(self.loops)
        )

    def counts(self) -> dict[str, int]:
        """Count the changes of each kind."""
        return {name: len(getattr(self, name)) for name in KINDS}

    def __bool__(self) -> bool:
        """Whether anything differs."""
        return any(self.counts().values())


def changes(job: Job, given: Given, assignment: Assignment) -> Changes:
    """Count how an assignment differs from what was given.

    Notes
    -----
    A given leg stays if every spliced fibre of it lies in its tray, a parked leg if all of it does. What was open before,
    such as a trunk without a port, is no change when it is decided. A subunit whose runs were no equal groups changes its
    division, whatever becomes of it.
    """
    given = given.in_job(job)
    division = {(leg.trunk, leg.subunit): leg.of for leg in assignment.places}
    where = {leg: place for leg, place in assignment.places.items()}

    def place(trunk: str, fibre: int) -> Place | None:
        subunit = job.trunk_by_id[trunk].subunit_of(fibre)
        of = division.get((trunk, subunit.number))
        return None if of is None else where.get(subunit.leg_of_fibre(fibre, of))

    moved = tuple(
        item for item in given.runs if any(place(item.trunk, fibre) != item.place for fibre in lying_in(job, item))
    )
    ways = [(way, assignment.ways[way.trunk]) for way in given.ways.values() if way.trunk in assignment.ways]
    used = {place.stack for place in assignment.places.values()}
    splits = []
    for subunit in job.subunits:
        of = division.get((subunit.trunk, subunit.number))
        if of is not None and given.divided(subunit) and given.division(job, subunit) != of:
            splits.append(subunit.name)
    return Changes(
        moved,
        tuple(way.trunk for way, now in ways if "travel" in way.differing(now)),
        tuple(stack for stack, end in given.ends.items() if stack in used and assignment.ends.get(stack) != end),
        tuple(way.trunk for way, _ in ways if way.divide_at not in {None, divided_at(job, assignment, way.trunk)}),
        tuple(way.trunk for way, _ in ways if way.ribbons not in {None, ribbons_of(job, assignment, way.trunk)}),
        tuple(way.trunk for way, now in ways if "port" in way.differing(now)),
        tuple(splits),
        tuple(way.trunk for way, now in ways if "loops" in way.differing(now)),
    )


def divided_at(job: Job, assignment: Assignment, trunk: str) -> DivideAt:
    """Tell where a trunk in the box is divided."""
    divisions = (leg.of for leg in assignment.places if leg.trunk == trunk)
    return job.trunk_by_id[trunk].place_of_division(divisions, assignment.divide_at.get(trunk))


def ribbons_of(job: Job, assignment: Assignment, trunk: str) -> RibbonWord:
    """Return the ribbon work of a trunk."""
    return assignment.ribbons.get(trunk, job.trunk_by_id[trunk].ribbons[0])


def lying_in(job: Job, item: RunAt) -> list[int]:
    """Return the fibres of a run that tell where it lies: spliced ones, or where it has none and may be parked, one a ribbon.

    An idle run lies in a tray where the tube around it is opened there: a part of a subunit with splices, divided at the tray.
    """
    spliced = spliced_in(job, item)
    trunk = job.trunk_by_id[item.trunk]
    if spliced or "tray" not in trunk.divide_at or item.last > trunk.cable.fibres:
        return spliced
    subunit = trunk.subunit_of(item.first)
    if item.last > subunit.last or not job.spliced[subunit.trunk, subunit.number]:
        return []
    found = []
    fibre = item.first
    while fibre <= item.last:
        found.append(fibre)
        fibre += subunit.ribbon_fibres - subunit.fibre_in_ribbon(fibre) + 1
    return found


def spliced_in(job: Job, item: RunAt) -> list[int]:
    """First fibre of every spliced stretch of a run inside one ribbon, and the last one: where they lie, all lie."""
    trunk = job.trunk_by_id[item.trunk]
    found = []
    for first, last in _spliced(job, item):
        fibre = first
        while fibre <= last:
            found.append(fibre)
            subunit = trunk.subunit_of(fibre)
            fibre += subunit.ribbon_fibres - subunit.fibre_in_ribbon(fibre) + 1
    return found


def parked_leg(job: Job, item: RunAt) -> Leg | None:
    """Return the leg of a run that is spliced to nothing and can be parked; None where it is none.

    It is parked in an opened tube: its subunit has a spliced fibre, and its trunk may be divided at the tray.
    """
    trunk = job.trunk_by_id.get(item.trunk)
    if trunk is None or not item.leg or item.last > trunk.cable.fibres or "tray" not in trunk.divide_at:
        return None
    subunit = trunk.subunit_of(item.first)
    leg = subunit.leg_of_run(item.first, item.last)
    if leg is None or leg.of == 1 or job.spliced_fibres(leg) or not job.spliced[leg.trunk, leg.subunit]:
        return None
    return leg


def _spliced(job: Job, item: RunAt) -> list[tuple[int, int]]:
    """Return the spliced stretches of a run that lie inside the trunk."""
    stretches = []
    for subunit in job.trunk_by_id[item.trunk].subunits:
        if not _touches(item, subunit):
            continue
        for first, last in job.spliced[subunit.trunk, subunit.number]:
            start, end = max(first, item.first), min(last, item.last)
            if start <= end:
                stretches.append((start, end))
    return stretches


def _touches(item: RunAt, subunit: Subunit) -> bool:
    return item.trunk == subunit.trunk and item.first <= subunit.last and item.last >= subunit.first


def standing(job: Job, given: Given) -> dict[Leg, Place]:
    """Return the legs of what was given that can stand: proper legs of one division per subunit, at places of the box."""
    found: dict[Leg, Place] = {}
    division: dict[tuple[str, int], int] = {}
    for item in given.in_job(job).runs:
        leg = job.trunk_by_id[item.trunk].subunit_of(item.first).leg_of_run(item.first, item.last)
        if leg is None or item.place not in job.enclosure.place_rank:
            continue
        if division.setdefault((leg.trunk, leg.subunit), leg.of) == leg.of:
            found.setdefault(leg, item.place)
    return found
