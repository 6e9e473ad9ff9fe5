"""A bound on the leg length where divisions are open: how many legs of each size a trunk has at each tray place.

Decided are the divisions, and how many legs of a size lie where; not which. It holds for every plan that places every splice,
keeps every must and has no more legs and broken preferences than are known to be enough, because each such plan gives these
counts:

* Divisions are as the division model lets them be.
* A tray holds as many fibres and sleeves as its legs bring. Of a trunk it holds no more splices than of all trunks that it is
  joined to, and just as many where the two are joined to none but each other.
* Ways, stacks of subunits and rules bind as in the outline. A subunit that is not parted brings all its splices to one stack.

What is left out is which leg is spliced to which, and in which order subunits enter.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from math import ceil
from typing import Any, NamedTuple

from ortools.sat.python import cp_model

from trayopt.domain.cablework import Subunit
from trayopt.domain.hardware import Place
from trayopt.domain.job import Trunk
from trayopt.goals.registry import BY_ID as GOALS
from trayopt.solve.divide import Divider
from trayopt.solve.interruptible import solve_one
from trayopt.solve.literals import total
from trayopt.solve.model import Model
from trayopt.solve.outline import RULES, Outline
from trayopt.solve.stop import Clock

EFFORT = 6.0
"""Most deterministic time for a bound."""


class Size(NamedTuple):
    """What a leg brings: its splices, twice its places in a tray, and twice its sleeves."""

    splices: int
    load2: int
    sleeves2: int


Cuts = Mapping[int, Mapping[Size, int]]
"""Legs of each size by division."""


class Spread(Outline):
    """The outline of a model, with the sizes of legs at places."""

    rules = (*RULES, "tray_fibres", "tray_sleeves", "entrance_legs", "base_outward", "reserve")

    def __init__(self, whole: Model, divider: Divider, fewest: int, most: int) -> None:
        self.whole = whole
        self.divider = divider
        self.fewest, self.most = fewest, most
        self._number: dict[str, dict[Size, dict[Place, Any]]] = {}
        divisions = {(s.trunk, s.number): whole.divisions(s) for s in whole.job.subunits if whole.divisions(s)}
        super().__init__(whole.job, divisions)

    def furnish(self) -> None:
        """Make the counts before the rules speak."""
        super().furnish()
        self._divided = self.divider.post(self.cp, alike=False)
        self._leg_sleeves = self.whole.leg_sleeves(self.job.enclosure.stacks[0].tray.sleeve_fibres)
        partners: dict[str, set[str]] = {trunk.id: set() for trunk in self.job.trunks}
        for a, b in self.job.joined_pairs:
            partners[a].add(b)
            partners[b].add(a)
        for trunk in self.job.trunks:
            self._spread(trunk)
        legs = total(self.legs_at(trunk, place) for trunk in self.job.trunks for place in self.places)
        self.require(legs <= self.most)
        self.require(legs >= self.fewest)
        for place in self.places:
            self._match(place, partners)

    def _spread(self, trunk: Trunk) -> None:
        """Say where the legs of each size of a trunk lie that its divisions bring."""
        spliced = [subunit for subunit in trunk.subunits if self.whole.divisions(subunit)]
        brought: dict[Size, list[Any]] = {}
        for subunit in spliced:
            cuts = self._cuts(subunit)
            for of, divided in self._divided[trunk.id, subunit.number].items():
                self.require(divided <= int(of in cuts))
                for size, legs in cuts.get(of, {}).items():
                    brought.setdefault(size, []).append(legs * divided)
        most = self.most_trunk_legs(trunk)
        self._number[trunk.id] = {
            size: {place: self.number(most, f"{trunk.id} {size} at {place}") for place in self.places}
            for size in brought
        }
        for size, at in self._number[trunk.id].items():
            self.require(total(at.values()) == total(brought[size]))
        for stack in self.stacks:
            here = total(self._splices(trunk, place) for place in self.places if place.stack == stack)
            whole = total(self._spliced_in(subunit) * self.first_on(subunit, stack) for subunit in spliced)
            parted = total(self._spliced_in(subunit) * self.parted(subunit) for subunit in spliced)
            self.require(here - whole <= parted)
            self.require(whole - here <= parted)

    def _cuts(self, subunit: Subunit) -> Cuts:
        """Count the legs of each size at each open division of a subunit."""
        return {
            of: Counter(
                Size(
                    self.job.spliced_fibres(leg),
                    2 * subunit.fibres // of - self.job.spliced_fibres(leg),
                    self._leg_sleeves[leg],
                )
                for leg in self.whole.legs(subunit, of)
            )
            for of in self.whole.divisions(subunit)
        }

    def _spliced_in(self, subunit: Subunit) -> int:
        return self.job.spliced_fibres(subunit.leg(1, 1))

    def _match(self, place: Place, partners: Mapping[str, set[str]]) -> None:
        """Let a tray hold of each trunk no more splices than of the trunks that it is joined to."""
        for trunk in self.job.trunks:
            others = total(self._splices(self.job.trunk_by_id[other], place) for other in sorted(partners[trunk.id]))
            self.require(self._splices(trunk, place) <= others)

    def _splices(self, trunk: Trunk, place: Place) -> Any:
        return total(size.splices * at[place] for size, at in self._number[trunk.id].items())

    def _sum(self, place: Place, what: int) -> Any:
        return total(size[what] * at[place] for sizes in self._number.values() for size, at in sizes.items())

    def legs_at(self, trunk: Trunk, place: Place) -> Any:
        """How many legs of a trunk are at a place."""
        return total(at[place] for at in self._number[trunk.id].values())

    def legs_on(self, trunk: Trunk, stack: str) -> Any:
        """How many legs of a trunk are on a stack."""
        return total(self.legs_at(trunk, place) for place in self.places if place.stack == stack)

    def most_trunk_legs(self, trunk: Trunk) -> int:
        """Give the most legs that a trunk can have."""
        return min(self.most, self.whole.most_trunk_legs(trunk))

    def most_legs_at(self, place: Place) -> int:
        """Bound the legs at a place as the whole model does."""
        return self.whole.most_legs_at(place)

    def load2(self, place: Place) -> Any:
        """Twice the splices and parked fibres of a place."""
        return self._sum(place, 1)

    def sleeves2(self, place: Place) -> Any:
        """Twice the sleeves of a place; sleeves differ by tray, so sizes know them only where all trays have one size."""
        if len({stack.tray.sleeve_fibres for stack in self.job.enclosure.stacks}) > 1:
            return 0
        return self._sum(place, 2)

    def used(self, place: Place) -> Any:
        """Whether a tray place is used."""
        legs = total(self.legs_at(trunk, place) for trunk in self.job.trunks)
        return self.positive(("used", place), legs, self.most)

    def trunk_at(self, trunk: Trunk, place: Place) -> Any:
        """Whether a trunk has a leg at a place."""
        return self.positive(("trunk at", trunk.id, place), self.legs_at(trunk, place), self.most_trunk_legs(trunk))


def spread_bound(model: Model, divider: Divider, fewest: int, most: int, weight: int, clock: Clock) -> int:
    """Bound the leg length, in mm, over plans of a model that break preferences of at most this weight.

    ``fewest`` and ``most`` are legs that every plan has and that no plan worth a look exceeds.
    """
    spread = Spread(model, divider, fewest, most)
    broken = spread.broken("prefer")
    if not isinstance(broken, int):
        spread.require(broken <= weight)
    spread.cp.minimize(GOALS["leg_length_mm"].encode(model.job, spread))
    status, solver = solve_one(spread.cp, clock, EFFORT, symmetry_level=2)
    if status == cp_model.INFEASIBLE:
        raise AssertionError("the spread denies plans that are there")
    return max(0, ceil(solver.best_objective_bound - 1e-6))
