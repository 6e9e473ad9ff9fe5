"""What the model counts of a goal in a plan is what brute force counts in it, whether the rest of the model is open or not."""

from __future__ import annotations

import itertools
import random
from collections import Counter
from typing import Any

import pytest

from tests import oracle
from tests.build import Json, job_of
from tests.checker.test_against_oracle import assignment_of
from tests.solver.tiny import drawn
from tests.test_oracle import opened_job
from trayopt.domain.assignment import Assignment
from trayopt.domain.plan import GoalName
from trayopt.goals.base import Goal
from trayopt.goals.registry import GOALS
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.run import Tuning, run

MOST = 3000
"""Decisions of a job above which it is left out as not tiny."""
KINDS: dict[str, dict[str, Any]] = {
    "any": {"ends": 2},
    "divided at the port": {"at_port": 0.9, "stacks": 2, "shape": "shuffled"},
    "shuffled at the tray": {"at_port": 0.0, "shape": "shuffled"},
    "parts of ribbons": {"shape": "partial", "tight": 0.3},
    "subunits apart": {"at_port": 1.0, "shape": "shuffled", "stacks": 1, "positions": 3},
}
APART = {"subunit_together": "off", "same_division": "off"}
"""Rules without which the legs of a subunit lie anywhere."""
TOGETHER = {"subunit_together": "must", "same_division": "off", "breakout": "off"}


def held(model: Model, plan: Assignment) -> None:
    """Leave a plan alone in a model, with all that it says of goals."""
    for subunit in model.job.subunits:
        for of in model.divisions(subunit):
            for leg in model.legs(subunit, of):
                place = plan.places.get(leg)
                model.clause(model.at(leg, place) if place else model.no(model.placed(leg)))
    for trunk, way in plan.ways.items():
        model.clause(model.goes(model.job.trunk_by_id[trunk], way))
    for trunk, at in plan.divide_at.items():
        model.clause(model.divided_at(model.job.trunk_by_id[trunk], at))
    for stack, end in plan.ends.items():
        model.clause(model.end(stack, end))


def counted(model: Model, goal: Goal) -> int | None:
    """Give the least that a model makes of a goal; None where it has no plan."""
    expression = goal.encode(model.job, model)
    if not isinstance(expression, int):
        model.minimize(expression)
    outcome = run(model, Clock(), Tuning(workers=1))
    model.cp.clear_objective()
    assert outcome.proven
    return outcome.value if not isinstance(expression, int) else None if outcome.infeasible else expression


def plans(data: Json, rng: random.Random) -> list[oracle.Decision]:
    """Draw two of the plans of a job; none where there are too many."""
    every = list(itertools.islice(oracle.all_feasible(data), MOST + 1))
    return rng.sample(every, min(2, len(every))) if len(every) <= MOST else []


@pytest.mark.parametrize("kind", [*KINDS, "opened", "kept together"])
def test_a_plan_counts_in_the_model_as_in_brute_force(kind: str) -> None:
    """In models of whole plans too, which say some goals in another way; divisions and ways stay open in both.

    Where subunits have to be kept together, so that their legs are one strand, plans that break no must are compared.
    """
    together = kind == "kept together"
    policy = Policy("hard", "soft") if together else Policy()
    compared, above_0 = Counter[bool](), set[GoalName]()
    for seed in range(700, 900):
        data = opened_job(seed) if kind == "opened" else drawn(seed, **KINDS.get(kind, KINDS["subunits apart"]))
        data["rules"] |= TOGETHER if together else APART if seed % 3 == 0 else {}
        for decision in plans(data, random.Random(seed)):
            goals = oracle.judge(data, decision).goals
            if together and goals[1]:
                continue
            for all_placed in (False, True)[: 1 + (not goals[0])]:
                model = build(job_of(data), policy, all_placed=all_placed)
                held(model, assignment_of(decision))
                assert tuple(counted(model, goal) for goal in GOALS) == goals, f"seed {seed}, {all_placed=}"
                compared[all_placed] += 1
            above_0 |= {goal.id for goal, value in zip(GOALS, goals, strict=True) if value}
        if min(compared[True], compared[False]) >= 4:
            break
    assert min(compared[True], compared[False]) >= 4
    assert len(above_0) >= 6
