"""A job split into cases with a search each, and what follows for the job from what is proven of its cases.

Every plan is of one case. Of a goal is proven what is proven of it in every case that can still be best.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from trayopt.domain.plan import GoalName
from trayopt.solver.model.bound import ZERO, Bound, Given
from trayopt.solver.model.incumbent import State

Price = dict[GoalName, int]
"""What each goal is more in the job than in the case."""


@dataclass
class Case:
    """One case: what it costs, and what is proven of its plans, in values of the job."""

    price: Price
    bounds: list[Bound] = field(default_factory=list)

    def bound(self, goal: GoalName, before: Mapping[GoalName, int]) -> Bound:
        """Return the best bound of a goal over plans of this case that have these values before."""
        held = (bound for bound in self.bounds if bound.goal == goal and bound.given.met(before))
        return max(held, key=lambda bound: bound.value, default=Bound(goal, self.price.get(goal, 0), ZERO))

    def learn(self, bound: Bound) -> None:
        """Take a bound of the search of the case, with what the case costs beside."""
        limits = {goal: most + self.price.get(goal, 0) for goal, most in bound.given.at_most.items()}
        self.bounds.append(Bound(bound.goal, bound.value + self.price.get(bound.goal, 0), bound.by, Given(limits)))

    def excluded(self, state: State) -> bool:
        """Whether it is proven that no plan of this case is better than the best one."""
        if state.best is None:
            return False
        before: dict[GoalName, int] = {}
        for goal, value in zip(state.order, state.vector, strict=True):
            least = self.bound(goal, before).value
            if least != value:
                return least > value
            before[goal] = value
        return True


def conclude(cases: Sequence[Case], state: State) -> None:
    """Record for each goal what is proven in every case whose plans can equal the incumbent in the goals before."""
    if state.best is None:
        return
    before: dict[GoalName, int] = {}
    left = list(cases)
    for goal, value in zip(state.order, state.vector, strict=True):
        least = min((case.bound(goal, before) for case in left), key=lambda bound: bound.value)
        least_value = min(least.value, value)
        state.record(goal, least_value, least.by, Given(dict(before)))
        if least_value < value:
            return
        left = [case for case in left if case.bound(goal, before).value <= value]
        before[goal] = value
