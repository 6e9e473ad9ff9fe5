"""Every baseline gives plans that pass the check of what no plan may break, and none is better than the proven best."""

from __future__ import annotations

import random
from importlib import import_module
from typing import Any

import pytest

from benchmarks.baselines.milp_highs import FREE, Row, _reduced, _switched
from benchmarks.child import BASELINES
from benchmarks.journal import GOAL_ORDER, Journal
from tests.build import job_of
from tests.strategies import random_job, worked_example
from trayopt.api import solve
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


KINDS: dict[str, tuple[range, dict[str, Any]]] = {
    "open": (range(300, 308), {"shape": "shuffled", "pins": 0.0}),
    "parked": (range(308, 318), {"shape": "partial", "at_port": 0.0}),
    "at the port": (range(300, 308), {"shape": "shuffled", "at_port": 1.0, "stacks": 2}),
}
"""Seeds and kinds of tiny jobs: divided anywhere, with fibres that are parked, with legs that make their own way."""


@pytest.mark.parametrize("kind", KINDS)
def test_baselines_and_the_solver_speak_of_the_same_goals(kind: str) -> None:
    """Both plain models prove what the solver proves, and no plan of habit or of local search is better."""
    whole = 0
    seeds, knobs = KINDS[kind]
    for seed in seeds:
        job = job_of(random_job(random.Random(seed), **knobs))
        best = solve(job, explain=False, workers=1).plan
        vector = tuple(goal.value for goal in best.goals)
        assert best.status == "optimal"
        for name in ("plain_cpsat", "milp_highs"):
            journal = run(name, job, 60.0)
            assert journal.proven, f"seed {seed}: {name}"
            assert journal.vector == vector, f"seed {seed}: {name}"
        for name in ("habit", "annealing"):
            journal = run(name, job, 0.3)
            assert not journal.vector or journal.vector >= vector, f"seed {seed}: {name}"
        whole += vector[:2] == (0, 0)
    assert whole > 2


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


@pytest.mark.parametrize(("low", "high"), [(-FREE, 7), (5, FREE), (1, 11), (4, 4), (5, 5)])
def test_reduced_rows_hold_of_the_same_points(low: int, high: int) -> None:
    row = Row({0: 4, 1: -6}, low, high, [2])
    made = _reduced(row)
    assert (made.terms, made.when) == ({0: 2, 1: -3}, [2])
    for x, y in [(x, y) for x in range(6) for y in range(6)]:
        assert (low <= 4 * x - 6 * y <= high) == (made.low <= 2 * x - 3 * y <= made.high)
