"""The best that is possible for a job, within a time limit, to hold a plan against."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from trayopt.domain.assignment import Assignment
from trayopt.domain.job import Job
from trayopt.goals.registry import GOALS


@dataclass(frozen=True)
class Best:
    """The best plan that was found: values and proven bounds by goal; ``proven`` tells that nothing is better."""

    assignment: Assignment | None
    values: dict[str, int]
    bounds: dict[str, int | None]
    proven: bool


def best_of(job: Job, limit_s: float, workers: int = 2) -> Best:
    """Solve a job for at most ``limit_s`` seconds."""
    from trayopt.solve.run import Tuning
    from trayopt.solve.search import Search
    from trayopt.solve.stop import Clock

    order = tuple(goal.id for goal in GOALS)
    state, stopped = Search(job, order, Clock(limit_s), tuning=Tuning(workers=workers)).solve()
    if state.best is None:
        return Best(None, {}, {}, False)
    values: dict[str, int] = {goal: state.value(goal) for goal in order}
    bounds: dict[str, Any] = {goal: state.bounds.get(goal) for goal in order}
    return Best(state.best, values, bounds, stopped == "proven")
