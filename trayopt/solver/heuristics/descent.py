"""Lexicographic optimisation on a model: each goal is minimised, and then held to the value found."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from trayopt.domain.plan import GoalName
from trayopt.rules.variables import Expression, Linear
from trayopt.solver.model.model import Model
from trayopt.solver.model.run import Outcome


def lexicographic(
    model: Model,
    goals: Sequence[GoalName],
    minimise: Callable[[GoalName, Linear], Outcome],
    value: Callable[[GoalName], int],
    *,
    least: Callable[[GoalName], int | None] = lambda _: None,
    encode: Callable[[Model, GoalName], Expression],
) -> Iterator[tuple[GoalName, Outcome]]:
    """Minimise goal after goal, and yield the outcome of each; the model is held to its value when the next is asked for.

    Parameters
    ----------
    model, goals
        The model, and the goals in the order in which they count.
    minimise
        Solves the model, which has the expression as its objective.
    value
        Value of the best plan that is known, to which the model is held.
    least
        A bound on a goal that is known: below it nothing is looked for, and where the best plan of the model meets it, nothing
        at all; None where there is no plan or no bound.
    encode
        Gives the expression of a goal.
    """
    for goal in goals:
        expression = encode(model, goal)
        if isinstance(expression, int):
            yield goal, Outcome(None, expression, expression, proven=True)
            continue
        bound = least(goal)
        if bound is not None and value(goal) == bound:
            yield goal, Outcome(None, bound, bound, proven=True)
        else:
            if bound:
                model.require(expression >= bound)
            model.minimize(expression)
            outcome = minimise(goal, expression)
            model.cp.clear_objective()
            yield goal, outcome
        model.require(expression <= value(goal))
