"""Ways first: choices of ways by which plans may come to a leg length, those that allow the shortest legs first.

What a leg takes depends on the way of its trunk and on its place, so a model of both multiplies them, and its linear relaxation
sends each trunk part of every way, to each place the nearest. With the ways settled, length is a plain sum over places. And few
choices of ways matter: the others are too long even where each bunch lies at the nearest places (``nearest_places``). Choices
that the outline allows are listed by what the legs of each trunk take at least by themselves; once that is above what is wanted,
no other choice matters.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import NamedTuple

from trayopt.domain.assignment import Way
from trayopt.rules.variables import Expression
from trayopt.solver.bounds.nearest_places import NearestPlaces
from trayopt.solver.bounds.outline import Outline
from trayopt.solver.bounds.preference_bounds import EFFORT
from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.interruptible import solve_one
from trayopt.solver.model.literals import lit
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import Policy

MOST_CHOICES = 8
"""Most choices of ways that are asked one by one."""
MOST_LISTED = 32
"""Most choices of ways that are listed."""


class Choice(NamedTuple):
    """A way for each trunk that has several, and how long all legs are at least."""

    least: int
    ways: Mapping[str, Way]


def settle_ways(model: Model, ways: Mapping[str, Way]) -> cp_sat.CpModel:
    """Copy a model and hold the copy to ways; its variables keep their numbers."""
    literals = [lit(model.goes(model.job.trunk_by_id[trunk], way)) for trunk, way in ways.items()]
    trial = model.cp.clone()
    for literal in literals:
        trial.add(trial.get_bool_var_from_proto_index(literal.index) == 1)
    return trial


class WaysFirst:
    """Choices of ways of the plans of a complete model, listed as far as they are asked for.

    The divisions of the model are settled; the plans break preferences of at most ``weight``. What is required of the model
    later leaves the list true. Choices come in the order of what the legs of each trunk take at least by themselves.
    """

    def __init__(self, model: Model, weight: int, clock: Clock) -> None:
        self.model, self.weight, self.clock = model, weight, clock
        self._places = NearestPlaces(model)
        self._listed: list[Choice] = []
        self._reached = -1
        """The least length of the legs of the last choice: every choice with a smaller least length is listed."""
        self._all = False
        """Whether there are no more choices."""
        self._given_up = False
        """Whether the next choice took too long."""

    @property
    def listed(self) -> bool:
        """Whether some choices were listed, which is done only where it was worth it."""
        return bool(self._listed)

    def within(self, most: int) -> list[Choice] | None:
        """List each choice by which legs may be no longer than ``most``, the shortest first.

        None where there are too many choices, or where it took too long.
        """
        while not self._all and self._reached <= most:
            near = sum(choice.least <= most for choice in self._listed)
            if self._given_up or near > MOST_CHOICES or len(self._listed) >= MOST_LISTED:
                return None
            self._list_next()
        found = sorted((choice for choice in self._listed if choice.least <= most), key=lambda choice: choice.least)
        return None if len(found) > MOST_CHOICES else found

    def _list_next(self) -> None:
        """List one more choice, find that there is none, or give up: it took too long, or all ways are settled."""
        if isinstance(self._length, int):
            self._given_up = True
            return
        self._outline.minimize(self._length)
        status, solver = solve_one(self._outline.cp, self.clock, EFFORT)
        self._all = status == cp_sat.INFEASIBLE
        self._given_up = status not in {cp_sat.INFEASIBLE, cp_sat.OPTIMAL}
        if status != cp_sat.OPTIMAL:
            return
        chosen = {trunk: way for (trunk, way), literal in self._goes.items() if solver.boolean_value(literal)}
        self._outline.clause(*(self._outline.no(self._goes[key]) for key in chosen.items()))
        cuts = self._places.cuts
        least = self._places.length({trunk: cuts[trunk][chosen.get(trunk, next(iter(cuts[trunk])))] for trunk in cuts})
        self._listed.append(Choice(least, chosen))
        self._reached = solver.value(self._length)

    @cached_property
    def _goes(self) -> dict[tuple[str, Way], cp_sat.IntVar]:
        """Literals of the outline for the ways of trunks that have several."""
        return {
            (trunk, way): lit(self._outline.goes(self.model.job.trunk_by_id[trunk], way))
            for trunk, ways in self._places.cuts.items()
            if len(ways) > 1
            for way in ways
        }

    @cached_property
    def _length(self) -> Expression:
        """What the legs of all trunks take at least, those of each trunk by themselves."""
        return sum(
            self._places.length({trunk: cuts}) * self._goes.get((trunk, way), 1)
            for trunk, ways in self._places.cuts.items()
            for way, cuts in ways.items()
        )

    @cached_property
    def _outline(self) -> Outline:
        """The outline of the plans, which is asked for the shortest choice that is not listed yet."""
        model = self.model
        divisions = {(s.trunk, s.number): of for s in model.job.subunits if (of := model.divisions(s))}
        divide_at = {trunk.id: model.divide_options(trunk) for trunk in model.job.trunks}
        policy = Policy("hard", "soft", kept=frozenset(model.kept))
        outline = Outline(model.job, divisions, policy, self.clock, divide_at)
        outline.require(outline.broken("prefer") <= self.weight)
        return outline
