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
    if changed[0].kept < changed[0].value:
        return f"{values}, which is better than the best plan that was found in the time given"
    return values


def _instead(cost: GoalCost) -> str:
    most = "" if cost.proven else "at most "
    return f"{cost.goal} {most}{cost.kept:,} instead of {cost.value:,}"
