"""One-sided crossing minimisation: published optima, reached and proven on jobs that have the same crossings.

Source: tiny test set of the PACE 2024 challenge, in the package pace2024-verifier 0.3.8; the larger instances run in
``python -m benchmarks.ordering``, against the package's own counters too.
"""

from __future__ import annotations

from itertools import permutations

import pytest

from benchmarks.ordering import INSTANCES, drawn, shift, solve

SMALL = [name for name, instance in INSTANCES.items() if instance.free <= 6]
QUICK = ("cycle_8_shuffled", "grid_9_shuffled", "ladder_4_4_shuffled", "matching_4_4", "path_9_shuffled", "plane_5_6")


@pytest.mark.parametrize("name", SMALL)
def test_the_published_number_is_the_least(name: str) -> None:
    instance = INSTANCES[name]
    assert min(drawn(instance, order) for order in permutations(range(1, instance.free + 1))) == instance.optimum


@pytest.mark.parametrize("name", QUICK)
def test_it_is_reached_and_proven(name: str) -> None:
    instance = INSTANCES[name]
    plan, order = solve(instance)
    goal = next(goal for goal in plan.goals if goal.goal == "crossings")
    assert drawn(instance, order) == instance.optimum
    assert goal.value == goal.bound == 2 * instance.optimum + shift(instance)
