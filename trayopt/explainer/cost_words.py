"""What keeping something costs, in words; a price that is below nothing shows that the best plan was not found."""

from __future__ import annotations

from collections.abc import Sequence

from trayopt.domain.explanation import GoalCost
from trayopt.rules.words import listed


def cost_said(costs: Sequence[GoalCost]) -> str:
    """Say what a plan costs against the best one: ``crossings 12 instead of 0``."""
    changed = [cost for cost in costs if cost.kept != cost.value]
    if not changed:
        return "all goals stay as they are"
    values = listed([_instead(cost) for cost in changed])
    if better(costs):
        return f"{values}, which is better than the plan that was taken for the best"
    return values


def better(costs: Sequence[GoalCost]) -> GoalCost | None:
    """Give the goal on which a plan is better than the one that was taken for the best; None where it is not better."""
    first = next((cost for cost in costs if cost.kept != cost.value), None)
    return first if first is not None and first.kept < first.value else None


def refuted(cost: GoalCost) -> str:
    """Say that the plan that was given as the best is not the best."""
    return (
        f"The plan that was given as the best is not the best: a plan in hand has {cost.goal} {cost.kept:,} instead of "
        f"{cost.value:,}, and is as good on every goal before it."
    )


def _instead(cost: GoalCost) -> str:
    most = "" if cost.proven else "at most "
    return f"{cost.goal} {most}{cost.kept:,} instead of {cost.value:,}"
