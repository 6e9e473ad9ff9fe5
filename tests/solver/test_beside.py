"""Questions beside each other: what is asked too soon changes no answer, and ends when it is of no use."""

from __future__ import annotations

import random
from collections import Counter
from importlib import import_module
from threading import active_count
from typing import Any
from weakref import WeakSet

import pytest

from tests import oracle, strategies
from tests.build import job_of
from trayopt.goals.registry import order
from trayopt.solver.heuristics import primal
from trayopt.solver.heuristics.completion import RelaxedModel
from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.interruptible import Asked, new_solver
from trayopt.solver.model.run import Outcome, Tuning
from trayopt.solver.search import incomplete
from trayopt.solver.search.lexicographic import Descent
from trayopt.solver.search.search import Search

GOALS = tuple(goal.id for goal in order(None))
LEFT_OUT = frozenset({"least_legs", "pattern_counts", "set_partition", "place_counts"})
"""What answers tiny jobs before blocks are asked."""


def pigeons(number: int) -> cp_sat.CpModel:
    """Give a model that a search without presolve does not settle soon: one pigeon more than there are holes."""
    cp = cp_sat.CpModel()
    inside = [[cp.new_bool_var(f"{p} in {h}") for h in range(number)] for p in range(number + 1)]
    for row in inside:
        cp.add_bool_or(row)
    for hole in zip(*inside, strict=True):
        for i, one in enumerate(hole):
            for other in hole[i + 1 :]:
                cp.add_bool_or([one.negated(), other.negated()])
    return cp


def slow_solver() -> cp_sat.CpSolver:
    """Make a solver that only searches."""
    solver = new_solver()
    solver.parameters.cp_model_presolve = False
    solver.parameters.linearization_level = 0
    solver.parameters.symmetry_level = 0
    return solver


def test_a_question_of_no_use_is_ended() -> None:
    """Dropped at once, when its search may not have begun yet, it leaves no thread behind; its effort is on the clock."""
    threads, clock = active_count(), Clock()
    asked = Asked(slow_solver(), pigeons(14))
    asked.drop(clock)
    assert asked.ended(clock, 0.0)
    assert active_count() == threads
    assert clock.effort > 0


def test_ctrl_c_ends_every_question() -> None:
    """A clock that was interrupted in one wait ends the next wait as well."""
    clock = Clock(interrupted=True)
    assert Asked(slow_solver(), pigeons(14)).wait(clock) == cp_sat.UNKNOWN


@pytest.mark.parametrize(
    ("number", "kinds"), [(1, []), (2, ["no_lp", "max_lp"]), (4, ["no_lp", "max_lp", "core"]), (8, [])]
)
def test_with_a_plan_in_hand_each_core_closes_in_on_the_bound(
    number: int, kinds: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """With three workers: no kinds are chosen for one worker, nor where every kind of search has a core of its own."""
    run = import_module("trayopt.solver.model.run")
    asked: list[list[str]] = []

    def solved(solver: Any, *_: Any) -> Any:
        asked.append(list(solver.parameters.subsolvers))
        return cp_sat.UNKNOWN

    monkeypatch.setattr(run, "cores", lambda: number)
    monkeypatch.setattr(run, "solve_interruptible", solved)
    cp = cp_sat.CpModel()
    tuning = Tuning(workers=1 if number == 1 else 3, prove=True)
    assert run.run(None, Clock(), tuning, trial=cp) == Outcome(None, None, None, proven=False)
    run.run(None, Clock(), Tuning(workers=3), trial=cp)
    assert asked == [kinds, []]


@pytest.mark.parametrize(
    ("first", "knobs"),
    [(76030, {"at_port": 0.0, "tight": 0.7}), (77000, {"at_port": 0.7, "stacks": 2}), (78000, {"at_port": 1.0})],
)
def test_what_is_asked_too_soon_changes_no_answer(
    first: int, knobs: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every goal put to blocks, the next one beside it at once, legs beside preferences: solve meets brute force."""
    seen = Counter[str]()
    monkeypatch.setattr(import_module("trayopt.solver.search.lexicographic"), "MOST_AT_A_GLANCE", 0)
    monkeypatch.setattr(import_module("trayopt.solver.heuristics.completion"), "QUIET_S", -1.0)
    ended, looked = Asked.ended, WeakSet[Asked]()

    def not_at_once(asked: Asked, clock: Clock, seconds: float = 0.2) -> bool:
        """Tiny jobs are answered at once: take each search for one that still runs when it is first looked at."""
        over = ended(asked, clock, seconds)
        if asked in looked:
            return over
        looked.add(asked)
        return False

    monkeypatch.setattr(Asked, "ended", not_at_once)

    def count(owner: Any, name: str) -> None:
        method = getattr(owner, name)

        def counted(*args: Any, **named: Any) -> Any:
            seen[name] += 1
            return method(*args, **named)

        monkeypatch.setattr(owner, name, counted)

    expected = [(Descent, "_ask_ahead"), (RelaxedModel, "like"), (primal, "even_layouts"), (incomplete, "hope")]
    for owner, name in expected:
        count(owner, name)
    threads = active_count()
    for seed in range(first, first + 25):
        plain = strategies.random_job(random.Random(seed), shape="shuffled", **knobs)
        best = oracle.solve(plain)
        assert best is not None
        search = Search(job_of(plain), GOALS, Clock(60.0), tuning=Tuning(workers=2), without=LEFT_OUT)
        state, stopped = search.solve()
        assert stopped == "proven", f"seed {seed}"
        assert state.vector == best.goals, f"seed {seed}"
        assert not search.descent._ahead
        assert not search.session.asked
    assert active_count() == threads
    assert all(seen[name] for _, name in expected)
