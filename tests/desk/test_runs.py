"""Searches of a desk: what is left of a limit when the process is ready, and what a stopped process may still do."""

from __future__ import annotations

import threading
import time
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from trayopt.api.limits import LEAST_PART, time_left
from trayopt.desk import child, runs
from trayopt.desk.desk import Desk


def test_the_time_before_a_search_counts_and_some_is_kept_for_the_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(time, "monotonic", lambda: 1000.0)
    assert time_left(60, 1000.0) == pytest.approx(59.85)
    assert time_left(60, 980.0) == pytest.approx(60 - 20 - 5)
    assert time_left(60, 900.0) == pytest.approx(60 * LEAST_PART)


@pytest.mark.parametrize("kind", ["solve", "explain", "prices", "mend"])
def test_the_limit_of_a_search_begins_when_it_is_asked_for(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    """A process that was ready 20 s late has 35 of 60 s left, and keeps 5 for its answer."""
    tasks = []
    monkeypatch.setattr(runs.Search, "start", lambda self, run, task: tasks.append((run, task)))
    if kind == "mend":
        desk.act({"at": desk.state()["at"], "act": "move", "leg": "N1/3.2", "stack": "left", "position": 6})
    desk.begin({"kind": kind, "limit_s": 60})
    [(run, task)] = tasks
    limits = []

    def called(*_: object, time_limit_s: float, **__: object) -> None:
        limits.append(time_limit_s)
        raise InterruptedError

    monkeypatch.setattr(f"trayopt.api.{kind}", called)
    monkeypatch.setattr(time, "monotonic", lambda: run.started + 20)
    with pytest.raises(InterruptedError):
        child._done({"kind": kind, "began": run.started, **task}, lambda _: None, threading.Event())
    assert limits == [pytest.approx(35)]


def test_a_search_that_is_stopped_before_its_process_is_ready_still_gives_a_plan(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, folder: Path
) -> None:
    """The time for the answer begins when the task was read: loading takes long on a busy machine."""
    begun = []
    monkeypatch.setattr(runs, "_end_in", lambda seconds, process: begun.append(seconds))
    desk.begin({"kind": "solve", "limit_s": 60})
    desk.halt()
    assert begun == [runs.READY_S]
    run = desk.search.run
    assert run is not None
    for _ in range(1200):
        if not desk.search.running:
            break
        time.sleep(0.1)
    assert begun == [runs.READY_S, runs.END_S]
    assert desk.results["solve"]["plan"] is not None
    assert not run.answer or not run.answer.get("stopped")


def test_a_stop_before_a_better_plan_is_told_apart_from_a_limit(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    task: dict[str, Any] = {"limit_s": 60, "began": time.monotonic(), "workers": 1}
    stop = threading.Event()
    stop.set()
    job = desk.document.job
    assert job is not None
    monkeypatch.setattr("trayopt.api.solve", lambda *_, **__: SimpleNamespace(plan=SimpleNamespace(status="none")))
    assert child._solve(job, task, {"plan": None}, lambda _: None, stop) == {"plan": None, "stopped": True}
    assert child._solve(job, task, {"plan": None}, lambda _: None, threading.Event()) == {
        "plan": None,
        "stopped": False,
    }
