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
from trayopt.domain.assignment import Assignment
from trayopt.goals.registry import order
from trayopt.solver.heuristics import primal
from trayopt.solver.heuristics.completion import RelaxedModel
from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.interruptible import Asked, new_solver
from trayopt.solver.model.run import PROVERS, Outcome, Tuning
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


FEW, ALL = PROVERS[:2], PROVERS


@pytest.mark.parametrize(
    ("number", "workers", "effort", "kinds"),
    [
        (1, 1, None, [()]),
        (2, 2, None, [PROVERS[:1]]),
        (2, 3, None, [FEW]),
        (2, 8, None, [FEW, ALL]),
        (2, 8, 1.0, [FEW]),
        (4, 8, None, [PROVERS[:4], ALL]),
        (8, 8, None, [()]),
    ],
)
def test_with_a_plan_in_hand_more_kinds_try_what_few_did_not_prove(
    number: int, workers: int, effort: float | None, kinds: list[tuple[str, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """No kinds are chosen for one worker, nor where every kind has a core of its own; one worker is left for plans."""
    run = import_module("trayopt.solver.model.run")
    asked: list[tuple[str, ...]] = []

    def solved(solver: Any, *_: Any) -> Any:
        p = solver.parameters
        asked.append(tuple(p.subsolvers))
        assert p.num_workers == (len(p.subsolvers) + 1 if p.subsolvers else workers) <= workers
        return cp_sat.UNKNOWN

    monkeypatch.setattr(run, "cores", lambda: number)
    monkeypatch.setattr(run, "solve_interruptible", solved)
    cp = cp_sat.CpModel()
    tuning = Tuning(workers=workers, prove=True, effort=effort)
    assert run.run(None, Clock(), tuning, trial=cp) == Outcome(None, None, None, proven=False)
    run.run(None, Clock(), Tuning(workers=workers), trial=cp)
    assert asked == [*kinds, ()]


def test_what_few_kinds_found_stands_beside_what_more_find() -> None:
    """The better plan and the better bound of both runs are kept, and what one of them proves."""
    plan, better = Assignment(), Assignment(ends={"left": "a"})
    nothing = Outcome(None, None, None, proven=False)
    assert nothing.after(Outcome(plan, 9, 4, proven=False)) == Outcome(plan, 9, 4, proven=False)
    assert Outcome(better, 7, 3, proven=False).after(Outcome(plan, 9, 7, proven=False)) == Outcome(
        better, 7, 7, proven=True
    )
    assert Outcome(plan, 9, 5, proven=False).after(Outcome(better, 7, 3, proven=False)) == Outcome(
        better, 7, 5, proven=False
    )
    impossible = Outcome(None, None, None, proven=True)
    assert impossible.after(nothing).infeasible
    assert Outcome(plan, 9, 8, proven=False).within(0.2)
    assert not Outcome(plan, 9, 4, proven=False).within(0.2)
    assert not nothing.within(0.2)


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
