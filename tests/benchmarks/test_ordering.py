"""The published optima that the benchmark of orders compares with are least, and jobs have the crossings that it says."""

from __future__ import annotations

from itertools import permutations

import pytest

from benchmarks.ordering import INSTANCES, drawn, shift, solve

SMALL = [name for name, instance in INSTANCES.items() if instance.free <= 6]


@pytest.mark.parametrize("name", SMALL)
def test_the_published_number_is_the_least(name: str) -> None:
    instance = INSTANCES[name]
    assert min(drawn(instance, order) for order in permutations(range(1, instance.free + 1))) == instance.optimum


def test_one_is_reached_and_proven() -> None:
    instance = INSTANCES["grid_9_shuffled"]
    plan, order = solve(instance)
    goal = next(goal for goal in plan.goals if goal.goal == "crossings")
    assert drawn(instance, order) == instance.optimum
    assert goal.value == goal.bound == 2 * instance.optimum + shift(instance)
