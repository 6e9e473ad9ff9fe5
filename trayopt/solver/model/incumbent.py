"""What a search knows: the best plan and the proven bound of each goal."""

from __future__ import annotations

from dataclasses import dataclass, field

from trayopt.domain.assignment import Assignment
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.goals.registry import measure_all
from trayopt.rules.registry import BY_ID
from trayopt.track.laid import Laid

FIRST: tuple[GoalName, ...] = ("unplaced", "broken_must", "broken_prefer")


@dataclass
class State:
    """What is known so far: the best plan, and a proven bound for each goal whose earlier goals are all proven."""

    order: tuple[GoalName, ...]
    best: Assignment | None = None
    vector: tuple[int, ...] = ()
    bounds: dict[GoalName, int | None] = field(default_factory=lambda: {"unplaced": 0})
    least: dict[GoalName, int] = field(default_factory=dict)
    """Proven bounds of goals where every splice is placed, every must kept, and the goals between are as good as can be."""
    by_gap: bool = False

    def offer(self, job: Job, assignment: Assignment) -> None:
        """Keep an assignment if it is better, by a recount in plain Python."""
        measured = measure_all(Laid(job, assignment))
        vector = tuple(measured[goal] for goal in self.order)
        if self.best is None or vector < self.vector:
            self.best, self.vector = assignment, vector

    def value(self, goal: GoalName) -> int:
        """Value of a goal in the best plan."""
        return self.vector[self.order.index(goal)]

    def settle(self) -> None:
        """Give the first goals that the solver proved nothing of the bounds that hold all the same."""
        if self.best is None:
            return
        for goal in self.order:
            if self.bounds.get(goal) is None:
                self.bounds[goal] = self.least.get(goal, 0) if self.whole else 0
            if self.bounds[goal] != self.value(goal):
                return

    @property
    def whole(self) -> bool:
        """Whether the best plan places every splice and keeps every must."""
        return self.best is not None and self.value("unplaced") == self.value("broken_must") == 0

    @property
    def proven(self) -> bool:
        """Whether every goal meets its bound."""
        return self.best is not None and all(self.bounds.get(goal) == self.value(goal) for goal in self.order)


def is_kept(job: Job, rule: str, musts: int, weight: int) -> bool:
    """Whether plans that break so many musts, and preferences of at most this weight, keep a rule for every subject."""
    setting = job.rules[rule]
    if setting.level == "must":
        return musts == 0 or BY_ID[rule].kind == "physical"
    return setting.level == "prefer" and setting.weight > weight
