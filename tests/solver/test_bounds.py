"""Bounds with authors: a wrong one is caught by the first plan that refutes it, or stands under its name in the plan."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Iterator
from functools import cache, partial
from importlib import import_module
from typing import Any, get_args

import pytest

from benchmarks.boxes import SINGLE_12, cabinet, loose_tubes
from benchmarks.cases import shuffle
from tests import strategies
from tests.build import job_of
from tests.strategies import worked_example
from trayopt import load_job
from trayopt.api import prove, solve
from trayopt.checker import check
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName, Plan
from trayopt.errors import SolverFault
from trayopt.formats.locate import frozen
from trayopt.solver.bounds.registry import RELAXATIONS
from trayopt.solver.heuristics import primal
from trayopt.solver.model.bound import ANY, AUTHORS, COMPLETE, SEARCH, ZERO, Bound, Given, Step
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.incumbent import State
from trayopt.solver.search.search import Search

ORDER: tuple[GoalName, ...] = get_args(GoalName)


def randoms(first: int, number: int, **knobs: Any) -> Iterator[Job]:
    """Give random tiny jobs."""
    return (job_of(strategies.random_job(random.Random(seed), **knobs)) for seed in range(first, first + number))


def shuffles() -> Iterator[Job]:
    """Give trunks of whole legs that are joined in random order: something has to cross."""
    for seed in range(1, 8):
        yield load_job(shuffle(loose_tubes(4), 4, 12, seed, cabinet(2, 2, SINGLE_12), "tray"))


def regular() -> Iterator[Job]:
    """Give the same in boxes that they fill: stacks cannot always be used in turn."""
    for seed in range(1, 12):
        yield load_job(shuffle(loose_tubes(6), 6, 12, seed, cabinet(2, 3, SINGLE_12), "tray"))


JOBS: dict[str, Callable[[], Iterator[Job]]] = {
    "any": lambda: randoms(400, 40),
    "opposite_orders": shuffles,
    "round_counts": lambda: randoms(400, 40),
    "strand_places": regular,
    "settled_segments": lambda: randoms(77000, 25, shape="shuffled", at_port=0.7, stacks=2),
}
"""Jobs to which a relaxation applies, where random ones of any kind do not do."""


@cache
def jobs_of(kind: str) -> list[Job]:
    """Give the jobs of a kind, the same ones each time."""
    return list(JOBS[kind]())


@cache
def rightly(
    kind: str, number: int, without: tuple[str, ...], at_a_glance: bool
) -> tuple[Plan, frozenset[tuple[str, GoalName]]]:
    """Solve a job with right bounds: the plan, and who bounded which goal; once for all authors."""
    record, seen = State.record, set[tuple[str, GoalName]]()

    def noted(state: State, goal: GoalName, value: int, by: str, given: Given = ANY) -> int:
        seen.add((by, goal))
        return record(state, goal, value, by, given)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(State, "record", noted)
        if not at_a_glance:
            patch.setattr(import_module("trayopt.solver.search.lexicographic"), "MOST_AT_A_GLANCE", 0)
        if kind == "round_counts":
            patch.setattr(primal, "MANY", 0)
        plan = solve(jobs_of(kind)[number], explain=False, workers=1, without=without).plan
    return plan, frozenset(seen)


def test_every_relaxation_has_words_and_every_author_is_one() -> None:
    assert {relaxation.name for relaxation in RELAXATIONS} | {SEARCH, ZERO} == set(AUTHORS)


OF_PLACES: tuple[GoalName, ...] = ("trays", "leg_length_mm", "irregular")
"""Goals that ask at which places legs lie: each relaxation that counts these bounds them one by one."""
WRONG: list[tuple[str, tuple[GoalName, ...]]] = [
    *((author, ORDER) for author in (*(relaxation.name for relaxation in RELAXATIONS), SEARCH)),
    *((relaxation.name, (goal,)) for relaxation in RELAXATIONS for goal in OF_PLACES if goal in relaxation.goals),
]
"""Authors, and the goals in which they count wrongly."""
ANSWERS_FIRST = ("tray_room", "least_legs", "pattern_counts", "set_partition", "place_counts", "trunks_outside")
"""What answers tiny jobs before settled blocks are asked."""


def _named(given: str | tuple[GoalName, ...]) -> str:
    return given if isinstance(given, str) else "all goals" if given == ORDER else given[0]


@pytest.mark.parametrize(("author", "goals"), WRONG, ids=_named)
def test_a_bound_that_is_one_too_high_is_caught(
    author: str, goals: tuple[GoalName, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A plan that is better names the author; where the bound itself kept such plans away, ``check --prove`` refutes it.

    The author that the plan names may be another one, whose question took the wrong bound for granted: the plain model is
    asked without any of them.
    """
    record = State.record
    without: tuple[str, ...] = ()
    at_a_glance = author not in {"settled_segments", "place_counts"}
    if not at_a_glance:  # tiny jobs are proven at a glance, and never come to these
        monkeypatch.setattr(import_module("trayopt.solver.search.lexicographic"), "MOST_AT_A_GLANCE", 0)
        without = ANSWERS_FIRST if author == "settled_segments" else ("tray_room", "trunks_outside")
    if author in {"pattern_counts", "round_counts"} and "trays" in goals:
        without = ("tray_room",)
    if author == "placed_patterns" and "trays" in goals:  # what is left of a job without trunks needs no such bound
        without = ("tray_room", "trunks_outside")
    if author == "round_counts":  # tiny jobs do not come to it otherwise
        monkeypatch.setattr(primal, "MANY", 0)

    def higher(state: State, goal: GoalName, value: int, by: str, given: Given = ANY) -> int:
        return record(state, goal, value + (by == author and goal in goals), by, given)

    result: Counter[str] = Counter()
    kind = author if author in JOBS else "any"
    for number, job in enumerate(jobs_of(kind)):
        right, seen = rightly(kind, number, without, at_a_glance)
        if not any((author, goal) in seen for goal in goals):
            continue
        try:
            with monkeypatch.context() as patch:
                patch.setattr(State, "record", higher)
                plan = solve(job, explain=False, workers=1, without=without).plan
        except SolverFault as fault:
            result["caught" if f"{author} has counted wrongly" in str(fault) else str(fault)] += 1
        else:
            claimed = [
                item
                for item, true in zip(plan.goals, right.goals, strict=True)
                if item.bound is not None and item.bound > true.value
            ]
            if claimed:
                proofs = prove(job, plan, time_limit_s=60, workers=1)
                assert proofs.refuted, f"{claimed[0].goal} by {claimed[0].by} is not refuted"
            result["refuted by the plain model" if claimed else "no harm"] += 1
        if result["caught"] > 1 or result["refuted by the plain model"] > 2:
            break
    assert set(result) <= {"caught", "no harm", "refuted by the plain model"}, "no other fault comes of it"
    assert result["caught"] + result["refuted by the plain model"] > 0, result


def test_a_better_plan_is_a_fault_of_the_bound_that_holds_of_it() -> None:
    """Also the other way round, where the plan came first; a bound of other plans is none of its business."""
    job = job_of(worked_example())
    plan = solve(job, workers=1)
    best = Search(job, ORDER, Clock()).solve()[0]
    assert best.best is not None
    legs = best.value("legs")
    for bound_first in (True, False):
        state = State(ORDER)
        steps: list[Callable[[], object]] = [
            partial(state.record, "legs", legs + 1, "division", COMPLETE),
            partial(state.offer, job, best.best),
        ]
        first, then = steps if bound_first else reversed(steps)
        first()
        with pytest.raises(SolverFault, match=rf"division .* legs is at least {legs + 1} in complete plans"):
            then()
    state = State(ORDER)
    state.offer(job, best.best)
    weight = best.value("broken_prefer")
    assert weight
    state.record("legs", legs + 1, "division", COMPLETE.tightened({"broken_prefer": weight - 1}))
    assert state.least("legs") == 0, "it holds of plans that break less"
    assert [item.by for item in plan.plan.goals][:2] == [ZERO, ZERO]


def test_a_bound_counts_where_its_goals_come_before() -> None:
    """What is given of a goal that comes later says nothing of plans that are as good in the goals before."""
    job = job_of(worked_example())
    found = Search(job, ORDER, Clock()).solve()[0]
    assert found.best is not None
    other: tuple[GoalName, ...] = (*ORDER[:3], "leg_length_mm", "trays", "crossings", "legs", "irregular")
    for order, least in ((ORDER, 5), (other, 3)):
        state = State(order)
        state.offer(job, found.best)
        state.record("leg_length_mm", 3, "pattern_counts")
        state.record("leg_length_mm", 5, "place_counts", Given({"legs": found.value("legs")}))
        assert state.least("leg_length_mm") == least


def test_the_trail_keeps_what_is_news() -> None:
    """A bound that says no more than one before leaves no trace; steps are told as they come."""
    told: list[Step] = []
    state = State(ORDER, lambda: float(len(told)), told.append)
    state.record("legs", 4, "division")
    state.record("legs", 4, "segments", COMPLETE)
    state.record("legs", 0, "segments")
    state.record("legs", 6, "segments", COMPLETE)
    assert told == state.trail
    assert [(step.seconds, step.bound) for step in told] == [
        (0.0, Bound("legs", 4, "division")),
        (1.0, Bound("legs", 6, "segments", COMPLETE)),
    ]


def test_who_proved_a_goal_is_a_claim_of_the_plan() -> None:
    """Check takes a plan with and without it; without a bound there is nobody who proved it."""
    job = job_of(worked_example())
    plan = solve(job, workers=1).plan
    assert all(item.by for item in plan.goals)
    plain = plan.plain()
    for goal in plain["goals"]:
        del goal["by"]
    without = type(plan).model_validate(frozen(plain))
    assert check(job, plan).passed
    assert check(job, without).passed
    assert "by" not in without.plain()["goals"][0]
    unbound = plan.goals[3].model_copy(update={"bound": None, "by": "division"})
    report = check(job, plan.model_copy(update={"goals": (*plan.goals[:3], unbound, *plan.goals[4:])}))
    assert any(str(figure.path).endswith("by") for figure in report.figures)


def test_bounds_do_not_change_with_the_order_of_goals() -> None:
    """Leg length before legs: a counted length takes no number of legs for granted that a shorter plan may exceed."""
    goals: tuple[GoalName, ...] = ("leg_length_mm", "crossings", "legs")
    for job in randoms(400, 25):
        plan = solve(job, explain=False, workers=1, goals=goals).plan
        assert plan.status == "optimal"
        usual = solve(job, explain=False, workers=1).plan
        first = [plan.value(goal) for goal in ORDER[:3]]
        assert first == [usual.value(goal) for goal in ORDER[:3]]
        assert plan.value("leg_length_mm") <= usual.value("leg_length_mm")
