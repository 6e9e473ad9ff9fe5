"""Bounds in a plan file. They are claims: a better plan refutes a claim, a proof confirms it, and until then it is open."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from trayopt.domain.plan import Plan

Standing = Literal["claimed", "proven", "refuted"]
NOT_AGAIN = "claimed, not proven again"


@dataclass(frozen=True)
class Bound:
    """A bound that a plan states for a goal, and what is known of it.

    ``better`` is the value of the plan that refutes it; None unless ``standing`` is "refuted".
    """

    goal: str
    value: int
    bound: int
    standing: Standing = "claimed"
    better: int | None = None


def claimed_bounds(plan: Plan, values: Mapping[str, int]) -> tuple[Bound, ...]:
    """Return the bounds that a plan states, in the order of its goals.

    Parameters
    ----------
    plan
        The plan document.
    values
        The measured value of each goal. A bound above it is a wrong figure, not a claim.
    """
    return tuple(
        Bound(item.goal, values[item.goal], item.bound)
        for item in plan.goals
        if item.bound is not None and item.bound <= values[item.goal]
    )


def judge_bounds(
    claims: Sequence[Bound],
    values: Mapping[str, int],
    other: Mapping[str, int],
    proven: Mapping[str, int | None] | None = None,
) -> tuple[Bound, ...]:
    """Compare claimed bounds with another plan of the job.

    Parameters
    ----------
    claims
        What the plan claims.
    values
        The plan's own values, in the order of its goals.
    other
        The values of the other plan.
    proven
        The bounds that were proven with the other plan, in the same order of the goals.

    Notes
    -----
    A bound holds for plans that are equal on every goal before it. So the first goal on which two plans differ decides:
    a value below the bound refutes it, and says nothing about later goals.
    """
    by_goal = {claim.goal: claim for claim in claims}
    for goal, value in values.items():
        claim = by_goal.get(goal)
        if claim is not None:
            least = (proven or {}).get(goal)
            if other[goal] < claim.bound:
                by_goal[goal] = Bound(goal, value, claim.bound, "refuted", other[goal])
            elif least is not None and least >= claim.bound:
                by_goal[goal] = Bound(goal, value, claim.bound, "proven")
        if other[goal] != value:
            break
    return tuple(by_goal.values())


def settled_bounds(
    claims: Sequence[Bound], proven: Mapping[str, int], refuted: Mapping[str, int] | None = None
) -> tuple[Bound, ...]:
    """Return claimed bounds after a proof, by the lower bounds that it proved and the better values that it found."""
    found = []
    for claim in claims:
        better = (refuted or {}).get(claim.goal)
        if better is not None:
            found.append(replace(claim, standing="refuted", better=better))
        elif proven.get(claim.goal, claim.bound - 1) >= claim.bound:
            found.append(replace(claim, standing="proven"))
        else:
            found.append(claim)
    return tuple(found)


def bounds_words(claims: Sequence[Bound]) -> str:
    """Say in one sentence what is known about the bounds that a plan states; empty if it states none."""
    refuted = [claim.goal for claim in claims if claim.standing == "refuted"]
    proven = [claim.goal for claim in claims if claim.standing == "proven"]
    if not claims:
        return ""
    if refuted:
        return f"The plan's bound of {refuted[0]} is refuted: a better plan exists."
    if len(proven) == len(claims):
        return "The plan's bounds were proven again."
    if proven:
        rest = [claim.goal for claim in claims if claim.standing == "claimed"]
        return f"The plan's bounds of {', '.join(rest)} are {NOT_AGAIN}."
    return f"The plan's bounds are {NOT_AGAIN}."
