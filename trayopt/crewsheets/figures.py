"""The figures of a plan by trunk, leg, tray and sleeve, built or not."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from functools import cached_property
from typing import NamedTuple

from trayopt.checker.claims import assignment_of
from trayopt.crewsheets.settings import Settings
from trayopt.crewsheets.travellers import Traveller, groups_of, travellers_of, travels_own
from trayopt.domain.base import AS_THEY_ARE, RibbonWord
from trayopt.domain.cablework import Subunit
from trayopt.domain.hardware import Place, Stack, Tray
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan, PlanLeg, PlanTray, PlanTrunk
from trayopt.domain.ranges import Run, parse_run, parse_span
from trayopt.domain.trunk import Trunk
from trayopt.track.laid import Laid
from trayopt.track.routes import Routes, routes_of


class Sleeve(NamedTuple):
    """A splice sleeve: the index of its tray, its number, and the fibres on both sides."""

    tray: int
    number: int
    a: Run
    b: Run


class Seat(NamedTuple):
    """The position of a fibre in its trunk: subunit, ribbon in the subunit, and fibre in the ribbon, each counted from 1."""

    subunit: int
    ribbon: int
    fibre: int


class Figures:
    """The plan's figures by trunk, leg, tray and sleeve.

    Parameters
    ----------
    job, plan
        The job, and a plan of this job.
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
        """The travellers of placed legs, by name."""
        return travellers_of(self.job, self.ways, self.legs)

    @cached_property
    def traveller_of(self) -> dict[str, Traveller]:
        """The traveller of each placed leg, by the name of the leg."""
        return {leg.leg: traveller for traveller in self.travellers.values() for leg in traveller.legs}

    @cached_property
    def groups(self) -> tuple[tuple[int, ...], ...]:
        """Groups of trays that come to the bench together, because opened tubes tie them, in the order of building."""
        return groups_of([place_name(tray) for tray in self.trays], self.plan.tied)

    @cached_property
    def group_of(self) -> dict[int, tuple[int, ...]]:
        """The group of trays with which each tray comes to the bench, itself included."""
        return {tray: group for group in self.groups for tray in group}

    @cached_property
    def build(self) -> tuple[int, ...]:
        """All trays in build order: group by group, and within a group the tray nearest to the base first."""
        return tuple(tray for group in self.groups for tray in group)

    def tying(self, tray: int) -> list[str]:
        """Return the opened tubes that have legs in this tray and in another tray."""
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
    def ribbons(self) -> dict[str, RibbonWord]:
        """The ribbon work of the trunks in the box."""
        return {trunk: way.ribbons or AS_THEY_ARE for trunk, way in self.ways.items()}

    def in_ribbons(self, sleeve: Sleeve) -> Iterator[tuple[Run, Run]]:
        """Cut the runs in a sleeve at the ribbon edges of the cables, since colours are written ribbon by ribbon."""
        start = 0
        while start < sleeve.a.count:
            left = sleeve.a.count - start
            for run in (sleeve.a, sleeve.b):
                subunit = self.job.trunk_by_id[run.trunk].subunit_of(run.first)
                left = min(left, subunit.ribbon_fibres - subunit.fibre_in_ribbon(run.first + start) + 1)
            a, b = (Run(r.trunk, r.first + start, r.first + start + left - 1) for r in (sleeve.a, sleeve.b))
            yield a, b
            start += left

    def lifted(self, tray: int) -> tuple[int, ...]:
        """Return the trays to be lifted before a tray comes out with the trays tied to it, outermost first."""
        group = self.group_of[tray]
        base = self.trays[group[0]]
        over = [
            i
            for place, i in self.tray_index.items()
            if place.stack == base.stack and place.position > base.position and i not in group
        ]
        return tuple(sorted(over, key=lambda i: -self.trays[i].position))

    @cached_property
    def leg_by_name(self) -> dict[str, PlanLeg]:
        """Placed legs by name."""
        return {leg.leg: leg for leg in self.all_legs}

    @cached_property
    def lows(self) -> dict[str, int]:
        """The low of every placed leg by name, as used to count crossings."""
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
        """Return the index of the tray of a placed leg."""
        return self.tray_index[place_of(leg)]

    def hardware(self, tray: PlanTray) -> Tray:
        """Return the type of a tray."""
        return self.job.enclosure.tray_at(Place(tray.stack, tray.position))

    def free_mm(self, leg: PlanLeg) -> int:
        """Return the length of a placed leg from the port to its tray, in mm: the slack on which the tray can be lifted."""
        return (leg.route_mm or 0) - self.job.enclosure.tray_at(place_of(leg)).inside_mm

    def stack(self, tray: PlanTray | PlanLeg) -> Stack:
        """Return the stack of a tray or of a placed leg."""
        return self.job.enclosure.stack_by_id[tray.stack or ""]

    def spliced_in(self, tray: int) -> int:
        """Count the splices in a tray, made before or to be made."""
        return sum(sleeve.a.count for sleeve in self.tray_sleeves[tray])

    def subunit(self, leg: PlanLeg) -> Subunit:
        """Return the subunit of a leg."""
        return self.job.subunit_of_leg[leg.trunk, leg.subunit]

    def run(self, leg: PlanLeg) -> Run:
        """Return the fibres of a leg."""
        return Run(leg.trunk, *parse_span(leg.fibres))

    def seat(self, trunk: str, fibre: int) -> Seat:
        """Return the subunit, the ribbon and the position in the ribbon of a fibre."""
        subunit = self.job.trunk_by_id[trunk].subunit_of(fibre)
        return Seat(subunit.number, subunit.ribbon_of(fibre), subunit.fibre_in_ribbon(fibre))

    def leg_at(self, trunk: str, fibre: int) -> PlanLeg | None:
        """Return the placed leg that holds a fibre; None if there is none."""
        legs = self.legs.get(trunk, [])
        firsts = self._firsts.get(trunk, [])
        at = bisect_right(firsts, fibre) - 1
        return legs[at] if at >= 0 and fibre <= self.run(legs[at]).last else None

    @cached_property
    def _firsts(self) -> dict[str, list[int]]:
        return {trunk: [parse_span(leg.fibres)[0] for leg in legs] for trunk, legs in self.legs.items()}

    def join_of(self, trunk: str, fibre: int) -> str:
        """Return the name of the join of a spliced fibre."""
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
        """Count the splices in a tray by join, in the order of the sleeves."""
        return self._counted(self.tray_sleeves[tray])

    def _counted(self, sleeves: Iterable[Sleeve]) -> dict[str, int]:
        found: dict[str, int] = {}
        for sleeve in sleeves:
            for fibre in range(sleeve.a.first, sleeve.a.last + 1):
                name = self.join_of(sleeve.a.trunk, fibre)
                found[name] = found.get(name, 0) + 1
        return found

    def coiled(self, trunk: str) -> list[PlanLeg]:
        """Return the legs of a trunk in the box that go to no tray and are coiled on the track, each in a tube."""
        return self._unplaced(trunk) if self.job.trunk_by_id[trunk].idle == "coiled" else []

    def cut_back(self, trunk: str) -> list[PlanLeg]:
        """Return the legs of a trunk in the box that go to no tray and are cut back at the port, each in a tube."""
        return self._unplaced(trunk) if self.job.trunk_by_id[trunk].idle == "cut_back" else []

    def _unplaced(self, trunk: str) -> list[PlanLeg]:
        placed = {leg.subunit for leg in self.legs[trunk]}
        return [
            leg
            for leg in self.plan.legs
            if leg.trunk == trunk and leg.stack is None and (leg.subunit not in placed or not self.own_tube(leg))
        ]

    def own_tube(self, leg: PlanLeg) -> bool:
        """Whether a leg travels in its subunit's own tube."""
        return travels_own(self.job, self.ways[leg.trunk], leg.of)


def place_of(leg: PlanLeg) -> Place:
    """Return the tray place of a placed leg; raise ValueError if the leg is not placed."""
    if leg.stack is None or leg.position is None:
        raise ValueError(f"{leg.leg} is not placed")
    return Place(leg.stack, leg.position)


def place_name(tray: PlanTray) -> str:
    """Write a tray's place as in plans: ``left/3``."""
    return f"{tray.stack}/{tray.position}"
