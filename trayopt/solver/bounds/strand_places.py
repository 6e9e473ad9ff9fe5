"""The least irregularity of plans with so few crossings, and a layout that has it: who lies where, and nothing else.

Where crossings leave little choice, they say who turns off before whom (``settle_orders``). Then irregularity is a question of
its own: which bunch lies in which tray, so that no order is broken and stacks are used in turn. The whole model has this
question in it, among all that it says of pairs, ways and lengths, and finds no good answer to it for long.

It is asked where every strand is borne by one leg and no tray takes two bunches.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import NamedTuple

from trayopt.domain.hardware import Place
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.variables import Expression
from trayopt.solver.bounds.opposite_orders import Agreed, agreed
from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.interruptible import FOUND, one_worker, solve_interruptible, whole_bound
from trayopt.solver.model.literals import Literals, Sum, total
from trayopt.solver.model.model import Model

NAME = "strand_places"
EFFORT = 30.0
"""Most deterministic time for the question."""
MOST_LITERALS = 40_000
"""Most bunches times places of a model that is asked."""


class Layout(NamedTuple):
    """What is proven of irregularity, and a layout: its irregularity, and the place of each bunch."""

    bound: int
    irregular: int
    places: Mapping[int, Place]


def least_irregular(model: Model, crossings: int, clock: Clock) -> Layout | None:
    """Bound the irregularity of the plans of a model with at most so many crossings; None where nothing can be said."""
    orders = agreed(model, crossings)
    walks = _walks(model)
    if orders is None or walks is None or not _apart(model):
        return None
    if len(model.bunches) * len(model.places) > MOST_LITERALS:
        return None
    asked = _StrandPlaces(model, orders, clock)
    asked.minimize(asked.uneven() + total(step for walk in walks for step in asked.steps(walk)))
    solver = one_worker(clock, EFFORT, symmetry_level=0, linearization_level=0)
    solver.parameters.optimize_with_core = True
    status = solve_interruptible(solver, asked.cp, clock)
    if status not in FOUND:
        return None
    at = {
        bunch: place
        for bunch, found in asked.at.items()
        for place, literal in found.items()
        if solver.boolean_value(literal)
    }
    return Layout(whole_bound(solver.best_objective_bound), round(solver.objective_value), at)


def _apart(model: Model) -> bool:
    """Whether no tray takes two bunches of a model."""
    lightest = sorted(model.loads.values())[:2]
    room = 2 * max(tray.fibres for tray in model.job.enclosure.trays)
    return model.keeps(TrayFibres.id) and len(lightest) == 2 and sum(lightest) > room


def _walks(model: Model) -> list[list[int]] | None:
    """Return the bunches of the first spliced legs of each lead trunk's subunits; None where divisions are open."""
    walks = []
    for trunk in model.job.trunks:
        if trunk.id not in model.job.lead_trunks:
            continue
        walk = []
        for subunit in trunk.subunits:
            open_ = model.divisions(subunit)
            if len(open_) > 1:
                return None
            legs = [leg for of in open_ for leg in model.legs(subunit, of) if model.job.spliced_fibres(leg)]
            walk += [model.bunch(leg) for leg in legs[:1]]
        walks.append(walk)
    return walks


class _StrandPlaces(Literals):
    """Each bunch at one place, at most one at a place, in the orders that are left."""

    def __init__(self, model: Model, orders: Agreed, clock: Clock) -> None:
        super().__init__(clock)
        self.stacks = [stack.id for stack in model.job.enclosure.stacks]
        self.places = model.places
        self.at = {
            bunch: {place: self.literal(f"{bunch} at {place}") for place in model.places} for bunch in model.bunches
        }
        for found in self.at.values():
            self.cp.add_exactly_one(list(found.values()))
        for place in model.places:
            here = [found[place] for found in self.at.values()]
            if len(self.at) == len(self.places):
                self.cp.add_exactly_one(here)
            else:
                self.cp.add_at_most_one(here)
        self._order(orders)

    def _up_to(self, bunch: int, position: int) -> cp_sat.IntVar:
        """Whether a bunch lies at a position or nearer to the base."""

        def make() -> cp_sat.IntVar:
            literal = self.literal(f"{bunch} up to {position}")
            here = Sum([x for place, x in self.at[bunch].items() if place.position == position])
            if position == 1:
                self.require(literal == here)
                return literal
            before = self._up_to(bunch, position - 1)
            self.cp.add_implication(before, literal)
            self.require(literal == before + here)
            return literal

        return self._make(("up to", bunch, position), make)

    def _order(self, orders: Agreed) -> None:
        """Let no bunch turn off nearer to the base than one that all trunks see before it; few such pairs share a position."""
        positions = range(1, self.places[-1].position + 1)
        shares = []
        for one, other in orders.pairs:
            share = [self.literal(f"{one} beside {other}")] if orders.spare else []
            shares += share
            for position in positions:
                later = self._up_to(other, position)
                nearer = [self._up_to(one, position - 1)] if position > 1 else []
                self.cp.add_bool_or([~later, *nearer, *share])
                if share:
                    self.cp.add_implication(later, self._up_to(one, position))
        if shares:
            self.require(total(shares) <= orders.spare)

    def steps(self, walk: list[int]) -> Iterator[cp_sat.IntVar]:
        """Make a literal for each step of a walk that does not go on to the next stack."""
        follows = dict(zip(self.stacks, self.stacks[1:] + self.stacks[:1], strict=True))
        if len(self.stacks) == 1:
            return
        for before, after in pairwise(walk):
            step = self.literal(f"{after} out of turn")
            for stack in self.stacks:
                self.cp.add_bool_or([~self._on(before, stack), self._on(after, follows[stack]), step])
            yield step

    def uneven(self) -> Expression:
        """Return the most less the fewest used places of the stacks; 0 where a stack may be out of use."""
        heights = {stack: sum(place.stack == stack for place in self.places) for stack in self.stacks}
        empty = len(self.places) - len(self.at)
        if not empty:
            return max(heights.values()) - min(heights.values())
        if empty >= min(heights.values()):
            return 0
        most, fewest = (self.number(max(heights.values()), name) for name in ("highest stack", "lowest stack"))
        for stack in self.stacks:
            height = Sum([self._on(bunch, stack) for bunch in self.at])
            self.require(most >= height)
            self.require(fewest <= height)
        return most - fewest

    def _on(self, bunch: int, stack: str) -> cp_sat.IntVar:
        """Whether a bunch lies on a stack."""

        def make() -> cp_sat.IntVar:
            literal = self.literal(f"{bunch} on {stack}")
            here = [x for place, x in self.at[bunch].items() if place.stack == stack]
            self.cp.add_exactly_one([~literal, *here])
            return literal

        return self._make(("on", bunch, stack), make)
