"""Ways first: choices of ways by which plans may come to a leg length, those that allow the shortest legs first.

What a leg takes depends on the way of its trunk and on its place, so a model of both multiplies them, and its linear relaxation
sends each trunk part of every way, to each place the nearest. With the ways settled, length is a plain sum over places. And few
choices of ways matter: the others are too long even where each bunch lies at the nearest places (``nearest_places``). Choices
that the outline allows are listed by what the legs of each trunk take at least by themselves; once that is above what is wanted,
no other choice matters.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from trayopt.domain.assignment import Way
from trayopt.solver.bounds.nearest_places import NearestPlaces
from trayopt.solver.bounds.outline import EFFORT, PART, Outline
from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.interruptible import solve_one
from trayopt.solver.model.literals import lit
from trayopt.solver.model.model import Model

MOST_CHOICES = 8
"""Of more choices of ways than this each is not asked by itself."""
MOST_LISTED = 32
"""More choices of ways than this are not looked at."""


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
    """Choices of ways by which plans of a complete model may be short: listed once, for the greatest length that is asked.

    The divisions of the model are settled; the plans break preferences of at most ``weight``. What is required of the model
    later leaves the list true.
    """

    def __init__(self, model: Model, weight: int, clock: Clock) -> None:
        self.model, self.weight, self.clock = model, weight, clock
        self._places = NearestPlaces(model)
        self._found: dict[int, list[Choice] | None] = {}

    @property
    def listed(self) -> bool:
        """Whether the choices were listed for some length."""
        return any(found is not None for found in self._found.values())

    def within(self, most: int) -> list[Choice] | None:
        """List each choice by which legs may be no longer than ``most``, the shortest first.

        None where there are too many choices, or where it took too long.
        """
        if most not in self._found:
            wider = [found for asked, found in self._found.items() if asked > most and found is not None]
            self._found[most] = [item for item in wider[0] if item.least <= most] if wider else self._list(most)
        return self._found[most]

    def _list(self, most: int) -> list[Choice] | None:
        places = self._places
        ways = {trunk: tuple(by_way) for trunk, by_way in places.cuts.items()}
        outline = _outline(self.model, self.weight, self.clock)
        goes = {
            (trunk, way): lit(outline.goes(self.model.job.trunk_by_id[trunk], way))
            for trunk, open_ in ways.items()
            if len(open_) > 1
            for way in open_
        }
        alone = {
            trunk: {way: places.length({trunk: places.cuts[trunk][way]}) for way in open_}
            for trunk, open_ in ways.items()
        }
        fixed = sum(alone[trunk][open_[0]] for trunk, open_ in ways.items() if len(open_) == 1)
        length = fixed + sum(alone[trunk][way] * literal for (trunk, way), literal in goes.items())
        if isinstance(length, int):
            return None
        outline.require(length <= most)
        outline.minimize(length)
        found: list[Choice] = []
        for _ in range(MOST_LISTED):
            status, solver = solve_one(outline.cp, self.clock, EFFORT, part=PART)
            if status == cp_sat.INFEASIBLE:
                return sorted(found, key=lambda choice: choice.least)
            if status != cp_sat.OPTIMAL:
                return None
            chosen = {trunk: way for (trunk, way), literal in goes.items() if solver.boolean_value(literal)}
            cuts = {trunk: places.cuts[trunk][chosen.get(trunk, open_[0])] for trunk, open_ in ways.items()}
            least = places.length(cuts)
            if least <= most:
                found.append(Choice(least, chosen))
            if len(found) > MOST_CHOICES:
                return None
            outline.clause(*(outline.no(goes[key]) for key in chosen.items()))
        return None


def _outline(model: Model, weight: int, clock: Clock) -> Outline:
    """Make the outline of the plans of a model that break preferences of at most this weight."""
    divisions = {(s.trunk, s.number): of for s in model.job.subunits if (of := model.divisions(s))}
    divide_at = {trunk.id: model.divide_options(trunk) for trunk in model.job.trunks}
    outline = Outline(model.job, divisions, clock=clock, divide_at=divide_at)
    outline.require(outline.broken("prefer") <= weight)
    return outline
