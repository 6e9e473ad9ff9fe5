"""Trunks that go through: what the solver proves is what enumeration finds."""

from __future__ import annotations

import pytest

from tests.build import job_of
from tests.library.test_through import gone
from tests.solver.tiny import agree, drawn
from trayopt.api import solve


def drawn_through(seed: int) -> dict[str, object]:
    """Draw a tiny job in which a trunk goes through."""
    return drawn(seed, through=1.0, trunks=2, ribbons=2, stacks=[1, 2][seed % 2], positions=2)


@pytest.mark.parametrize("seed", range(8))
def test_the_best_plan_is_that_of_the_oracle(seed: int) -> None:
    agree(drawn_through(seed), workers=1, reproducible=True)


@pytest.mark.slow
@pytest.mark.slow
@pytest.mark.parametrize("first", range(8, 88, 8))
def test_the_best_plans_of_many_jobs_are_those_of_the_oracle(first: int) -> None:
    for seed in range(first, first + 8):
        agree(drawn_through(seed), workers=1, reproducible=True)


@pytest.mark.parametrize(("slack_mm", "unplaced"), [(4200, 0), (4149, 24)])
def test_the_slack_decides_to_the_millimetre(slack_mm: int, unplaced: int) -> None:
    """A window of 4,200 mm (tests/cases/sheath_window.yaml); with less there is no other way, as travels are given."""
    plan = solve(job_of(gone(slack_mm=slack_mm, travel="clockwise", loops=[1])), reproducible=True, explain=False).plan
    assert plan.status == "optimal"
    assert plan.value("unplaced") == unplaced
