"""Searches of a desk: each runs in a process of its own, reports its progress, and can be ended with the best plan so far."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

MOST_STEPS = 40
LAST_S, POLL_S = 5.0, 0.05
"""Seconds that a search for a plan has for its answer when the desk is closed, and seconds between two checks for it."""
END_S = 10.0
"""Seconds that a stopped search has for its answer, from when it began to search, before its process is ended."""
READY_S = 60.0
"""Seconds that the process of a stopped search has to begin: on a busy machine it takes long to load."""


@dataclass
class Run:
    """A search: its kind, its progress, and its answer."""

    kind: str
    began_with: Any
    """The state of the document when the search began."""
    about: str = ""
    started: float = field(default_factory=time.monotonic)
    ended: float | None = None
    goals: dict[str, tuple[int | None, int | None]] = field(default_factory=dict)
    steps: list[dict[str, Any]] = field(default_factory=list)
    """Bounds and plans in the order in which they came; a plan like the plan before it is not repeated."""
    best: dict[str, Any] | None = None
    """The decisions of the best plan so far, as a plan document."""
    answer: dict[str, Any] | None = None
    stopping: bool = False
    begun: bool = False
    """Whether the process has read its task."""

    @property
    def seconds(self) -> float:
        """Seconds for which the search has been running, or ran."""
        return (time.monotonic() if self.ended is None else self.ended) - self.started

    def plain(self) -> dict[str, Any]:
        """Return the search as plain data."""
        return {
            "kind": self.kind,
            "about": self.about,
            "seconds": round(self.seconds, 1),
            "running": self.ended is None,
            "stopping": self.stopping,
            "goals": {goal: list(values) for goal, values in self.goals.items()},
            "steps": self.steps[-6:],
        }


class Search:
    """The search of a desk, which runs one at a time.

    Parameters
    ----------
    done
        Called with a run and its answer at the end, in a thread of its own.
    found
        Called with a run whenever it has a better plan, in the same thread.
    """

    def __init__(
        self, done: Callable[[Run, dict[str, Any]], None], found: Callable[[Run], None] = lambda _: None
    ) -> None:
        self._done, self._found = done, found
        self._process: subprocess.Popen[bytes] | None = None
        self.run: Run | None = None

    @property
    def running(self) -> bool:
        """Whether a search runs."""
        return self.run is not None and self.run.ended is None

    def start(self, run: Run, task: dict[str, Any]) -> None:
        """Start a search; no other search may be running."""
        self.run = run
        path = os.pathsep.join(part for part in sys.path if part)
        process = subprocess.Popen(
            [sys.executable, "-P", "-m", "trayopt.desk.child"], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": path}, start_new_session=os.name == "posix",
        )  # fmt: skip
        self._process = process
        assert process.stdin is not None
        with contextlib.suppress(OSError):
            process.stdin.write(json.dumps({"kind": run.kind, "began": run.started, **task}).encode() + b"\n")
            process.stdin.flush()
        threading.Thread(target=self._listen, args=(run, process), daemon=True).start()

    def stop(self) -> None:
        """End the search: a search for a plan keeps the best plan so far, any other search ends without an answer."""
        run, process = self.run, self._process
        if run is None or process is None or run.ended is not None:
            return
        run.stopping = True
        if run.kind != "solve":
            process.kill()
            return
        with contextlib.suppress(OSError):
            assert process.stdin is not None
            process.stdin.write(b"stop\n")
            process.stdin.flush()
        _end_in(END_S if run.begun else READY_S, process)

    def close(self) -> None:
        """End the running search; a search for a plan gets a short time to hand over its best plan."""
        process, run = self._process, self.run
        if run is not None and run.kind == "solve" and run.goals:
            self.stop()
            until = time.monotonic() + LAST_S
            while self.running and time.monotonic() < until:
                time.sleep(POLL_S)
        if process is not None and process.poll() is None:
            process.kill()
            process.wait()

    def _listen(self, run: Run, process: subprocess.Popen[bytes]) -> None:
        answer: dict[str, Any] = {}
        assert process.stdout is not None
        for line in process.stdout:
            data = json.loads(line)
            kind = data.pop("type")
            if kind == "begun":
                run.begun = True
                if run.stopping:
                    _end_in(END_S, process)
            elif kind == "goal":
                before = run.goals.get(data["goal"], (None, None))
                run.goals[data["goal"]] = (before[0] if data["value"] is None else data["value"], data["bound"])
            elif kind == "step":
                for goal, value in data["values"].items():
                    run.goals[goal] = (value, run.goals.get(goal, (None, None))[1])
                if not run.steps or data["step"].get("values", {}) != run.steps[-1].get("values"):
                    run.steps = [*run.steps[-MOST_STEPS:], data["step"]]
                if data["plan"] is not None:
                    run.best = data["plan"]
                    self._found(run)
            else:
                answer = data
        with process:
            process.wait()
        if not answer and run.best is not None:
            answer = {"plan": run.best, "cut_short": True}
        elif not answer:
            answer = (
                {"stopped": True} if run.stopping else {"fault": f"the search ended by itself ({process.returncode})"}
            )
        self._done(run, answer)
        run.answer, run.ended = answer, time.monotonic()


def _end_in(seconds: float, process: subprocess.Popen[bytes]) -> None:
    """End a process if it still runs then."""
    ender = threading.Timer(seconds, process.kill)
    ender.daemon = True
    ender.start()
