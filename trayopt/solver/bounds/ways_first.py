"""Ways first: choices of ways by which plans may come to a leg length, those that allow the shortest legs first.

What a leg takes depends on the way of its trunk and on its place, so a model of both multiplies them, and its linear relaxation
sends each trunk part of every way, to each place the nearest. With the ways settled, length is a plain sum over places. And few
choices of ways matter: along a way the legs of a trunk are no shorter than at the nearest places that hold so many. Choices of
ways that the outline allows are listed by the sum of these lengths; once it is above what is wanted, no other choice matters.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from ortools.sat.python import cp_model

from trayopt.domain.assignment import Way
from trayopt.domain.trunk import Trunk
from trayopt.rules.exposed import Exposed
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.solver.bounds.outline import EFFORT, PART, Outline
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.interruptible import solve_one
from trayopt.solver.model.literals import lit
from trayopt.solver.model.model import Model

MOST_CHOICES = 8
"""Of more choices of ways than this each is not asked by itself."""


class Choice(NamedTuple):
    """A way for each trunk that has several, and how long all legs are at least."""

    least: int
    ways: Mapping[str, Way]


def settle_ways(model: Model, ways: Mapping[str, Way]) -> cp_model.CpModel:
    """Copy a model and hold the copy to ways; its variables keep their numbers."""
    literals = [lit(model.goes(model.job.trunk_by_id[trunk], way)) for trunk, way in ways.items()]
    trial = model.cp.clone()
    for literal in literals:
        trial.add(trial.get_bool_var_from_proto_index(literal.index) == 1)
    return trial


def ways_within(model: Model, weight: int, most: int, clock: Clock) -> list[Choice] | None:
    """List each choice of ways by which plans of a complete model may have legs of no more than ``most``, the shortest first.

    The plans break preferences of at most this weight. None where there are too many choices, or where it took too long.
    """
    divisions = {(s.trunk, s.number): of for s in model.job.subunits if (of := model.divisions(s))}
    divide_at = {trunk.id: model.divide_options(trunk) for trunk in model.job.trunks}
    outline = Outline(model.job, divisions, clock=clock, divide_at=divide_at)
    broken = outline.broken("prefer")
    if not isinstance(broken, int):
        outline.require(broken <= weight)
    inside = [trunk for trunk in model.job.trunks if outline.in_box(trunk) and outline.ways(trunk)]
    lengths = {trunk: shortest_legs(model, trunk) for trunk in inside}
    goes = {
        (trunk, way): lit(outline.goes(trunk, way))
        for trunk in inside
        if len(lengths[trunk]) > 1
        for way in lengths[trunk]
    }
    fixed = sum(length for by_way in lengths.values() if len(by_way) == 1 for length in by_way.values())
    length = fixed + sum(lengths[trunk][way] * literal for (trunk, way), literal in goes.items())
    if isinstance(length, int):
        return None
    outline.require(length <= most)
    outline.minimize(length)
    found: list[Choice] = []
    while len(found) <= MOST_CHOICES:
        status, solver = solve_one(outline.cp, clock, EFFORT, part=PART)
        if status == cp_model.INFEASIBLE:
            return found
        if status != cp_model.OPTIMAL:
            return None
        chosen = [key for key, literal in goes.items() if solver.boolean_value(literal)]
        found.append(Choice(solver.value(length), {trunk.id: way for trunk, way in chosen}))
        outline.clause(*(outline.no(goes[key]) for key in chosen))
    return None


def shortest_legs(model: Model, trunk: Trunk) -> dict[Way, int]:
    """Give by way how long the placed legs of a trunk are together at least: at the nearest places that hold so many."""
    job = model.job
    fixed = Exposed().parameters(job)
    legs = sum(
        min((len(job.spliced_legs(subunit, of)) for of in model.divisions(subunit)), default=0)
        for subunit in trunk.subunits
    )
    found = {}
    for way in model.ways(trunk):
        cuts = sorted(
            (
                min(
                    fixed.cut_mm(trunk.transition_mm, model.routes.route_mm(way, place, end.id), way.loops)
                    for end in job.enclosure.stack_by_id[place.stack].ends
                ),
                model.most_legs_of(trunk, place) if model.keeps(TrayFibres.id) else legs,
            )
            for place in model.places
        )
        left, length = legs, 0
        for cut, room in cuts:
            here = min(left, room)
            length += here * cut
            left -= here
        found[way] = length
    return found
