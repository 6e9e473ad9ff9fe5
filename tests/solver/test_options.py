"""What the options of solving promise: the same plan again, a start that is honoured, limits, progress."""

from __future__ import annotations

import os
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

from tests.build import Json, job_of
from tests.solver.tiny import drawn
from tests.strategies import worked_example
from trayopt.api import load_job, solve
from trayopt.domain.job import Job
from trayopt.errors import InputError
from trayopt.formats.json_out import dump_rows
from trayopt.goals.registry import measure_all
from trayopt.solver.model.bound import Step
from trayopt.solver.model.clock import Clock, OutOfTime
from trayopt.solver.model.incumbent import State
from trayopt.solver.model.literals import OFTEN
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.search.search import Search
from trayopt.track.laid import Laid

ROOT = Path(__file__).parents[2]
STANDARD = ROOT / "models" / "standard"
CODE = (
    "import sys; from trayopt import load_job, solve; from trayopt.formats.json_out import dump_rows; "
    "sys.stdout.write(dump_rows(solve(load_job(sys.argv[1]), reproducible=True, time_limit_s=0.5, explain=False).plan.plain()))"
)


ASKED = """
import hashlib, sys
from trayopt import load_job, solve
from trayopt.solver.model import cp_sat

def said(self, model, callback=None, solve=cp_sat.CpSolver.solve):
    print(hashlib.sha256(str(model.proto).encode()).hexdigest())
    return solve(self, model, callback)

cp_sat.CpSolver.solve = said
solve(load_job(sys.argv[1]), reproducible=True, explain=False)
"""
"""Prints a digest of every model that a search asks."""


def goals(plan_job: Job, **options: object) -> tuple[int, ...]:
    """Solve and give the values of the goals, in the order in which they count."""
    plan = solve(plan_job, **options).plan  # type: ignore[arg-type]
    return tuple(item.value for item in plan.goals)


def told_in_two_processes(code: str, name: str) -> set[bytes]:
    """Give what a program prints of a standard job, in two processes with their own seeds of hashes."""
    return {
        subprocess.run(
            [sys.executable, "-c", code, str(STANDARD / f"{name}.yaml")],
            capture_output=True,
            check=True,
            env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONHASHSEED": seed},
        ).stdout
        for seed in ("1", "2")
    }


@pytest.mark.parametrize("name", ["2x288-wall-2x6", "no-144-swapped-halves-wall-2x6"])
def test_reproducible_is_the_same_plan_byte_for_byte(name: str) -> None:
    """In two processes with their own seeds of hashes; one of the jobs is stopped by the limit."""
    plans = told_in_two_processes(CODE, name)
    assert len(plans) == 1


def test_reproducible_asks_the_same_questions() -> None:
    """Two processes with their own seeds of hashes make the same models, row by row."""
    asked = told_in_two_processes(ASKED, "taps-of-48-wall-2x10")
    assert len(asked) == 1
    assert len(asked.pop().split()) > 20


@pytest.mark.parametrize("seed", range(5))
def test_reproducible_in_one_process(seed: int) -> None:
    job = job_of(drawn(seed))
    first, second = (dump_rows(solve(job, reproducible=True).plan.plain()) for _ in range(2))
    assert first == second


@pytest.mark.parametrize("seed", range(5))
def test_the_search_alone_is_reproducible_in_one_process(seed: int) -> None:
    job = job_of(drawn(seed))
    first, second = (dump_rows(solve(job, reproducible=True, explain=False).plan.plain()) for _ in range(2))
    assert first == second


def test_reproducible_with_a_reason_why_not() -> None:
    data = worked_example()
    data["pins"] = [
        {"leg": "P:1-24", "stack": "left", "position": 1},
        {"leg": "Q:1-24", "stack": "right", "position": 1},
    ]
    first, second = (solve(job_of(data), reproducible=True).plan for _ in range(2))
    assert first.explanation is not None
    assert dump_rows(first.plain()) == dump_rows(second.plain())


def test_a_start_is_not_lost() -> None:
    """With next to no time left, the answer is the plan that was begun with, or better."""
    job = load_job(STANDARD / "2x864-wall-2x6.yaml")
    best = solve(job)
    again = solve(job, start=best.plan, time_limit_s=0.001).plan
    assert [item.value for item in again.goals] == [item.value for item in best.plan.goals]
    assert again.status != "none"
    assert again.legs == best.plan.legs


def test_a_start_that_is_not_best_is_bettered() -> None:
    data = worked_example()
    data["pins"] = [{"trunk": "P", "travel": "counterclockwise"}]
    poor = solve(job_of(data), workers=1).plan
    assert poor.value("broken_prefer") > 1
    data["pins"] = []
    assert goals(job_of(data), start=poor, workers=1) == (0, 0, 1, 4, 2, 0, 10750, 1)


def test_a_start_that_cannot_be_built_does_no_harm() -> None:
    wide = worked_example()
    wide["enclosure"]["stacks"][0]["tray"]["fibres"] = 48
    wide["enclosure"]["stacks"][0]["tray"]["sleeves"] = 4
    full = solve(job_of(wide), workers=1).plan
    assert any(tray.ends == 96 for tray in full.trays)
    assert goals(job_of(worked_example()), start=full, workers=1) == (0, 0, 1, 4, 2, 0, 10750, 1)


def test_a_start_for_another_job_is_an_input_error() -> None:
    plan = solve(load_job(STANDARD / "2x288-wall-2x6.yaml")).plan
    with pytest.raises(InputError, match="N1"):
        solve(job_of(worked_example()), start=plan)


def test_stopped_before_a_first_plan(monkeypatch: pytest.MonkeyPatch) -> None:
    """Only what is built can rule the empty box out; nothing of it is then taken for a broken rule of a plan."""
    monkeypatch.setattr(Search, "solve", lambda search: (State(search.state.order), "time_limit"))
    plan = solve(load_job(STANDARD / "2x576-half-built-wall-2x6.yaml")).plan
    assert (plan.status, plan.stopped) == ("none", "time_limit")
    assert plan.value("unplaced") == 576
    assert plan.legs
    assert all(leg.stack is None for leg in plan.legs)


def test_stopped_at_once_there_is_a_plan_all_the_same() -> None:
    job = load_job(STANDARD / "no-144-swapped-halves-wall-2x6.yaml")
    plan = solve(job, time_limit_s=1e-6).plan
    assert (plan.status, plan.stopped) == ("feasible", "time_limit")


def test_a_gap_is_kept() -> None:
    """With the whole value as the gap, the first plan of each goal will do; what is open is said."""
    job = load_job(STANDARD / "2x432-shuffled-wall-2x6.yaml")
    plan = solve(job, gap=1.0).plan
    assert plan.status in {"optimal", "feasible"}
    assert (plan.stopped == "proven") == (plan.status == "optimal")
    for item in plan.goals:
        assert item.bound is None or item.bound <= item.value


@pytest.mark.parametrize("wrong", [["irregular"], ["legs", "crossings", "crossings"], ["unplaced"], []])
def test_goals_that_cannot_be_ordered_so(wrong: list[str]) -> None:
    with pytest.raises(InputError, match="allowed: legs, trays, crossings, leg_length_mm"):
        solve(job_of(worked_example()), goals=wrong)


def test_progress_is_told_in_the_order_of_the_goals() -> None:
    told: list[str] = []
    times: list[float] = []

    def progress(seconds: float, goal: str, value: int | None, bound: int | None) -> None:
        times.append(seconds)
        assert value is None or bound is None or bound <= value
        told.append(goal)

    plan = solve(load_job(STANDARD / "2x432-shuffled-wall-2x6.yaml"), progress=progress).plan
    order = [item.goal for item in plan.goals]
    seen = [order.index(goal) for goal in told if goal in order]
    assert seen
    assert len(seen) == len(told)
    assert seen == sorted(seen)
    assert times == sorted(times)


def test_built_pins_that_contradict_are_named() -> None:
    data: Json = worked_example()
    data["pins"] = [
        {"leg": "P:1-24", "stack": "left", "position": 1, "built": True},
        {"leg": "Q:1-48", "stack": "left", "position": 2, "built": True},
    ]
    with pytest.raises(InputError, match=r"P:1-24.*Q:1-48|Q:1-48"):
        solve(job_of(data), workers=1)


def test_ctrl_c_while_a_model_is_built_keeps_the_best_plan(monkeypatch: pytest.MonkeyPatch) -> None:
    """Python builds between two runs of the solver; what was found before is kept there too."""
    job = job_of(worked_example())
    known = solve(job).plan

    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(import_module("trayopt.solver.heuristics.session"), "build", interrupted)
    found = solve(job, start=known).plan
    assert (known.status, found.status, found.stopped) == ("optimal", "feasible", "interrupted")
    assert found.legs == known.legs


def test_the_clock_ends_the_making_of_a_model() -> None:
    """Encoding takes seconds for large jobs; the best plan so far stands."""
    job = load_job(STANDARD / "2x1728-wall-3x8.yaml")
    with pytest.raises(OutOfTime):
        build(job, Policy(), all_placed=False, clock=Clock(0.0))
    whole = build(job, Policy(), all_placed=False, clock=Clock(1.0, deterministic=True))
    assert len(whole.cp.proto.variables) > OFTEN, "large enough to look at the clock"
    found = solve(job, time_limit_s=0.001, explain=False).plan
    assert found.stopped == "time_limit"


def test_every_plan_is_told_as_it_is_found() -> None:
    """Plans of a run that goes on are told, each better than all before, and the answer stays what it was."""
    job = load_job(STANDARD / "2x432-shuffled-wall-2x6.yaml")
    told: dict[bool, list[Step]] = {}
    answers = {}
    for every in (False, True):
        steps: list[Step] = []
        plan = solve(job, reproducible=True, watch=steps.append, every_plan=every, explain=False).plan
        told[every] = [step for step in steps if step.plan is not None]
        answers[every] = [goal.value for goal in plan.goals]
    assert answers[True] == answers[False]
    vectors = [tuple((step.values or {}).values()) for step in told[True]]
    assert len(vectors) > len(told[False])
    assert vectors == sorted(vectors, reverse=True)
    for step, vector in zip(told[True], vectors, strict=True):
        assert step.plan is not None
        assert tuple(measure_all(Laid(job, step.plan)).values()) == vector
