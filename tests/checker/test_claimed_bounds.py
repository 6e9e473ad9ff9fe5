"""Claimed bounds: a true bound is refuted by no plan, a bound that is too high by some plan; held to enumeration."""

from __future__ import annotations

import itertools
import random
from typing import Any

import pytest

from tests import oracle, strategies
from tests.build import SOLVER, assignment_of, job_of, plan_of
from tests.rules.test_cases import LEGS, WAYS
from trayopt.checker import Bound, bounds_words, check, judge_bounds, measure
from trayopt.checker.bounds import claimed_bounds, settled_bounds
from trayopt.goals.registry import GOALS, measure_all
from trayopt.track.laid import Laid

NAMES: list[str] = [goal.id for goal in GOALS]
MOST = 3_000


def goals_of_all(seed: int) -> set[tuple[int, ...]]:
    """Give the goals of every plan of a tiny job; none where it has too many plans."""
    data: dict[str, Any] = strategies.random_job(
        random.Random(seed), trunks=2, ribbons=2, stacks=2, positions=2, ends=1, ports=2, rules=0.1, pins=0.0
    )
    every = list(itertools.islice(oracle.all_feasible(data), MOST + 1))
    return set() if len(every) > MOST else {tuple(oracle.judge(data, decision).goals) for decision in every}


def least(every: set[tuple[int, ...]], plan: tuple[int, ...], i: int) -> int:
    """Give the least value of a goal among plans that are equal on every goal before it."""
    return min(other[i] for other in every if other[:i] == plan[:i])


@pytest.mark.parametrize("seed", range(12))
def test_true_bounds_stand_and_false_bounds_fall(seed: int) -> None:
    rng = random.Random(seed)
    every = next(found for i in itertools.count() if len(found := goals_of_all(700 * seed + i)) > 3)
    for plan in rng.sample(sorted(every), min(6, len(every))):
        values = dict(zip(NAMES, plan, strict=True))
        true = [Bound(name, plan[i], least(every, plan, i)) for i, name in enumerate(NAMES)]
        for other in every:
            told = judge_bounds(true, values, dict(zip(NAMES, other, strict=True)))
            assert not [claim for claim in told if claim.standing == "refuted"]
        forged = [Bound(name, value, value) for name, value in values.items()]
        best = min(every)
        told = judge_bounds(forged, values, dict(zip(NAMES, best, strict=True)))
        refuted = [claim for claim in told if claim.standing == "refuted"]
        if best == plan:
            assert not refuted
        else:
            first = next(i for i, (a, b) in enumerate(zip(plan, best, strict=True)) if a != b)
            assert [(claim.goal, claim.bound, claim.better) for claim in refuted] == [
                (NAMES[first], plan[first], best[first])
            ]


def test_a_proof_confirms_what_it_reaches_and_no_more() -> None:
    values = dict.fromkeys(NAMES, 5)
    claims = [Bound(name, 5, 5) for name in NAMES]
    proven = dict.fromkeys(NAMES, 5) | {"crossings": 4, "leg_length_mm": None}
    told = {claim.goal: claim.standing for claim in judge_bounds(claims, values, values, proven)}
    assert {name for name, standing in told.items() if standing == "claimed"} == {"crossings", "leg_length_mm"}
    worse = values | {"legs": 9}
    told = {claim.goal: claim.standing for claim in judge_bounds(claims, values, worse, proven)}
    assert {name for name, standing in told.items() if standing == "proven"} == {
        "unplaced",
        "broken_must",
        "broken_prefer",
        "legs",
    }


def test_what_is_known_of_bounds_is_said() -> None:
    assert bounds_words([]) == ""
    assert bounds_words([Bound("legs", 5, 4)]) == "The plan's bounds are claimed, not proven again."
    assert "refuted" in bounds_words([Bound("unplaced", 0, 0, "proven"), Bound("legs", 5, 5, "refuted", 4)])
    assert bounds_words([Bound("legs", 5, 5, "proven")]) == "The plan's bounds were proven again."
    assert "bounds of crossings are claimed" in bounds_words([Bound("legs", 5, 5, "proven"), Bound("crossings", 3, 3)])


def test_a_bound_is_proven_refuted_or_still_claimed() -> None:
    """Proven up to the bound itself, short of it, not asked at all; a better plan refutes it whatever was proven."""
    claims = [Bound("legs", 5, 4), Bound("trays", 3, 3), Bound("crossings", 2, 2), Bound("irregular", 4, 2)]
    found = settled_bounds(claims, {"legs": 4, "trays": 2, "crossings": 2}, {"crossings": 1})
    assert [(bound.standing, bound.better) for bound in found] == [
        ("proven", None), ("claimed", None), ("refuted", 1), ("claimed", None),
    ]  # fmt: skip
    assert [(bound.goal, bound.value, bound.bound) for bound in found] == [
        (claim.goal, claim.value, claim.bound) for claim in claims
    ]
    assert settled_bounds(claims, {}) == tuple(claims)


def test_a_plan_that_says_optimal_tells_each_goal_whose_bound_falls_short() -> None:
    """Bounds up to the value are claims; one above it is wrong, and one below it makes no optimum."""
    job = job_of(strategies.worked_example())
    laid = assignment_of(job, WAYS, LEGS, {"left": "top"}, {"P": "tray", "Q": "tray"})
    values = measure_all(Laid(job, laid))
    plan = measure(job, laid, status="optimal", stopped="proven", bounds=values, solver=SOLVER)
    named = {str(goal): value for goal, value in values.items()}
    claims = [(claim.goal, claim.bound) for claim in claimed_bounds(plan, named)]
    assert claims == list(values.items())
    assert not check(job, plan).figures
    for goal, bound in (("legs", 3), ("trays", 9)):
        changed = plan.plain()
        next(item for item in changed["goals"] if item["goal"] == goal)["bound"] = bound
        forged = plan_of(changed)
        assert f"goals[{goal}].bound" in [item.path for item in check(job, forged).figures]
        assert (goal in [claim.goal for claim in claimed_bounds(forged, named)]) is (bound == 3)
