"""Changes that take the best plan of a job and ask for what it has: goals stay; each docstring says why."""

from __future__ import annotations

from collections.abc import Callable

from tests.build import Json
from tests.laws.law import Goals, goals_of
from trayopt.domain.plan import Plan

AsPlanned = Callable[[Json, Plan], tuple[Json, Goals] | None]
"""Gives the changed job and the goals of its best plan, from a job that is its own to change and that job's best plan."""


def pins_of(plan: Plan, *, built: bool) -> list[Json]:
    """Pin all that a plan decides: every trunk in the box and every leg in a tray."""
    trunks = [
        {
            "trunk": row.trunk,
            "port": row.port,
            "travel": row.travel,
            "loops": row.loops,
            "divide_at": row.divide_at,
            "ribbons": row.ribbons,
        }
        for row in plan.trunks
        if row.port is not None
    ]
    legs = [
        {"leg": f"{row.trunk}:{row.fibres}", "stack": row.stack, "position": row.position}
        for row in plan.legs
        if row.stack is not None
    ]
    return [pin | {"built": built} for pin in [*trunks, *legs]]


def built_as_planned(job: Json, plan: Plan) -> tuple[Json, Goals]:
    """Build what is planned: the best plan is left alone with those that place more, and there are none.

    Pins of the job that it broke are not there any more.
    """
    goals = goals_of(plan)
    for item in plan.broken:
        if item.rule == "pin" and item.level in {"must", "prefer"}:
            weight = job["rules"]["pin"]["weight"]
            goal, cost = ("broken_must", 1) if item.level == "must" else ("broken_prefer", weight)
            goals[goal] -= cost
    job["pins"] = pins_of(plan, built=True)
    return job, goals


def pinned_as_planned(job: Json, plan: Plan) -> tuple[Json, Goals] | None:
    """Pin what is planned, where that breaks no pin of the job: it keeps its own pins, others break at least those they broke."""
    if any(item.rule == "pin" for item in plan.broken):
        return None
    job["pins"] = pins_of(plan, built=False)
    return job, goals_of(plan)


def kept_preferences_at_must(job: Json, plan: Plan) -> tuple[Json, Goals]:
    """Ask for each preference that the best plan keeps as a must.

    The best plan costs what it did. Another that breaks it paid for that in broken_prefer and now pays in broken_must, which
    is a goal before, or is no plan any more.
    """
    broken = {item.rule for item in plan.broken}
    for rule, setting in job["rules"].items():
        if setting["level"] == "prefer" and rule not in broken:
            setting["level"] = "must"
    return job, goals_of(plan)


FROM_PLAN: list[AsPlanned] = [built_as_planned, pinned_as_planned, kept_preferences_at_must]
"""Changes that ask for what the best plan has."""
