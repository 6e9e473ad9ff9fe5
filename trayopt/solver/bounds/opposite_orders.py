"""A bound on crossings: strands that trunks see in different orders; few of them can share a low.

Of a pair that two trunks see in opposite orders one order crosses unless both strands have the same low. A strand has its low at
the position of one of its bearers, so as many strands share a low as have a bearer at one position. The least that crosses in
any order of lows (``fewest_crossings``) is a bound, with so many crossings a pair as its literal stands for.

It holds for the plans of one model. The solver does not see it by itself: without the sum as a row, its bound on crossings of
shuffled joins stays near 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import comb
from typing import Any

from trayopt.domain.cablework import Leg
from trayopt.domain.plan import GoalName
from trayopt.goals.registry import BY_ID as GOALS
from trayopt.solver.bounds.fewest_crossings import fewest_crossings
from trayopt.solver.model.literals import total
from trayopt.solver.model.model import Least, Model

NAME = "opposite_orders"


def encoded(model: Model, goal: GoalName, *, cut: bool = True) -> Any:
    """Encode a goal, once a model; with ``cut`` crossings are held to what has to cross."""
    if goal not in model.goals:
        model.goals[goal] = GOALS[goal].encode(model.job, model)
        if cut and goal == "crossings":
            hold_orders(model)
    return model.goals[goal]


def settle_orders(model: Model, crossings: int) -> None:
    """Leave out of a model with so many crossings at most the orders that would cost more.

    Strands that all trunks see in one order cross for nothing if they turn off in the other. What they cost then comes on top of
    what pairs in opposite orders cost at least; and with one low they take the room of a pair that would pay less there.
    """
    if model.orders is None:
        return
    seen, strands, weight = model.orders
    disputed = sum((j, i) in seen for i, j in seen if i < j)
    spare = crossings // max(1, weight) - disputed + _saved(model, strands)
    agreed = {(i, j): found for (i, j), found in seen.items() if (j, i) not in seen}
    for literal, times in agreed.values():
        if times > min(spare, crossings // max(1, weight)):
            model.require(literal <= 0)
    if spare >= 1:
        return
    after: dict[int, set[int]] = {}
    for i, j in agreed:
        after.setdefault(i, set()).add(j)
    for i, later in after.items():
        for j in later.difference(*(after.get(k, ()) for k in later)):
            if len(strands[i]) == len(strands[j]) == 1:
                _outward(model, strands[i][0], strands[j][0])


def _outward(model: Model, one: Leg, other: Leg) -> None:
    """Let one leg turn off nearer to the base than another one."""
    for position in range(1, model.places[-1].position + 1):
        nearer = model.position_up_to(one, position - 1) if position > 1 else 0
        model.clause(model.no(model.position_up_to(other, position)), nearer)


def _saved(model: Model, strands: Sequence[Sequence[Leg]]) -> int:
    """Count the pairs of strands that can share a low at most."""
    most = model.most_at_a_position(strands)
    groups, rest = divmod(len(strands), max(1, most))
    return groups * comb(most, 2) + comb(rest, 2)


def hold_orders(model: Model) -> None:
    """Bound the crossings of a model in which they are encoded, and hold them to the bound."""
    if model.orders is None:
        return
    seen, strands, weight = model.orders
    disputed = [(i, j) for i, j in seen if i < j and (j, i) in seen]
    paid = max(0, len(disputed) - _saved(model, strands))
    if paid:
        model.require(total(seen[pair][0] for i, j in disputed for pair in ((i, j), (j, i))) >= paid)
    least = fewest_crossings({pair: times for pair, (_, times) in seen.items()}, model.most_at_a_position(strands))
    if least > paid:
        model.require(total(times * literal for literal, times in seen.values()) >= least)
    if least:
        model.least["crossings"] = Least(max(paid, least) * weight, NAME)
