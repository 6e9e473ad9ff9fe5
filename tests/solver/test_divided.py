"""Divisions that closed patterns choose: a plan of them needs no blocks, and no other divisions are looked at."""

from __future__ import annotations

import pytest

from tests.solver.test_relaxations import eights_against_twelves
from tests.solver.test_standard import standard
from trayopt.goals.registry import order
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.partition_bounds import FirstGoals
from trayopt.solver.model.clock import Clock
from trayopt.solver.search import complete, divided
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


def test_a_first_plan_has_divisions_that_closed_patterns_choose(monkeypatch: pytest.MonkeyPatch) -> None:
    """Five legs are fewest by the division model, but no tray holds the group of them all; patterns are asked without a limit."""
    for module in (complete, divided):
        monkeypatch.setattr(module, "SOON", 0.0)
    job = eights_against_twelves(3)
    settled = Divider(job).settle()
    assert settled is not None
    assert settled.legs == 5
    search = Search(job, GOALS, Clock(None), without={"least_legs"}, enough=lambda state: state.best is not None)
    state, _ = search.solve()
    assert state.whole
    assert "legs_of_one_size" not in search.used


def test_patterns_tell_before_blocks_that_no_plan_is_complete(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (complete, divided):
        monkeypatch.setattr(module, "SOON", 0.0)
    search = Search(eights_against_twelves(2), GOALS, Clock(None))
    state, stopped = search.solve()
    assert stopped == "proven"
    assert state.value("unplaced") == 24
    assert "second_bounds" not in search.used
