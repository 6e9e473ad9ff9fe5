"""Counts by stack and by place against brute force: what they exclude, no plan does, parked legs and both divisions counted."""

from __future__ import annotations

import random
from typing import Any

import pytest
from ortools.sat.python import cp_model

from tests import oracle, strategies
from tests.build import job_of
from tests.test_oracle import opened_job
from trayopt.domain.job import Job
from trayopt.solver.bounds.place_counts import PlaceCounts
from trayopt.solver.bounds.stack_counts import StackCounts
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question
from trayopt.solver.model.interruptible import solve_one

Json = dict[str, Any]
EFFORT = 5.0


def drawn(seed: int) -> Json:
    """Draw a tiny job; every other one with opened tubes and parked legs."""
    if seed % 2:
        return opened_job(seed)
    return strategies.random_job(random.Random(f"counts {seed}"), trunks=2, ribbons=2, positions=2)


def questions(job: Job, goals: oracle.Goals) -> list[Question]:
    """Give what the best plan of a job keeps: the physical rules, and musts and preferences where it breaks none."""
    asked = [Question(job, kinds=("physical",))]
    if not goals[1]:
        asked.append(Question(job))
        if not goals[2]:
            asked.append(Question(job, levels=("must", "prefer")))
    return asked


@pytest.mark.parametrize("kind", [StackCounts, PlaceCounts])
@pytest.mark.parametrize("seed", range(30))
def test_no_count_excludes_the_best_plan(seed: int, kind: type[StackCounts]) -> None:
    data = drawn(seed)
    best = oracle.solve(data)
    assert best is not None
    for question in questions(job_of(data), best.goals):
        counts = kind(question, all_placed=False)
        counts.hold_all()
        counts.minimize(counts.unplaced())
        status, solver = solve_one(counts.cp, Clock(), EFFORT)
        assert status == cp_model.OPTIMAL
        assert solver.objective_value <= best.goals[0]
        if best.goals[0] == 0:
            whole = kind(question)
            whole.hold_all()
            assert solve_one(whole.cp, Clock(), EFFORT)[0] == cp_model.OPTIMAL


def test_the_bound_on_what_stays_out_is_met_as_a_rule() -> None:
    met = 0
    for seed in range(30):
        data = drawn(seed)
        best = oracle.solve(data)
        assert best is not None
        counts = StackCounts(Question(job_of(data), kinds=("physical",)), all_placed=False)
        counts.hold_all()
        counts.minimize(counts.unplaced())
        met += solve_one(counts.cp, Clock(), EFFORT)[1].objective_value == best.goals[0]
    assert met >= 24
