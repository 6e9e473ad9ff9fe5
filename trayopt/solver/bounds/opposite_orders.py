"""A bound on crossings: strands that trunks see in different orders; few of them can share a low.

Of a pair that two trunks see in opposite orders one order crosses unless both strands have the same low. A strand has its low at
the position of one of its bearers, so as many strands share a low as have a bearer at one position. The least that crosses in
any order of lows (``fewest_crossings``) is a bound, with so many crossings a pair as its literal stands for.

It holds for the plans of one model. The solver does not see it by itself: without the sum as a row, its bound on crossings of
shuffled joins stays near 0.
"""

from __future__ import annotations

from math import comb
from typing import Any

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


def hold_orders(model: Model) -> None:
    """Bound the crossings of a model in which they are encoded, and hold them to the bound."""
    if model.orders is None:
        return
    seen, strands, weight = model.orders
    disputed = [(i, j) for i, j in seen if i < j and (j, i) in seen]
    most = model.most_at_a_position(strands)
    groups, rest = divmod(len(strands), max(1, most))
    paid = max(0, len(disputed) - groups * comb(most, 2) - comb(rest, 2))
    if paid:
        model.require(total(seen[pair][0] for i, j in disputed for pair in ((i, j), (j, i))) >= paid)
    least = fewest_crossings({pair: times for pair, (_, times) in seen.items()}, most)
    if least > paid:
        model.require(total(times * literal for literal, times in seen.values()) >= least)
    if least:
        model.least["crossings"] = Least(max(paid, least) * weight, NAME)
