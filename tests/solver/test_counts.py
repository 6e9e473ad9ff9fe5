"""Counts by stack and by place against brute force: what they exclude, no plan does, parked legs and both divisions counted."""

from __future__ import annotations

import random
from typing import Any

import pytest

from tests import oracle, strategies
from tests.build import job_of
from tests.test_oracle import opened_job
from trayopt.domain.cablework import Leg
from trayopt.domain.job import Job
from trayopt.domain.ranges import Run
from trayopt.solver.bounds.place_counts import PlaceCounts
from trayopt.solver.bounds.stack_counts import StackCounts
from trayopt.solver.bounds.unplaced import out_by_stack_counts
from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question
from trayopt.solver.model.interruptible import solve_one
from trayopt.solver.model.lots import lots_of
from trayopt.solver.solve import Options, solve

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
        assert status == cp_sat.OPTIMAL
        assert solver.objective_value <= best.goals[0]
        if best.goals[0] == 0:
            whole = kind(question)
            whole.hold_all()
            assert solve_one(whole.cp, Clock(), EFFORT)[0] == cp_sat.OPTIMAL


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
    assert met == 30


def test_a_best_plan_places_a_lot_whole_or_not_at_all() -> None:
    left_out = 0
    for seed in range(30):
        data = drawn(seed)
        job, best = job_of(data), oracle.solve(data)
        assert best is not None
        placed = [
            job.subunit_of_leg[trunk, number].leg(group, best.decision.k[trunk][number - 1])
            for (trunk, number, group), place in best.decision.legs.items()
            if place
        ]
        for lot in lots_of(job):
            sides = [side for piece in lot.pieces for side in (piece.a, piece.b)]
            inside = {any(_holds(job, leg, side) for leg in placed) for side in sides}
            assert len(inside) == 1, f"seed {seed}"
            left_out += inside == {False}
    assert left_out


def _holds(job: Job, leg: Leg, side: Run) -> bool:
    first, last = job.subunit(leg).leg_run(leg)
    return leg.trunk == side.trunk and first <= side.first <= last


def test_a_job_of_which_nothing_can_be_placed_is_proven_by_the_plan_without_a_leg() -> None:
    """The pin of a leg that stays out is broken by it, and no other plan keeps that pin."""
    proven = 0
    for seed in range(40):
        data = strategies.random_job(random.Random(f"nothing {seed}"), trunks=3, ports=1, tight=1.0, pins=0.9)
        job = job_of(data)
        if out_by_stack_counts(job, Clock()) < job.splices:
            continue
        best = oracle.solve(data)
        assert best is not None
        assert best.goals[0] == job.splices
        solution = solve(job, Options(workers=1, without=frozenset({"without_musts", "without_splices"})))
        assert solution.status == "optimal"
        assert tuple(solution.bounds[goal] for goal in solution.order) == tuple(best.goals)
        proven += best.goals[1] > 0
    assert proven
