"""One plan as the sheets see it: every list, step and picture looks things up here, and nowhere else."""

from __future__ import annotations

from bisect import bisect_right
from functools import cached_property
from typing import NamedTuple

from trayopt.checker.claims import assignment_of
from trayopt.crewsheets.settings import Settings
from trayopt.domain.cablework import Subunit
from trayopt.domain.hardware import Place, Stack, Tray
from trayopt.domain.job import Job, Trunk
from trayopt.domain.plan import Plan, PlanLeg, PlanTray, PlanTrunk
from trayopt.domain.ranges import Run, parse_run, parse_span
from trayopt.track.laid import Laid
from trayopt.track.routes import Routes, routes_of


class Sleeve(NamedTuple):
    """One splice sleeve: in which tray (index in build order), its number, and the fibres on both sides."""

    tray: int
    number: int
    a: Run
    b: Run


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
        return self.stack(tray).tray

    def stack(self, tray: PlanTray | PlanLeg) -> Stack:
        """Stack of a tray or of a placed leg."""
        return self.job.enclosure.stack_by_id[tray.stack or ""]

    def spliced(self, tray: int) -> int:
        """Splices in a tray."""
        return sum(sleeve.a.count for sleeve in self.tray_sleeves[tray])

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
        """Whole trays in build order, up to the parameter's number of splices; a larger tray is a batch of its own."""
        most = self.settings.tests.batch_fibres
        found: list[list[int]] = []
        filled = most + 1
        for i in range(len(self.trays)):
            if filled + self.spliced(i) > most:
                found.append([])
                filled = 0
            found[-1].append(i)
            filled += self.spliced(i)
        return tuple(
            Batch(number, tuple(trays), sum(self.spliced(i) for i in trays))
            for number, trays in enumerate(found, start=1)
        )

    @cached_property
    def batch_of(self) -> dict[int, int]:
        """Number of the batch of each tray."""
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
        found: dict[str, int] = {}
        for sleeve in self.tray_sleeves[tray]:
            for fibre in range(sleeve.a.first, sleeve.a.last + 1):
                name = self.join_of(sleeve.a.trunk, fibre)
                found[name] = found.get(name, 0) + 1
        return found

    def tubes_of(self, trunk: str) -> list[tuple[float, int]]:
        """Count what travels round the track for a trunk's placed legs: (diameter in mm, how many), by diameter."""
        own = {leg.subunit for leg in self.legs[trunk] if self.own_tube(leg)}
        found: dict[float, int] = {}
        for number in own:
            diameter = self.job.subunit_of_leg[trunk, number].diameter_mm
            found[diameter] = found.get(diameter, 0) + 1
        for leg in self.legs[trunk]:
            if not self.own_tube(leg) and leg.tube_mm is not None:
                found[leg.tube_mm] = found.get(leg.tube_mm, 0) + 1
        return sorted(found.items())

    def coiled_tubes(self, trunk: str) -> int:
        """Tubes of a trunk in the box that go to no tray and are coiled on the track."""
        if self.job.trunk_by_id[trunk].idle != "coiled":
            return 0
        placed = {leg.subunit for leg in self.legs[trunk]}
        return sum(
            1
            for leg in self.plan.legs
            if leg.trunk == trunk and leg.stack is None and (leg.subunit not in placed or not self.own_tube(leg))
        )

    def own_tube(self, leg: PlanLeg) -> bool:
        """Whether a leg travels in its subunit's own tube."""
        return leg.of == 1 or self.job.trunk_by_id[leg.trunk].divide_at == "tray"


def place_of(leg: PlanLeg) -> Place:
    """Tray place of a placed leg."""
    if leg.stack is None or leg.position is None:
        raise ValueError(f"{leg.leg} is not placed")
    return Place(leg.stack, leg.position)


def place_name(tray: PlanTray) -> str:
    """Write a tray's place as in plans: ``left/3``."""
    return f"{tray.stack}/{tray.position}"
