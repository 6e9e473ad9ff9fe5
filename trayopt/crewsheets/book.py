"""One plan as the sheets see it: every list, step and picture looks things up here, and nowhere else."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from functools import cached_property
from typing import Literal, NamedTuple

from trayopt.checker.claims import assignment_of
from trayopt.crewsheets.passing import Inside, Passing, passing_of
from trayopt.crewsheets.settings import Settings
from trayopt.crewsheets.travellers import Traveller, groups_of, travellers_of, travels_own
from trayopt.domain.base import AS_THEY_ARE, RibbonWord
from trayopt.domain.cablework import Subunit
from trayopt.domain.handling import Handling, handling, separated
from trayopt.domain.hardware import Place, Stack, Tray
from trayopt.domain.job import Job
from trayopt.domain.pins import LegPin
from trayopt.domain.plan import Plan, PlanLeg, PlanTray, PlanTrunk
from trayopt.domain.ranges import Run, parse_run, parse_span
from trayopt.domain.trunk import Trunk
from trayopt.track.laid import Laid
from trayopt.track.routes import Routes, routes_of


class Sleeve(NamedTuple):
    """One splice sleeve: in which tray (index in build order), its number, and the fibres on both sides."""

    tray: int
    number: int
    a: Run
    b: Run


State = Literal["new", "opened", "closed"]
"""What becomes of a tray: it is put in new, it is in service and gets new legs, or it is in service and stays closed."""


class Batch(NamedTuple):
    """Whole trays, in build order, that are tested together before anything is laid over them."""

    number: int
    trays: tuple[int, ...]
    fibres: int


class Seat(NamedTuple):
    """Where a fibre of a trunk sits: subunit, ribbon in it and fibre in that, each from 1."""

    subunit: int
    ribbon: int
    fibre: int


class Book:
    """The plan's figures by trunk, leg, tray, sleeve and batch.

    Parameters
    ----------
    job, plan
        What belongs together: the plan's digest is the job's.
    settings
        Parameters of the sheets.
    """

    def __init__(self, job: Job, plan: Plan, settings: Settings) -> None:
        self.job, self.plan, self.settings = job, plan, settings
        self.routes: Routes = routes_of(job)
        self.ways: dict[str, PlanTrunk] = {row.trunk: row for row in plan.trunks if row.port is not None}
        """Trunks in the box, in the order of the job."""
        self.legs: dict[str, list[PlanLeg]] = {trunk: [] for trunk in self.ways}
        """Placed legs by trunk, by subunit, then group."""
        for row in plan.legs:
            if row.stack is not None:
                self.legs[row.trunk].append(row)
        self.trays: tuple[PlanTray, ...] = plan.trays
        """Used trays in build order."""
        self.tray_index: dict[Place, int] = {Place(t.stack, t.position): i for i, t in enumerate(plan.trays)}
        self.sleeves: tuple[Sleeve, ...] = tuple(
            Sleeve(i, splice.sleeve, parse_run(splice.a), parse_run(splice.b))
            for i, tray in enumerate(plan.trays)
            for splice in tray.splices
        )

    @cached_property
    def travellers(self) -> dict[str, Traveller]:
        """What goes round the track for placed legs, by name."""
        return travellers_of(self.job, self.ways, self.legs)

    @cached_property
    def traveller_of(self) -> dict[str, Traveller]:
        """What each placed leg travels in, by the leg's name."""
        return {leg.leg: traveller for traveller in self.travellers.values() for leg in traveller.legs}

    @cached_property
    def passing(self) -> tuple[Passing, ...]:
        """Trunks that go through and are in the box."""
        return passing_of(self.job, self.plan, Inside(self.ways, self.legs, self.built, self.built_trunks))

    @cached_property
    def groups(self) -> tuple[tuple[int, ...], ...]:
        """Trays that come to the bench together, those tied by opened tubes, in the order in which they are built."""
        return groups_of([place_name(tray) for tray in self.trays], self.plan.tied)

    @cached_property
    def group_of(self) -> dict[int, tuple[int, ...]]:
        """The trays with which each tray comes to the bench, itself among them."""
        return {tray: group for group in self.groups for tray in group}

    @cached_property
    def build(self) -> tuple[int, ...]:
        """All trays in build order: group by group, in a group the tray nearest to the base first."""
        return tuple(tray for group in self.groups for tray in group)

    def tying(self, tray: int) -> list[str]:
        """Name the opened tubes with legs in a tray and in another one."""
        found = []
        for traveller in dict.fromkeys(self.traveller_of[leg.leg] for leg in self.tray_legs[tray]):
            if traveller.opened and len({self.tray_of(leg) for leg in traveller.legs}) > 1:
                found.append(traveller.name)
        return found

    @property
    def trunks(self) -> list[Trunk]:
        """Trunks in the box."""
        return [self.job.trunk_by_id[trunk] for trunk in self.ways]

    @property
    def outside(self) -> list[str]:
        """Trunks that stay outside."""
        return [row.trunk for row in self.plan.trunks if row.port is None]

    @property
    def troubled(self) -> bool:
        """Whether splices have no tray or a must is broken."""
        return bool(self.plan.unplaced) or any(item.level != "prefer" for item in self.plan.broken)

    @cached_property
    def all_legs(self) -> list[PlanLeg]:
        """Every placed leg, by trunk, subunit, group."""
        return [leg for legs in self.legs.values() for leg in legs]

    @cached_property
    def built(self) -> frozenset[str]:
        """Names of the placed legs that are built: they are in service, and no step touches them."""
        runs = {str(pin.leg) for pin in self.job.pins if isinstance(pin, LegPin) and pin.built}
        return frozenset(leg.leg for leg in self.all_legs if str(self.run(leg)) in runs)

    @cached_property
    def _built_pins(self) -> dict[str, LegPin]:
        pins = {str(pin.leg): pin for pin in self.job.leg_pins if pin.built}
        return {leg.leg: pins[str(self.run(leg))] for leg in self.all_legs if str(self.run(leg)) in pins}

    @cached_property
    def measured_before(self) -> dict[str, int]:
        """Entrance marks of built legs that were measured when they were made, in mm by leg."""
        return {leg: pin.measured_mm for leg, pin in self._built_pins.items() if pin.measured_mm is not None}

    @cached_property
    def tries_before(self) -> dict[str, int]:
        """How often splices of built legs can be made again, where that was recorded, by leg."""
        return {leg: pin.tries_left for leg, pin in self._built_pins.items() if pin.tries_left is not None}

    @cached_property
    def built_trunks(self) -> frozenset[str]:
        """Trunks in the box that are built, or have a leg that is: clamped, stripped and routed already."""
        pinned = {pin.trunk for pin in self.job.pins if not isinstance(pin, LegPin) and pin.built}
        built = {t for t, legs in self.legs.items() if t in pinned or any(leg.leg in self.built for leg in legs)}
        return frozenset(built | {self.job.other_end[trunk] for trunk in built if trunk in self.job.other_end})

    @property
    def new_trunks(self) -> list[Trunk]:
        """Trunks that are brought in: those in the box that are not built."""
        return [trunk for trunk in self.trunks if trunk.id not in self.built_trunks]

    @cached_property
    def work(self) -> dict[str, list[PlanLeg]]:
        """Legs to be made by trunk, by subunit, then group; a trunk without any is left out."""
        found = {trunk: [leg for leg in legs if leg.leg not in self.built] for trunk, legs in self.legs.items()}
        return {trunk: legs for trunk, legs in found.items() if legs}

    @cached_property
    def work_legs(self) -> list[PlanLeg]:
        """Every leg to be made, by trunk, subunit, group."""
        return [leg for legs in self.work.values() for leg in legs]

    @cached_property
    def states(self) -> tuple[State, ...]:
        """What becomes of each tray."""
        found: list[State] = []
        for legs in self.tray_legs:
            built = [leg.leg in self.built for leg in legs]
            found.append("closed" if all(built) else "opened" if any(built) else "new")
        return tuple(found)

    @cached_property
    def work_trays(self) -> tuple[int, ...]:
        """Trays that get new legs, in build order."""
        return tuple(i for i in self.build if self.states[i] != "closed")

    @cached_property
    def new_trays(self) -> tuple[PlanTray, ...]:
        """Trays that are put in new, in build order."""
        return tuple(self.trays[i] for i in self.build if self.states[i] == "new")

    @cached_property
    def ribbons(self) -> dict[str, RibbonWord]:
        """What is done with the ribbons of the trunks in the box, before they are spliced."""
        return {trunk: way.ribbons or AS_THEY_ARE for trunk, way in self.ways.items()}

    @cached_property
    def handlings(self) -> tuple[Handling, ...]:
        """What is done with ribbons for the sleeves that are to be made in each tray."""
        found = []
        for tray, sleeves in zip(self.trays, self.work_sleeves, strict=True):
            sides = [side for sleeve in sleeves for side in (sleeve.a, sleeve.b)]
            single = self.hardware(tray).sleeve_fibres == 1
            known = self.job.trunk_by_id
            found.append(separated(sides, known) if single else handling(sides, known, self.ribbons))
        return tuple(found)

    def in_ribbons(self, sleeve: Sleeve) -> Iterator[tuple[Run, Run]]:
        """Cut what lies in a sleeve where the ribbons of the cables end, as their colours are told ribbon by ribbon."""
        start = 0
        while start < sleeve.a.count:
            left = sleeve.a.count - start
            for run in (sleeve.a, sleeve.b):
                subunit = self.job.trunk_by_id[run.trunk].subunit_of(run.first)
                left = min(left, subunit.ribbon_fibres - subunit.fibre_in_ribbon(run.first + start) + 1)
            a, b = (Run(r.trunk, r.first + start, r.first + start + left - 1) for r in (sleeve.a, sleeve.b))
            yield a, b
            start += left

    def made(self, sleeve: Sleeve) -> bool:
        """Whether a splice was made before: both its legs are built."""
        sides = [self.leg_at(run.trunk, run.first) for run in (sleeve.a, sleeve.b)]
        return all(leg is not None and leg.leg in self.built for leg in sides)

    @cached_property
    def work_sleeves(self) -> tuple[tuple[Sleeve, ...], ...]:
        """Sleeves to be made in each tray, by number."""
        return tuple(tuple(sleeve for sleeve in sleeves if not self.made(sleeve)) for sleeves in self.tray_sleeves)

    @cached_property
    def sleeves_to_make(self) -> tuple[Sleeve, ...]:
        """Sleeves to be made, in build order."""
        return tuple(sleeve for i in self.build for sleeve in self.work_sleeves[i])

    def live(self, trays: Iterable[int]) -> dict[str, int]:
        """Count splices in service in some trays by join."""
        found: dict[str, int] = {}
        for tray in trays:
            made = [sleeve for sleeve in self.tray_sleeves[tray] if self.made(sleeve)]
            for name, count in self._counted(made).items():
                found[name] = found.get(name, 0) + count
        return found

    def lifted(self, tray: int) -> tuple[int, ...]:
        """Give the trays that are lifted before a tray comes out with those tied to it, outermost first."""
        group = self.group_of[tray]
        base = self.trays[group[0]]
        over = [
            i
            for place, i in self.tray_index.items()
            if place.stack == base.stack and place.position > base.position and i not in group
        ]
        return tuple(sorted(over, key=lambda i: -self.trays[i].position))

    def above(self, tray: int) -> tuple[int, ...]:
        """Give the trays in service that are lifted before a tray comes out, outermost first."""
        return tuple(i for i in self.lifted(tray) if self.states[i] != "new")

    def served(self, traveller: Traveller) -> bool:
        """Whether something that goes round the track is in service: one of its legs is built."""
        return any(leg.leg in self.built for leg in traveller.legs)

    @cached_property
    def leg_by_name(self) -> dict[str, PlanLeg]:
        """Placed legs by name."""
        return {leg.leg: leg for leg in self.all_legs}

    @cached_property
    def lows(self) -> dict[str, int]:
        """Low of every placed leg by name, as crossings are counted."""
        assignment, _ = assignment_of(self.job, self.plan)
        return {str(leg): low for leg, low in Laid(self.job, assignment).lows.items()}

    @cached_property
    def tray_legs(self) -> tuple[tuple[PlanLeg, ...], ...]:
        """Legs in each tray, by trunk, subunit, group."""
        found: list[list[PlanLeg]] = [[] for _ in self.trays]
        for leg in self.all_legs:
            found[self.tray_of(leg)].append(leg)
        return tuple(tuple(legs) for legs in found)

    @cached_property
    def tray_sleeves(self) -> tuple[tuple[Sleeve, ...], ...]:
        """Sleeves in each tray, by number."""
        found: list[list[Sleeve]] = [[] for _ in self.trays]
        for sleeve in self.sleeves:
            found[sleeve.tray].append(sleeve)
        return tuple(tuple(sleeves) for sleeves in found)

    def tray_of(self, leg: PlanLeg) -> int:
        """Index of the tray of a placed leg."""
        return self.tray_index[place_of(leg)]

    def hardware(self, tray: PlanTray) -> Tray:
        """Type of a tray."""
        return self.job.enclosure.tray_at(Place(tray.stack, tray.position))

    def free_mm(self, leg: PlanLeg) -> int:
        """Length of a placed leg from the port to its tray: what the tray can be lifted on."""
        return (leg.route_mm or 0) - self.job.enclosure.tray_at(place_of(leg)).inside_mm

    def stack(self, tray: PlanTray | PlanLeg) -> Stack:
        """Stack of a tray or of a placed leg."""
        return self.job.enclosure.stack_by_id[tray.stack or ""]

    def spliced_in(self, tray: int) -> int:
        """Splices in a tray, made before or to be made."""
        return sum(sleeve.a.count for sleeve in self.tray_sleeves[tray])

    def spliced(self, tray: int) -> int:
        """Splices to be made in a tray."""
        return sum(sleeve.a.count for sleeve in self.work_sleeves[tray])

    def subunit(self, leg: PlanLeg) -> Subunit:
        """Subunit of a leg."""
        return self.job.subunit_of_leg[leg.trunk, leg.subunit]

    def run(self, leg: PlanLeg) -> Run:
        """Fibres of a leg."""
        return Run(leg.trunk, *parse_span(leg.fibres))

    def seat(self, trunk: str, fibre: int) -> Seat:
        """Find a fibre's subunit, ribbon and place in the ribbon."""
        subunit = self.job.trunk_by_id[trunk].subunit_of(fibre)
        return Seat(subunit.number, subunit.ribbon_of(fibre), subunit.fibre_in_ribbon(fibre))

    def leg_at(self, trunk: str, fibre: int) -> PlanLeg | None:
        """Give the placed leg that holds a fibre."""
        legs = self.legs.get(trunk, [])
        firsts = self._firsts.get(trunk, [])
        at = bisect_right(firsts, fibre) - 1
        return legs[at] if at >= 0 and fibre <= self.run(legs[at]).last else None

    @cached_property
    def _firsts(self) -> dict[str, list[int]]:
        return {trunk: [parse_span(leg.fibres)[0] for leg in legs] for trunk, legs in self.legs.items()}

    @cached_property
    def batches(self) -> tuple[Batch, ...]:
        """Whole groups of trays that get new legs, up to the parameter's number of splices; a larger group is a batch itself."""
        most = self.settings.tests.batch_fibres
        found: list[list[int]] = []
        filled = most + 1
        for group in self.groups:
            trays = [i for i in group if self.states[i] != "closed"]
            count = sum(self.spliced(i) for i in trays)
            if trays and filled + count > most:
                found.append([])
                filled = 0
            if trays:
                found[-1] += trays
            filled += count
        return tuple(
            Batch(number, tuple(trays), sum(self.spliced(i) for i in trays))
            for number, trays in enumerate(found, start=1)
        )

    @cached_property
    def batch_of(self) -> dict[int, int]:
        """Number of the batch of each tray that gets new legs."""
        return {tray: batch.number for batch in self.batches for tray in batch.trays}

    def join_of(self, trunk: str, fibre: int) -> str:
        """Name the join of a spliced fibre."""
        starts, joins = self._joins[trunk]
        return joins[bisect_right(starts, fibre) - 1]

    @cached_property
    def _joins(self) -> dict[str, tuple[list[int], list[str]]]:
        found: dict[str, list[tuple[int, str]]] = {}
        for join in self.job.joins:
            for run in (join.a, join.b):
                found.setdefault(run.trunk, []).append((run.first, join.name))
        return {
            trunk: ([start for start, _ in sorted(runs)], [name for _, name in sorted(runs)])
            for trunk, runs in found.items()
        }

    def circuits(self, tray: int) -> dict[str, int]:
        """Splices in a tray by join, in the order of the sleeves."""
        return self._counted(self.tray_sleeves[tray])

    def _counted(self, sleeves: Iterable[Sleeve]) -> dict[str, int]:
        found: dict[str, int] = {}
        for sleeve in sleeves:
            for fibre in range(sleeve.a.first, sleeve.a.last + 1):
                name = self.join_of(sleeve.a.trunk, fibre)
                found[name] = found.get(name, 0) + 1
        return found

    @cached_property
    def work_travellers(self) -> dict[str, Traveller]:
        """What has legs to be made, by name; what of it is in service lies on the track already."""
        return {
            name: traveller
            for name, traveller in self.travellers.items()
            if any(leg.leg not in self.built for leg in traveller.legs)
        }

    def tubes_of(self, trunk: str) -> list[tuple[float, int]]:
        """Count what is laid round the track for a trunk's new legs: (diameter in mm, how many), by diameter."""
        return counted_sizes(t for t in self.work_travellers.values() if t.trunk == trunk and not self.served(t))

    def coiled(self, trunk: str) -> list[PlanLeg]:
        """Give what of a trunk in the box goes to no tray and is coiled on the track, each in a tube."""
        if self.job.trunk_by_id[trunk].idle != "coiled":
            return []
        placed = {leg.subunit for leg in self.legs[trunk]}
        return [
            leg
            for leg in self.plan.legs
            if leg.trunk == trunk and leg.stack is None and (leg.subunit not in placed or not self.own_tube(leg))
        ]

    def own_tube(self, leg: PlanLeg) -> bool:
        """Whether a leg travels in its subunit's own tube."""
        return travels_own(self.job, self.ways[leg.trunk], leg.of)


def counted_sizes(travellers: Iterable[Traveller | Subunit]) -> list[tuple[float, int]]:
    """Count travellers by diameter: (mm, how many), the thinnest first."""
    found: dict[float, int] = {}
    for traveller in travellers:
        found[traveller.diameter_mm] = found.get(traveller.diameter_mm, 0) + 1
    return sorted(found.items())


def place_of(leg: PlanLeg) -> Place:
    """Tray place of a placed leg."""
    if leg.stack is None or leg.position is None:
        raise ValueError(f"{leg.leg} is not placed")
    return Place(leg.stack, leg.position)


def place_name(tray: PlanTray) -> str:
    """Write a tray's place as in plans: ``left/3``."""
    return f"{tray.stack}/{tray.position}"
