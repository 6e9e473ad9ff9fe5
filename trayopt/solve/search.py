"""The search: goals in order, the strictest wish first, every value recounted, every bound proven or left open.

A job is tried on four rungs. The first model places every splice, breaks no must and no preference; a solution of it proves
that the first three goals are 0. Only where it has none does the next rung let preferences go, then musts, then splices.
On the rung that holds, the remaining goals follow one by one; the value of each becomes a bound of the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from trayopt.domain.assignment import Assignment
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName, Stopped
from trayopt.goals.registry import BY_ID as GOALS
from trayopt.goals.registry import measure_all
from trayopt.solve.build import Policy, build
from trayopt.solve.divide import Divider
from trayopt.solve.model import Key, Model
from trayopt.solve.run import Tuning, Watch, hint, hint_last, run
from trayopt.solve.stop import Clock
from trayopt.track.laid import Laid

FIRST: tuple[GoalName, ...] = ("unplaced", "broken_must", "broken_prefer")


@dataclass(frozen=True)
class Rung:
    """One kind of model: what it takes for granted, and which of the first goals are left to minimise in it."""

    name: str
    all_placed: bool
    policy: Policy
    open: tuple[GoalName, ...]


RUNGS: tuple[Rung, ...] = (
    Rung("everything kept", True, Policy("hard", "hard"), ()),
    Rung("every must kept", True, Policy("hard", "soft"), ("broken_prefer",)),
    Rung("every splice placed", True, Policy("soft", "soft"), ("broken_must", "broken_prefer")),
    Rung("what can be placed", False, Policy("soft", "soft"), FIRST),
)


@dataclass
class State:
    """What is known so far: the best plan, and a proven bound for each goal whose earlier goals are all proven."""

    order: tuple[GoalName, ...]
    best: Assignment | None = None
    vector: tuple[int, ...] = ()
    bounds: dict[GoalName, int | None] = field(default_factory=dict)
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

    @property
    def proven(self) -> bool:
        """Whether every goal meets its bound."""
        return self.best is not None and all(self.bounds.get(goal) == self.value(goal) for goal in self.order)


class Search:
    """One search on one job."""

    def __init__(
        self,
        job: Job,
        order: Sequence[GoalName],
        clock: Clock,
        *,
        tuning: Tuning | None = None,
        gap: float | None = None,
        watch: Any = None,
    ) -> None:
        self.job = job
        self.clock = clock
        self.tuning = tuning or Tuning()
        self.gap = gap
        self.state = State(tuple(order))
        self.report = watch

    def solve(self) -> tuple[State, Stopped]:
        """Search until everything is proven or the clock stops it."""
        divider = Divider(self.job)
        if not self._coarse(divider):
            self._ladder(divider)
        stopped: Stopped = "proven" if self.state.proven else ("gap" if self.state.by_gap else self.clock.why())
        return self.state, stopped

    def _coarse(self, divider: Divider) -> bool:
        """Try the divisions of least legs with everything kept; tells whether that settled the job.

        A plan found here has 0 in the first three goals. If its legs meet the divider's bound, the goal legs is proven as
        well, and only divisions that some choice of so few legs uses can hold a better plan.
        """
        settled = divider.settle()
        if settled is None or self.state.order.index("legs") != len(FIRST):
            return False
        model = build(self.job, RUNGS[0].policy, all_placed=True, divisions=settled.divisions)
        self._hint(model)
        outcome = run(model, self.clock, self.tuning)
        if outcome.assignment is None:
            return False
        self.state.offer(self.job, outcome.assignment)
        if self.state.value("legs") != settled.legs:
            return False
        open_ = divider.within(settled.legs)
        self.state.bounds.update(dict.fromkeys(FIRST, 0), legs=settled.legs)
        if open_ != settled.divisions:
            model = build(self.job, RUNGS[0].policy, all_placed=True, divisions=open_)
            self._hint(model)
            model.require(GOALS["legs"].encode(self.job, model) <= settled.legs)
        self._descend(model, self.state.order[self.state.order.index("legs") + 1 :], sure=True)
        return True

    def _ladder(self, divider: Divider) -> None:
        """Go down the rungs to the first whose model has a plan, and minimise what is left there."""
        sure = True
        for rung in RUNGS:
            if self.clock.over:
                break
            if rung.all_placed and divider.hopeless:
                continue
            model = build(
                self.job, rung.policy, all_placed=rung.all_placed, divisions=divider.open if rung.all_placed else None
            )
            self._hint(model)
            outcome = run(model, self.clock, self.tuning)
            if outcome.assignment is None:
                sure = sure and outcome.proven
                continue
            self.state.offer(self.job, outcome.assignment)
            if sure:
                self.state.bounds.update({goal: 0 for goal in FIRST if goal not in rung.open})
            self._descend(model, [goal for goal in self.state.order if goal in rung.open or goal not in FIRST], sure=sure)
            break

    def _hint(self, model: Model) -> None:
        if self.state.best is not None:
            hint(model, self.state.best)

    def _descend(self, model: Model, goals: Sequence[GoalName], *, sure: bool) -> None:
        """Minimise goal after goal on one model; ``sure`` tells that the goals before are proven."""
        for goal in goals:
            if self.clock.over:
                return
            sure = self._minimise(model, goal, sure=sure) and sure

    def _minimise(self, model: Model, goal: GoalName, *, sure: bool) -> bool:
        """Minimise one goal and hold the model to the value; tells whether the value is proven."""
        expression = GOALS[goal].encode(self.job, model)
        if isinstance(expression, int):
            if sure:
                self.state.bounds[goal] = expression
            return True
        model.cp.minimize(expression)
        if model.solution:
            hint_last(model)
        watch: Watch | None = None
        if self.report is not None:
            report = self.report

            def watch(value: int | None, bound: int | None) -> None:
                report(goal, value, bound)

        outcome = run(model, self.clock, self.tuning, watch)
        if outcome.assignment is not None:
            self.state.offer(self.job, outcome.assignment)
        value = self.state.value(goal)
        if outcome.bound is not None and sure:
            self.state.bounds[goal] = outcome.bound
        model.cp.clear_objective()
        model.require(expression <= value)
        return outcome.proven and outcome.value == value
