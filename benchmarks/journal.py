"""What a method found and when: the best plan, recounted by the same measure for all, its bounds, and the way there."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from trayopt.domain.assignment import Assignment
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.goals.registry import GOALS, measure_all
from trayopt.rules.judge import judge
from trayopt.rules.registry import BY_ID
from trayopt.track.laid import Laid

GOAL_ORDER: tuple[GoalName, ...] = tuple(goal.id for goal in GOALS)
Event = tuple[float, GoalName, int | None, int | None]
"""Seconds, the goal in work, its value and its bound."""


def hard_faults(job: Job, laid: Laid) -> int:
    """Count what no plan may break: always rules, built pins, physical rules at must."""
    return sum(
        found.level == "always" or (found.level == "must" and BY_ID[found.rule].kind == "physical")
        for found in judge(job, laid)
    )


@dataclass
class Journal:
    """One run of one method on one job.

    Attributes
    ----------
    limit_s
        Most seconds of wall time, from here on.
    tell
        Called with a summary whenever there is something new, so that a run that is killed leaves what it had.
    """

    job: Job
    limit_s: float
    tell: Callable[[Mapping[str, Any]], None] = lambda _: None
    started: float = field(default_factory=time.monotonic)
    best: Assignment | None = None
    vector: tuple[int, ...] = ()
    bounds: dict[GoalName, int | None] = field(default_factory=dict)
    proven_at: dict[GoalName, float] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)
    moves: int = 0
    """Plans that a local search looked at."""

    @property
    def seconds(self) -> float:
        """Wall time since the start."""
        return time.monotonic() - self.started

    @property
    def left(self) -> float:
        """What is left of the limit, in seconds."""
        return max(0.0, self.limit_s - self.seconds)

    def offer(self, assignment: Assignment) -> bool:
        """Keep a plan if nothing that no plan breaks is broken and it is better; tells whether it is the best now."""
        laid = Laid(self.job, assignment)
        if hard_faults(self.job, laid):
            return False
        measured = measure_all(laid)
        vector = tuple(measured[goal] for goal in GOAL_ORDER)
        if self.best is not None and vector >= self.vector:
            return False
        self.best, self.vector = assignment, vector
        self.tell(self.summary())
        return True

    def bound(self, goal: GoalName, bound: int) -> None:
        """Note a proven bound (no goal is below 0); it counts from the moment on at which it and all before it are met."""
        self.bounds[goal] = max(0, bound)
        self.settle()
        self.tell(self.summary())

    def settle(self) -> None:
        """Note the time of every goal that is proven by now."""
        for goal, value in zip(GOAL_ORDER, self.vector, strict=False):
            if self.bounds.get(goal) != value:
                return
            self.proven_at.setdefault(goal, self.seconds)

    def note(self, goal: GoalName, value: int | None, bound: int | None) -> None:
        """Note a value or a bound of the goal in work."""
        self.events.append((round(self.seconds, 4), goal, value, bound))

    @property
    def proven(self) -> bool:
        """Whether every goal is proven."""
        return bool(self.vector) and all(goal in self.proven_at for goal in GOAL_ORDER)

    def summary(self) -> dict[str, Any]:
        """Give everything as plain data."""
        return {
            "vector": list(self.vector),
            "bounds": [self.bounds.get(goal) for goal in GOAL_ORDER],
            "proven": self.proven,
            "proven_at": {goal: round(at, 4) for goal, at in self.proven_at.items()},
            "seconds": round(self.seconds, 4),
            "moves": self.moves,
        }
