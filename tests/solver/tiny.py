"""Tiny jobs in two voices: solved by the package, enumerated by the oracle; and how the two are compared."""

from __future__ import annotations

import random
from functools import cache
from typing import Any

from tests import oracle, strategies
from tests.build import Json, job_of
from trayopt.api import Result, solve
from trayopt.domain.assignment import Assignment


def drawn(seed: int, **knobs: Any) -> Json:
    """Draw a tiny job; equal seeds and knobs give equal jobs."""
    return strategies.random_job(random.Random(seed), **knobs)


@cache
def best_plan(seed: int, **knobs: Any) -> tuple[Json, oracle.Best]:
    """Draw a tiny job, which nobody changes, and enumerate its best plan, once for all tests that ask for it."""
    data = drawn(seed, **knobs)
    best = oracle.solve(data)
    assert best is not None
    return data, best


def agree(data: Json, order: tuple[str, ...] = oracle.GOAL_ORDER, **options: Any) -> Result:
    """Solve a job both ways: goals are equal and proven, and the oracle judges the plan as the package does."""
    facts = oracle.Facts(data)
    best = oracle.solve(facts, order)
    assert best is not None
    result = solve(job_of(data), goals=order, **options)
    plan = result.plan
    assert tuple(plan.value(goal) for goal in oracle.GOALS) == best.goals
    assert (plan.status, plan.stopped) == ("optimal", "proven")
    assert [item.bound for item in plan.goals] == [item.value for item in plan.goals]
    assert [item.goal for item in plan.goals] == [*oracle.GOALS[:3], *oracle.complete_order(order), oracle.GOALS[-1]]
    judged = oracle.judge(facts, oracle.decision_of_plan(plan.plain()))
    assert judged.feasible
    assert judged.goals == best.goals
    assert result.complete == (best.goals[0] == best.goals[1] == 0)
    return result


def key_of(assignment: Assignment) -> tuple[Any, ...]:
    """Give the decisions in the form of the oracle, for decisions of any k: (ways, k, places, ends, where divided, ribbons)."""
    placed = sorted(((leg.trunk, leg.subunit, leg.group), tuple(place)) for leg, place in assignment.places.items())
    divided = sorted({(leg.trunk, leg.subunit, leg.of) for leg in assignment.places})
    used = {place.stack for place in assignment.places.values()}
    return (
        tuple(sorted((trunk, tuple(way)) for trunk, way in assignment.ways.items())),
        tuple(divided),
        tuple(placed),
        tuple(sorted((stack, end) for stack, end in assignment.ends.items() if stack in used)),
        tuple(sorted((trunk, assignment.divide_at[trunk]) for trunk in {t for t, _, of in divided if of > 1})),
        tuple(sorted((trunk, str(word)) for trunk, word in assignment.ribbons.items())),
    )


def key_of_decision(decision: oracle.Decision) -> tuple[Any, ...]:
    """Give a decision of the oracle in the same form."""
    ways, _, placed, ends, divide_at, ribbons = decision.key
    divided = {(leg[0], leg[1], decision.k[leg[0]][leg[1] - 1]) for leg, _ in placed}
    return ways, tuple(sorted(divided)), placed, ends, divide_at, ribbons
