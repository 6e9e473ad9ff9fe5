"""Every baseline gives plans that pass the check of what no plan may break, and none is better than the proven best."""

from __future__ import annotations

from importlib import import_module

import pytest

from benchmarks.baselines.milp_highs import Row, _switched
from benchmarks.child import BASELINES
from benchmarks.journal import GOAL_ORDER, Journal
from tests.build import job_of
from tests.strategies import worked_example
from trayopt.checker import check, measure
from trayopt.domain.job import Job
from trayopt.domain.plan import PlanSolver

BEST = (0, 0, 1, 4, 2, 0, 10750, 1)
"""Goals of the best plan of the worked example (spec, section 10)."""
SAID = PlanSolver(version="", seed=0, workers=1, deterministic_time=0.0)


@pytest.fixture
def tiny() -> Job:
    return job_of(worked_example())


def run(name: str, job: Job, limit_s: float) -> Journal:
    journal = Journal(job, limit_s)
    import_module(f"benchmarks.baselines.{name}").solve(journal, seed=1, workers=1)
    return journal


@pytest.mark.parametrize("name", BASELINES)
def test_plans_pass_the_check(name: str, tiny: Job) -> None:
    journal = run(name, tiny, 1.0 if name == "annealing" else 60.0)
    assert journal.best is not None
    plan = measure(tiny, journal.best, status="feasible", stopped="time_limit", bounds={}, solver=SAID)
    found = check(tiny, plan)
    assert not found.figures
    assert not found.at("always")
    assert tuple(goal.value for goal in plan.goals) == journal.vector
    assert journal.vector >= BEST


@pytest.mark.parametrize("name", ["plain_cpsat", "milp_highs"])
def test_plain_models_prove_the_worked_example(name: str, tiny: Job) -> None:
    journal = run(name, tiny, 60.0)
    assert journal.vector == BEST
    assert tuple(journal.bounds[goal] for goal in GOAL_ORDER) == BEST
    assert journal.proven


@pytest.mark.parametrize("when", [[2], [-3], [2, 3], [2, -4], [-3, -4]])
def test_conditional_rows_bind_exactly_while_their_literals_hold(when: list[int]) -> None:
    # 1 <= 2x - 3y <= 2 over x in 0..3, y in 0..1, and two literals in columns 2 and 3; -1 - i negates column i
    domains = [[0, 3], [0, 1], [0, 1], [0, 1]]
    row = Row({0: 2, 1: -3}, 1, 2, when)
    rows = list(_switched(row, domains))
    for point in [(x, y, u, v) for x in range(4) for y in (0, 1) for u in (0, 1) for v in (0, 1)]:
        holds = all(point[i] if i >= 0 else not point[-1 - i] for i in when)
        wanted = not holds or 1 <= 2 * point[0] - 3 * point[1] <= 2
        sums = [sum(number * point[column] for column, number in made.terms.items()) for made in rows]
        assert all(made.low <= total <= made.high for made, total in zip(rows, sums, strict=True)) == wanted
