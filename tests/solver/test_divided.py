"""Divisions that closed patterns choose: a plan of them needs no blocks, and no other divisions are looked at."""

from __future__ import annotations

import pytest

from tests.solver.test_standard import standard
from trayopt.goals.registry import order
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.partition_bounds import FirstGoals
from trayopt.solver.model.clock import Clock
from trayopt.solver.search.search import Search

GOALS = tuple(goal.id for goal in order(None))


@pytest.mark.parametrize(
    ("name", "legs"),
    [("2x432-mixed-against-144", 15), ("864-half-joined-wall-2x6", 12)],
)
def test_a_plan_of_the_patterns_divisions_needs_no_blocks(name: str, legs: int) -> None:
    job = standard(name)
    settled = Divider(job).settle()
    assert settled is not None
    assert settled.legs < legs, "the division model alone knows the legs"
    search = Search(job, GOALS, Clock(None))
    state, stopped = search.solve()
    assert stopped == "proven"
    assert state.value("legs") == legs
    assert "segments" not in search.used


def test_answers_are_kept() -> None:
    """What was proven is not asked again, and a bound that is known is never fallen short of."""
    job, clock = standard("2x432-mixed-against-144"), Clock(None)
    divider = Divider(job)
    goals = FirstGoals(divider, divider.open, clock)
    weight = goals.weight(0)
    assert weight == 3
    legs = goals.legs(weight)
    spent = clock.effort
    assert goals.legs(weight) == legs
    assert goals.weight(weight + 2) == weight + 2
    assert clock.effort == spent
    assert goals.legs(weight - 1).bound is None
    assert legs.divisions is not None
    assert goals.narrowed(weight, 15, divider.open, legs.divisions) == goals.narrowed(weight, 15, divider.open)
