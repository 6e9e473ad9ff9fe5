"""Counts by place: how many legs of each kind lie at each tray place; bounds on used places and leg length.

It holds for every plan that leaves so many splices unplaced at most, has so many legs at most, and keeps what groups its
question holds: trays have room for the legs at them, both sides of the splices of two trunks lie in one tray, and ways, guides
and stacks bind as in the counts by stack. Which leg lies where is left out, and with it what crosses.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from math import gcd

from trayopt.domain.base import DivideAt
from trayopt.domain.cablework import Subunit
from trayopt.domain.finding import Level
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.domain.trunk import Trunk
from trayopt.goals.registry import BY_ID as GOALS
from trayopt.rules.guide_fill import GuideFill, area_units, guide_units
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.variables import (
    Expression,
    Literal,
    Partings,
    Ribbons,
    StackTrays,
    Trays,
    TrunkLegs,
    TrunkPlaces,
    TrunkStacks,
    TrunkWays,
    Variables,
    Windows,
)
from trayopt.solver.bounds.class_counts import Kind
from trayopt.solver.bounds.stack_counts import StackCounts
from trayopt.solver.model.base import UsedTrays
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question
from trayopt.solver.model.interruptible import FOUND, solve_one, whole_bound
from trayopt.solver.model.literals import linear, total
from trayopt.solver.model.vocabulary import voice
from trayopt.track.routes import routes_of

EFFORT = 6.0
"""Most deterministic time for a bound."""
AREA_EFFORT = 0.1
"""Most deterministic time for a bound on the cross-section of all tubes."""
TRUNK_EFFORT = 0.3
"""The same for the tubes of one trunk."""
MOST_COUNTS = 4000
"""Most kinds of legs times places for a bound on the length: with more of them, no answer comes soon."""


class PlaceCounts(StackCounts, UsedTrays):
    """The counts by stack of a question with their legs counted at every place."""

    def furnish(self) -> None:
        """Count legs at places before the rules speak."""
        self.here: dict[Place, dict[Kind, Expression]] = {place: {} for place in self.places}
        for (i, choice, stack), legs in self.legs_of.items():
            name, division = self.classes[i].members[0].name, self.kinds[i, choice]
            most = 2 * max(tray.fibres for tray in self.job.enclosure.stack_by_id[stack].kinds) // division.ends
            rows = [here for place, here in self.here.items() if place.stack == stack]
            for row in rows:
                row[i, choice] = self.number(
                    most if self._holds_fibres else division.legs * len(self.job.subunits), name
                )
            self.require(total(row[i, choice] for row in rows) == legs)
        for place, row in self.here.items():
            if self._holds_fibres:
                loads = total(self.kinds[key].ends * legs for key, legs in row.items())
                self.require(loads <= 2 * self.job.enclosure.tray_at(place).fibres)
            self.share(row)

    @property
    def _holds_fibres(self) -> bool:
        return self._asks(TrayFibres)

    @cached_property
    def voice(self) -> Variables:
        """What rules and goals may ask."""
        return voice(
            self, TrunkWays, Windows, Partings, Ribbons, TrunkStacks, TrunkPlaces, TrunkLegs, Trays, StackTrays
        )

    def legs_at(self, trunk: Trunk, place: Place) -> Expression:
        """How many legs of a trunk are at a place."""
        return total(legs for (i, _), legs in self.here[place].items() if self.classes[i].trunk == trunk.id)

    def legs_on(self, trunk: Trunk, stack: str) -> Expression:
        """How many legs of a trunk are on a stack."""
        return total(
            legs for (i, _, on), legs in self.legs_of.items() if on == stack and self.classes[i].trunk == trunk.id
        )

    def most_trunk_legs(self, trunk: Trunk) -> int:
        """Count the legs of a trunk at its finest divisions."""
        finest = {i: 0 for i, alike in enumerate(self.classes) if alike.trunk == trunk.id}
        for (i, _), division in self.kinds.items():
            if i in finest:
                finest[i] = max(finest[i], division.legs)
        return sum(legs * len(self.classes[i].members) for i, legs in finest.items())

    def most_legs_at(self, place: Place) -> int:
        """Bound the legs at a place by all there are."""
        del place
        return sum(map(self.most_trunk_legs, self.job.trunks))

    def used(self, place: Place) -> Literal:
        """Whether a tray place is used."""
        most = sum(map(self.most_trunk_legs, self.job.trunks))
        return self.positive(("used", place), total(self.here[place].values()), most)

    def trunk_at(self, trunk: Trunk, place: Place) -> Literal:
        """Whether a trunk has a leg at a place."""
        return self.positive(("trunk at", trunk.id, place), self.legs_at(trunk, place), self.most_trunk_legs(trunk))


def goal_bound(
    job: Job,
    goal: GoalName,
    levels: tuple[Level, ...],
    unplaced: int,
    limits: Mapping[GoalName, int],
    clock: Clock,
) -> int:
    """Bound used places or the leg length, in mm, over plans with at most so many splices unplaced.

    Such plans keep every rule of these ``levels``; physical rules at must are kept in any case. ``limits`` are what such
    plans have at most of legs and used places.
    """
    counts = PlaceCounts(_question(job, levels), all_placed=not unplaced)
    if len(counts.kinds) * len(counts.places) > MOST_COUNTS:
        return 0
    _hold(counts, unplaced, limits.get("legs"))
    if "trays" in limits:
        counts.require(GOALS["trays"].encode(counts.job, counts.voice) <= limits["trays"])
    counts.minimize(GOALS[goal].encode(counts.job, counts.voice))
    status, solver = solve_one(counts.cp, clock, EFFORT)
    return max(0, whole_bound(solver.best_objective_bound)) if status in FOUND else 0


def area_in_box(job: Job, subunit: Subunit, of: int, at: DivideAt) -> int:
    """Return the cross-section of the tubes of a placed subunit at a division, in the units of ``area_units``."""
    trunk = job.trunk_by_id[subunit.trunk]
    tube = routes_of(job).traveller(trunk, subunit, of, at)
    if tube is None:
        return 0
    tubes = 1 if tube.own else of if trunk.idle == "coiled" else len(job.spliced_legs(subunit, of))
    return tubes * area_units(tube.diameter_mm)


def most_area(job: Job, varying: Sequence[Trunk], clock: Clock) -> Iterator[tuple[Sequence[Trunk], int]]:
    """Bound ``area_in_box`` over plans that keep every must and place all: of some trunks one by one, and of all together.

    A trunk is not asked about alone where no guide could be too narrow for its tubes.

    Yields
    ------
    trunks, most
        Which trunks, and the most that the tubes of their spliced subunits have together, in the units of ``area_units``;
        none where no answer was found in time.
    """
    counts = StackCounts(Question(job))
    _hold(counts, 0, None)
    areas = {(i, choice): area_in_box(job, counts.classes[i].members[0], *choice) for i, choice in counts.count}
    unit = gcd(*areas.values()) or 1
    fill = GuideFill().parameters(job).fill
    narrowest = min(guide_units(guide, fill) for guide in job.enclosure.track.guides)
    for trunks in (*([trunk] for trunk in varying), job.trunks):
        ids = {trunk.id for trunk in trunks}
        mine = {key: area for key, area in areas.items() if counts.classes[key[0]].trunk in ids}
        if len(trunks) == 1:
            passes = 1 + max(way.loops for way in counts.ways(trunks[0]))
            widest = {i: max(area for (j, _), area in mine.items() if j == i) for i, _ in mine}
            if passes * sum(area * len(counts.classes[i].members) for i, area in widest.items()) <= narrowest:
                continue
        counts.cp.maximize(linear(total(area // unit * counts.count[key] for key, area in mine.items())))
        status, solver = solve_one(counts.cp, clock, TRUNK_EFFORT if len(trunks) == 1 else AREA_EFFORT)
        if status in FOUND:
            yield trunks, unit * -whole_bound(-solver.best_objective_bound)


def _question(job: Job, levels: tuple[Level, ...]) -> Question:
    return Question(job, levels=levels) if levels else Question(job, kinds=("physical",))


def _hold(counts: StackCounts, unplaced: int, legs: int | None) -> None:
    counts.hold_all()
    if unplaced:
        counts.require(counts.unplaced() <= unplaced)
    if legs is not None:
        counts.require(counts.all_legs_count() <= legs)
