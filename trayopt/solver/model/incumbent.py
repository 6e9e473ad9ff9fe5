"""What a search knows: the incumbent, which is the best plan so far, and every lower bound with its author."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from trayopt.domain.assignment import Assignment
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.errors import SolverFault
from trayopt.goals.registry import measure_all
from trayopt.rules.registry import BY_ID
from trayopt.solver.model.bound import ANY, ZERO, Bound, Given, Step
from trayopt.track.laid import Laid

FIRST: tuple[GoalName, ...] = ("unplaced", "broken_must", "broken_prefer")


@dataclass
class State:
    """The best plan so far, and the bounds: the only place where either is recorded.

    Parameters
    ----------
    order
        All goals in the order in which they count.
    seconds
        Tells how long the search has been going on.
    watch
        Called with every step of the trail: a bound that is better than what was known, or a better plan; and with what
        ``glimpse`` is told, which is no step of the trail.
    """

    order: tuple[GoalName, ...]
    seconds: Callable[[], float] = lambda: 0.0
    watch: Callable[[Step], None] | None = None
    best: Assignment | None = None
    vector: tuple[int, ...] = ()
    trail: list[Step] = field(default_factory=list)
    by_gap: bool = False
    _offered: dict[tuple[int, ...], dict[GoalName, int]] = field(default_factory=dict)
    _glimpsed: tuple[int, ...] = ()
    """Values of the best plan that was reported before its run ended."""

    def __post_init__(self) -> None:
        """Begin without a bound."""
        self._recorded: dict[GoalName, list[Bound]] = {goal: [] for goal in self.order}

    def offer(self, job: Job, assignment: Assignment) -> None:
        """Keep an assignment if it is better, by a recount in plain Python.

        Raises
        ------
        SolverFault
            Where it is better than a bound that holds of it: then the author of the bound has counted wrongly.
        """
        values = measure_all(Laid(job, assignment))
        vector = tuple(values[goal] for goal in self.order)
        if vector not in self._offered:
            self._offered[vector] = values
            for bounds in self._recorded.values():
                for bound in bounds:
                    _agree(bound, values)
        if self.best is None or vector < self.vector:
            self.best, self.vector = assignment, vector
            self._note(Step(self.seconds(), values={goal: values[goal] for goal in self.order}, plan=assignment))

    def glimpse(self, job: Job, assignment: Assignment) -> None:
        """Tell who watches of a plan that a run has found which still goes on; the search takes over what the run ends with."""
        values = measure_all(Laid(job, assignment))
        vector = tuple(values[goal] for goal in self.order)
        known = [each for each in (self.vector, self._glimpsed) if each]
        if self.watch is not None and (not known or vector < min(known)):
            self._glimpsed = vector
            self.watch(Step(self.seconds(), values={goal: values[goal] for goal in self.order}, plan=assignment))

    def record(self, goal: GoalName, value: int, by: str, given: Given = ANY) -> int:
        """Record a proven bound and give it; every bound of a search comes into being here.

        Raises
        ------
        SolverFault
            Where a plan that was found before is better.
        """
        bound = Bound(goal, value, by, given)
        for values in self._offered.values():
            _agree(bound, values)
        known = self._recorded[goal]
        if value > 0 and not any(other.value >= value and given.implies(other.given) for other in known):
            known.append(bound)
            self._note(Step(self.seconds(), bound))
        return value

    def _note(self, step: Step) -> None:
        self.trail.append(step)
        if self.watch is not None:
            self.watch(step)

    def counts_first(self, goal: GoalName, other: GoalName) -> bool:
        """Whether one goal comes before another."""
        return self.order.index(goal) < self.order.index(other)

    def value(self, goal: GoalName) -> int:
        """Value of a goal in the best plan."""
        return self.vector[self.order.index(goal)]

    def bound(self, goal: GoalName) -> Bound:
        """Return the best bound of a goal over all plans that equal the incumbent in the goals before."""
        before = dict(zip(self.order[: self.order.index(goal)], self.vector, strict=False))
        best = Bound(goal, 0, ZERO)
        for bound in self._recorded[goal]:
            if bound.value > best.value and bound.given.met(before):
                best = bound
        return best

    def least(self, goal: GoalName) -> int:
        """Value of the best bound of a goal over such plans."""
        return self.bound(goal).value

    @property
    def proofs(self) -> dict[GoalName, Bound]:
        """The best bounds in order, up to the first goal that does not meet its bound: later goals have no claims."""
        found: dict[GoalName, Bound] = {}
        for goal in self.order if self.best is not None else self.order[:1]:
            found[goal] = self.bound(goal)
            if self.best is None or found[goal].value != self.value(goal):
                break
        return found

    @property
    def bounds(self) -> dict[GoalName, int | None]:
        """Values of ``proofs``."""
        return {goal: bound.value for goal, bound in self.proofs.items()}

    @property
    def whole(self) -> bool:
        """Whether the best plan places every splice and keeps every must."""
        return self.best is not None and self.value("unplaced") == self.value("broken_must") == 0

    @property
    def proven(self) -> bool:
        """Whether every goal meets its bound."""
        return self.best is not None and all(self.least(goal) == self.value(goal) for goal in self.order)


def _agree(bound: Bound, values: Mapping[GoalName, int]) -> None:
    if bound.refuted(values):
        raise SolverFault(
            f"{bound.by} has counted wrongly: it says that {bound.goal} is at least {bound.value:,} in {bound.given}, "
            f"and such a plan was found that has {values[bound.goal]:,}"
        )


def is_kept(job: Job, rule: str, musts: int, weight: int) -> bool:
    """Whether plans that break so many musts, and preferences of at most this weight, keep a rule for every subject."""
    setting = job.rules[rule]
    if setting.level == "must":
        return musts == 0 or BY_ID[rule].kind == "physical"
    return setting.level == "prefer" and setting.weight > weight
