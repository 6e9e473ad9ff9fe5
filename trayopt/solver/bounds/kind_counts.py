"""How many bunches of each kind lie at each tray place, without saying which: what counting relaxations have in common.

Bunches are of one kind if they bring the same to a tray. What is left out is which bunch lies where, and so their order.
"""

from __future__ import annotations

from abc import abstractmethod
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from trayopt.domain.assignment import Way
from trayopt.domain.hardware import Place
from trayopt.domain.plan import GoalName
from trayopt.domain.splicing import Done
from trayopt.domain.trunk import Trunk
from trayopt.goals.registry import BY_ID as GOALS
from trayopt.rules.variables import CannotSay, Constraint, Expression, Literal
from trayopt.solver.bounds.outline import Outline
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import DividedLegs, UsedTrays
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.interruptible import solve_one, whole_bound
from trayopt.solver.model.literals import lits, total

EFFORT = 6.0
"""Most deterministic time for one answer."""

PRESOLVES = 3
"""How often it is tried out what follows from each literal of counts."""

Limits = Mapping[GoalName, int | None]
"""The greatest value of each goal in the plans in question; None for no limit."""


class Kind(NamedTuple):
    """What a bunch brings to a tray: fibre ends, twice its sleeves, its legs by trunk, the pairs of trunks it joins.

    ``sleeves2`` are those that it takes at least; ``more2`` says what some choices of what is done with ribbons take more.
    """

    ends: int
    sleeves2: int
    legs: tuple[tuple[str, int], ...]
    pairs: frozenset[tuple[str, ...]] = frozenset()
    more2: tuple[tuple[Done, int], ...] = ()


@dataclass(frozen=True)
class AtPlaces:
    """How many bunches of each kind lie at each place, with the ways of trunks and the ends of stacks that go with them."""

    bunches: Mapping[Place, Mapping[Kind, int]]
    ways: Mapping[str, Way]
    ends: Mapping[str, str]


class KindCounts(Outline, DividedLegs, UsedTrays):
    """An outline with counts of bunches at places; whoever makes the counts puts them into ``_number``."""

    _number: dict[Kind, dict[Place, Expression]]
    """Bunches of each kind at each place."""

    @abstractmethod
    def most_bunches(self, place: Place) -> int:
        """Bound the bunches at a place."""

    def legs_at(self, trunk: Trunk, place: Place) -> Expression:
        """How many legs of a trunk are at a place."""
        return total(dict(kind.legs).get(trunk.id, 0) * at[place] for kind, at in self._number.items())

    def ends(self, place: Place) -> Expression:
        """Fibre ends of a place."""
        return total(kind.ends * at[place] for kind, at in self._number.items())

    def sleeves2(self, place: Place) -> Expression:
        """Twice the sleeves of a place."""
        return self.sleeves2_at_least(place)

    def sleeves2_at_least(self, place: Place) -> Expression:
        """Twice the sleeves of a place; sleeves differ by tray, so kinds know them only where all trays have one size."""
        if len({tray.sleeve_fibres for tray in self.job.enclosure.trays}) > 1:
            raise CannotSay(type(self).__name__, "sleeves of several sizes")
        most = self.most_bunches(place)
        more: dict[Done, list[tuple[int, Expression]]] = defaultdict(list)
        for kind, at in self._number.items():
            for done, sleeves2 in kind.more2:
                more[done].append((sleeves2, at[place]))
        return total(
            [
                *(kind.sleeves2 * at[place] for kind, at in self._number.items()),
                *(
                    self.where_done(
                        done,
                        total(sleeves2 * here for sleeves2, here in found),
                        most * max(sleeves2 for sleeves2, _ in found),
                        ("more sleeves", place),
                    )
                    for done, found in more.items()
                ),
            ]
        )

    def ends_at_least(self, place: Place) -> Expression:
        """Fibre ends of a place."""
        return self.ends(place)

    def used(self, place: Place) -> Literal:
        """Whether a tray place is used; as the outline says it where nothing is counted at places."""
        if not self._number:
            return super().used(place)
        here = total(at[place] for at in self._number.values())
        return self.positive(("used", place), here, self.most_bunches(place))

    def trays_on(self, stack: str) -> Expression:
        """How many tray places of a stack are used; as the outline says it where nothing is counted at places."""
        if not self._number:
            return super().trays_on(stack)
        return UsedTrays.trays_on(self, stack)

    def trunk_at(self, trunk: Trunk, place: Place) -> Literal:
        """Whether a trunk has a leg at a place; as the outline says it where nothing is counted at places."""
        if not self._number:
            return super().trunk_at(trunk, place)
        return self.positive(("trunk at", trunk.id, place), self.legs_at(trunk, place), self.most_trunk_legs(trunk))

    def at_places(self, value: Callable[[Expression], int]) -> AtPlaces:
        """Read counts, ways and ends out of a solution."""
        return AtPlaces(
            bunches={
                place: {kind: value(at[place]) for kind, at in self._number.items() if value(at[place])}
                for place in self.places
            },
            ways={
                trunk.id: way
                for trunk in self.job.trunks
                for way in self.ways(trunk)
                if self.in_box(trunk) and value(self.goes(trunk, way))
            },
            ends={
                stack.id: end.id
                for stack in self.job.enclosure.stacks
                for end in stack.ends
                if value(self.end(stack.id, end.id))
            },
        )

    def encoded(self, goal: GoalName) -> Expression:
        """Return a goal as an expression."""
        return GOALS[goal].encode(self.job, self.voice)

    def hold_preferences(self, weight: int) -> None:
        """Let no more preferences be broken than of this weight."""
        broken = self.broken("prefer")
        if not isinstance(broken, int):
            self.require(broken <= weight)

    def hold_goals(self, limits: Limits) -> None:
        """Let goals have at most some values."""
        for goal, most in limits.items():
            if most is not None:
                self.require(self.encoded(goal) <= most)

    @property
    def _breakable(self) -> list[cp_sat.IntVar]:
        """The literals of preferences that may be broken."""
        return [literal for group, literal in self.let_go.items() if self.job.rules[group.rule].level == "prefer"]

    def decide_stacks_first(self) -> bool:
        """Let ways, broken preferences and stacks of subunits be decided first; false where no preference may be broken.

        With these settled, loads and lengths follow almost at once. A search that decides counts first meets the same choice of
        broken preferences again and again.
        """
        broken = self._breakable
        if not broken:
            return False
        ways = (self.goes(trunk, way) for trunk in self.job.trunks for way in self.ways(trunk))
        stacks = (literal for first in self._first.values() for literal in first.values())
        for literals, value in (
            (ways, 1),
            (broken, 0),
            (stacks, 1),
        ):
            open_ = (literal for literal in literals if not isinstance(literal, int))
            self.cp.decide_first(lits(open_), value)
        return True

    def ask(
        self, clock: Clock, effort: float, *, held: Constraint = True, in_order: bool = False
    ) -> tuple[cp_sat.CpSolverStatus, cp_sat.CpSolver]:
        """Solve the counts, under a condition that holds of this question alone, and give status and solver.

        Kinds and stacks that are alike are found, and literals are tried three times over: lengths then take a tenth of the time.
        Where preferences may be broken, cuts of linear relaxations cost more than they save, as their bound is next to that of
        the counts: without them, a question takes a third to two thirds of the time.
        ``in_order`` says that the model says what is to be decided first. Ends of stacks are made before the search, so that its
        solution tells of them.
        """
        self.make_ends()
        cp = self.cp
        if held is not True:
            cp = cp.clone()
            cp.add(held)
        cuts = not self._breakable
        return solve_one(cp, clock, effort, symmetry_level=2, presolves=PRESOLVES, in_order=in_order, cuts=cuts)

    def lower_bound(
        self, expression: Expression, clock: Clock, effort: float = EFFORT, *, at_least: int = 0, in_order: bool = False
    ) -> int | None:
        """Bound an expression from below; None where it is proven that nothing meets what is required.

        ``at_least`` is a bound that is known; ``in_order`` says that the model says what is to be decided first.
        """
        self.require(expression >= at_least)
        self.minimize(expression)
        status, solver = self.ask(clock, effort, in_order=in_order)
        return None if status == cp_sat.INFEASIBLE else max(at_least, whole_bound(solver.best_objective_bound))
