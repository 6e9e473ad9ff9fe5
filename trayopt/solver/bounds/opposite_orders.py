"""A bound on crossings: pairs of strands that two trunks see in opposite orders, of which few can share a low.

Of such a pair one order crosses unless both strands have the same low. A strand has its low at the position of one of its
bearers, so as many strands share a low as have a bearer at one position, and the pairs that share one are at most those of
groups of so many. All other pairs pay one crossing at least, each of a number of legs.

It holds for the plans of one model. The solver does not see it by itself: without the sum as a row, its bound on crossings of
shuffled joins stays near 0.
"""

from __future__ import annotations

from math import comb
from typing import Any

from trayopt.domain.plan import GoalName
from trayopt.goals.registry import BY_ID as GOALS
from trayopt.solver.model.literals import total
from trayopt.solver.model.model import Least, Model

NAME = "opposite_orders"


def encoded(model: Model, goal: GoalName, *, cut: bool = True) -> Any:
    """Encode a goal, once a model; with ``cut`` crossings are held to what has to cross."""
    if goal not in model.goals:
        model.goals[goal] = GOALS[goal].encode(model.job, model)
        if cut and goal == "crossings":
            hold_opposites(model)
    return model.goals[goal]


def hold_opposites(model: Model) -> None:
    """Bound the crossings of a model in which they are encoded, and hold them to the bound."""
    if model.opposites is None:
        return
    pairs, strands, weight = model.opposites
    most = model.most_at_a_position(strands)
    groups, rest = divmod(len(strands), max(1, most))
    paid = max(0, len(pairs) - groups * comb(most, 2) - comb(rest, 2))
    if paid:
        model.require(total(literal for pair in pairs for literal in pair) >= paid)
        model.least["crossings"] = Least(paid * weight, NAME)
