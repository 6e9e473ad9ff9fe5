"""A limit holds whatever the search is doing: it is asked to end, ended from outside, or left behind with what it knows."""

from __future__ import annotations

import itertools
import subprocess
import sys
import threading
import time
from contextlib import suppress
from importlib import import_module
from typing import Any

import pytest

from tests.build import job_of
from tests.strategies import worked_example
from trayopt import api
from trayopt.solver.model.clock import Clock, OutOfTime
from trayopt.solver.model.in_time import THREAD, _Unraisable, _Work, in_time, left_behind, margin
from trayopt.solver.search.search import Search

MODULE = import_module("trayopt.solver.model.in_time")


def end_only_once(inside: threading.Event, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let no end come before the work has begun: on a busy machine that can take longer than the limit."""

    def raise_later(thread: int, error: type[BaseException]) -> None:
        assert inside.wait(600)
        raise_in(thread, error)

    raise_in = MODULE._raise_in
    monkeypatch.setattr(MODULE, "_raise_in", raise_later)


def endless() -> None:
    """Count, and never look at a clock."""
    for _ in itertools.count():
        pass


def test_what_ends_in_time_gives_its_result_or_its_error() -> None:
    assert in_time(lambda: 7, Clock(60)) == 7
    with pytest.raises(ValueError, match="wrong"):
        in_time(lambda: int("wrong"), Clock(60))


def test_a_count_that_never_looks_at_the_clock_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    inside = threading.Event()
    end_only_once(inside, monkeypatch)
    ended: list[type[BaseException]] = []

    def work() -> None:
        try:
            inside.set()
            endless()
        except BaseException as end:
            ended.append(type(end))
            raise

    assert in_time(work, Clock(0.2)) is None
    assert ended == [OutOfTime]


def test_what_cannot_be_ended_is_left_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    inside, free, before = threading.Event(), threading.Event(), threading.enumerate()
    end_only_once(inside, monkeypatch)

    def work() -> None:
        with suppress(OutOfTime):
            inside.set()
            free.wait(600)
        free.wait(600)

    assert in_time(work, Clock(0.1)) is None
    assert left_behind()
    (found,) = (thread for thread in threading.enumerate() if thread.name == THREAD and thread not in before)
    free.set()
    found.join(600)
    assert found not in threading.enumerate()


def test_an_end_that_comes_before_the_work_begins_keeps_it_from_beginning(monkeypatch: pytest.MonkeyPatch) -> None:
    """The end is not raised in the thread's own first lines, where nothing would hear it."""
    begun: list[bool] = []
    raised: list[int] = []
    monkeypatch.setattr(threading.Thread, "start", lambda thread: None)
    monkeypatch.setattr(threading.Thread, "ident", threading.get_ident())
    monkeypatch.setattr(MODULE, "_raise_in", lambda thread, error: raised.append(thread))
    work = _Work(lambda: begun.append(True))
    work.end()
    assert not raised
    work._run()
    assert isinstance(work.error, OutOfTime)
    assert work.ended.is_set()
    assert not begun


def test_an_end_that_comes_as_the_work_ends_raises_nothing_that_nobody_hears(monkeypatch: pytest.MonkeyPatch) -> None:
    unheard: list[object] = []
    monkeypatch.setattr(threading, "excepthook", unheard.append)
    free = threading.Event()
    work = _Work(lambda: free.wait(60))

    class Late(threading.Event):
        """Is set a moment after time is up."""

        def set(self) -> None:
            work.end()
            super().set()

    work.ended = Late()
    free.set()
    assert work.ended.wait(5)
    for thread in [thread for thread in threading.enumerate() if thread.name == THREAD]:
        thread.join(60)
    assert unheard == []
    assert work.result is True


TRACED = """
import sys, threading
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.in_time import in_time

def trace(frame, event, argument):
    return trace

threading.settrace(trace)
sys.settrace(trace)
for _ in range(3):
    assert in_time(lambda: 7, Clock(60)) == 7
print(sum(1 for _ in range(1000)))
"""


class Slow:
    """Takes its time to go: an exception that is raised in ``__del__`` is swallowed by Python, and written to stderr."""

    def __del__(self) -> None:
        until = time.monotonic() + 3
        while time.monotonic() < until:
            pass


def test_an_end_that_python_swallows_writes_nothing(capfd: pytest.CaptureFixture[str]) -> None:
    before = sys.unraisablehook
    assert in_time(lambda: Slow() and None, Clock(0.1)) is None
    assert capfd.readouterr().err == ""
    until = time.monotonic() + 60
    while left_behind() and time.monotonic() < until:
        pass
    assert sys.unraisablehook is before, "what it took to be silent is taken back"


def test_hooks_of_two_ends_go_whichever_goes_first() -> None:
    before = sys.unraisablehook
    first, second = _Unraisable(), _Unraisable()
    first.take_out()
    assert sys.unraisablehook is second
    second.take_out()
    assert sys.unraisablehook is before


def test_work_goes_on_while_all_code_is_traced() -> None:
    """As a measurement of coverage and a debugger do: a trace once hung after the first piece of work."""
    done = subprocess.run([sys.executable, "-c", TRACED], capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout == "1000\n"


def test_an_event_ends_it_without_any_limit() -> None:
    clock, stop = Clock(), threading.Event()
    stop.set()

    def work() -> str:
        while not clock.over:
            pass
        return "what it had"

    assert in_time(work, clock, stop) == "what it had"
    assert clock.interrupted


def test_a_search_that_does_not_end_gives_the_best_plan_that_it_had(monkeypatch: pytest.MonkeyPatch) -> None:
    job = job_of(worked_example())
    best = api.solve(job, workers=1).plan
    real = Search.solve

    def found_and_lost(search: Search) -> Any:
        real(search)
        endless()

    monkeypatch.setattr(Search, "solve", found_and_lost)
    plan = api.solve(job, workers=1, time_limit_s=4.0).plan
    assert plan.goals == best.goals
    assert plan.legs == best.legs


def test_the_reason_comes_out_of_the_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is left of the limit is all that the explanation gets, by the clock or in the solver's own time."""
    data = worked_example()
    data["trunks"][0]["exposed_mm"] = 100
    job = job_of(data)
    given: list[Clock] = []
    explaining = import_module("trayopt.explainer.explaining")
    monkeypatch.setattr(explaining, "explain_short", lambda job, plan, clock: given.append(clock))
    for reproducible in (False, True):
        plan = api.solve(job, time_limit_s=8.0, reproducible=reproducible, workers=1).plan
        assert plan.value("unplaced") + plan.value("broken_must") > 0
        limit = given[-1].limit_s
        assert limit is not None
        assert limit < 8.0
        assert given[-1].deterministic == reproducible
    api.solve(job, workers=1)
    assert given[-1].limit_s == api.EXPLAIN_S


def test_part_of_a_limit_is_kept_while_the_best_plan_is_not_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    data = worked_example()
    data["trunks"][0]["exposed_mm"] = 100
    kept: list[float] = []
    real = Search.solve

    def watched(search: Search) -> Any:
        kept.append(search.session.clock.reserve())
        answer = real(search)
        kept.append(search.session.clock.reserve())
        return answer

    monkeypatch.setattr(Search, "solve", watched)
    api.solve(job_of(data), workers=1, time_limit_s=1000.0)
    api.solve(job_of(worked_example()), workers=1, time_limit_s=1000.0)
    api.solve(job_of(data), workers=1, time_limit_s=1000.0, explain=False)
    assert kept == [0.0, api.EXPLAIN_S, 0.0, 0.0, 0.0, 0.0]


def test_a_margin_is_a_small_part_of_a_limit() -> None:
    assert margin(1.0) == pytest.approx(0.03)
    assert margin(600.0) == 0.5


def test_a_module_that_makes_another_fault_of_the_end_of_the_time_hides_no_answer() -> None:
    def work() -> None:
        try:
            while True:
                time.sleep(0.001)
        except OutOfTime:
            {"ended": True}["started"]  # what a library looks up meanwhile

    assert in_time(work, Clock(0.05)) is None
