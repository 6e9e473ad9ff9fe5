"""What keeping something costs, in words; a price that is below nothing shows that the best plan was not found."""

from __future__ import annotations

from collections.abc import Sequence

from trayopt.domain.explanation import GoalCost
from trayopt.domain.said import said
from trayopt.rules.words import listed


def cost_said(costs: Sequence[GoalCost]) -> str:
    """Say what a plan costs against the best one: ``crossings 12 instead of 0``."""
    changed = [cost for cost in costs if cost.kept != cost.value]
    if not changed:
        return said("all goals stay as they are")
    values = listed([_instead(cost) for cost in changed])
    if better(costs):
        return said("{values}, which is better than the plan that was taken for the best", values=values)
    return values


def better(costs: Sequence[GoalCost]) -> GoalCost | None:
    """Return the first goal on which a plan is better than the plan that was taken for the best; None if it is not better."""
    first = next((cost for cost in costs if cost.kept != cost.value), None)
    return first if first is not None and first.kept < first.value else None


def refuted(cost: GoalCost) -> str:
    """Say that the plan that was given as the best is not the best."""
    return said(
        "The plan that was given as the best is not the best: a known plan has {goal} {kept:,} instead of {value:,}, "
        "and is as good on every goal before it.",
        goal=said(cost.goal), kept=cost.kept, value=cost.value,
    )  # fmt: skip


def _instead(cost: GoalCost) -> str:
    return said(
        "{goal} {kept:,} instead of {value:,}" if cost.proven else "{goal} at most {kept:,} instead of {value:,}",
        goal=said(cost.goal), kept=cost.kept, value=cost.value,
    )  # fmt: skip
