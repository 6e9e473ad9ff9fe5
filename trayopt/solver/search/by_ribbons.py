"""A search for each choice of what is done with ribbons, where a job leaves that open.

With the choice settled, sleeves are known as in a job that decides it, and every bound is as sharp. A choice costs what the
preferences of ribbons say of it, whatever else a plan does; so choices are searched in the order of their prices, until what is
left costs more than the best plan breaks. Of a goal is proven what is proven of it in every choice that can still be best.

A trunk outside has no ribbons to work on: such plans are looked for under the first of its list, which breaks nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from math import prod
from typing import Any

from trayopt.domain.assignment import Assignment
from trayopt.domain.base import AS_THEY_ARE, RibbonWord
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName, Stopped
from trayopt.rules.re_ribbonised import ReRibbonised
from trayopt.rules.ribbon_work import RibbonWork
from trayopt.solver.bounds.division import Divider
from trayopt.solver.heuristics.laying import keeps_facts
from trayopt.solver.model.bound import ZERO, Bound, Given, Step
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.incumbent import State
from trayopt.solver.search.search import Search

NAME = "by_ribbons"
"""By which name it can be left out: then all choices are open in one search."""
MOST_CHOICES = 32
"""Of more choices all are left open in one search."""
SPARED = 0.5
"""Part of the time of choices to come that is kept for them."""

Price = dict[GoalName, int]
"""What a choice breaks of rules at must and at prefer."""


def search_of(job: Job, without: Container[str] = ()) -> type[Search | RibbonSearch]:
    """Give the kind of search that a job asks for, where that is not among the parts to leave out."""
    return RibbonSearch if has_few_choices(job) and NAME not in without else Search


def has_few_choices(job: Job) -> bool:
    """Whether a job leaves open what is done with ribbons, and there are few enough choices to search each."""
    return bool(job.ribbons_open) and prod(len(trunk.ribbons) for trunk in job.ribbons_open) <= MOST_CHOICES


@dataclass
class Branch:
    """One choice: what is done by trunk, what that costs, and what is proven of its plans, in values of the job."""

    work: Mapping[str, RibbonWord]
    price: Price
    bounds: list[Bound] = field(default_factory=list)

    def bound(self, goal: GoalName, before: Mapping[GoalName, int]) -> Bound:
        """Give the best bound of a goal over plans of this choice that have these values before."""
        held = (bound for bound in self.bounds if bound.goal == goal and bound.given.met(before))
        return max(held, key=lambda bound: bound.value, default=Bound(goal, self.price.get(goal, 0), ZERO))

    def learn(self, bound: Bound) -> None:
        """Take a bound of the job in which the choice is settled, with what the choice costs beside."""
        limits = {goal: most + self.price.get(goal, 0) for goal, most in bound.given.at_most.items()}
        self.bounds.append(Bound(bound.goal, bound.value + self.price.get(bound.goal, 0), bound.by, Given(limits)))


class RibbonSearch:
    """The search on a job that leaves open what is done with ribbons; takes what ``Search`` takes."""

    def __init__(
        self,
        job: Job,
        order: Sequence[GoalName],
        clock: Clock,
        *,
        start: Assignment | None = None,
        progress: Callable[[float, GoalName, int | None, int | None], None] | None = None,
        watch: Callable[[Step], None] | None = None,
        **options: Any,
    ) -> None:
        self.job, self.order, self.clock, self.start = job, tuple(order), clock, start
        self.progress, self.options = progress, options
        self.state = State(self.order, lambda: clock.seconds, watch)
        self.branches = sorted(branches_of(job), key=lambda branch: list(branch.price.values()))
        self.empty = False
        self.used = {NAME}
        """Relaxations and tactics that the searches came to, and this one."""
        if start is not None and keeps_facts(job, start):
            self.state.offer(job, start)

    def solve(self) -> tuple[State, Stopped]:
        """Search the choices that can be best, the cheapest first, until everything is proven or the clock stops it."""
        by_gap, empty = False, []
        for i, branch in enumerate(self.branches):
            if self.clock.over:
                break
            if self._excluded(branch):
                continue
            self._look_at_divisions(branch)
            if self._excluded(branch):
                continue
            kept = self._spare(len(self.branches) - i - 1)
            made = self._search(branch)
            stopped = made.solve()[1]
            self.used |= made.used
            self.clock.reserve = kept
            made.enough(made.state)
            by_gap = by_gap or stopped == "gap"
            empty.append(made.empty)
            self._conclude()
        self._conclude()
        self.empty = len(empty) == len(self.branches) and all(empty)
        proven: Stopped = (
            "proven" if self.state.proven else "gap" if by_gap and not self.clock.over else self.clock.why()
        )
        return self.state, proven

    def _spare(self, others: int) -> Callable[[], float]:
        """Keep some of what is left of the limit for the choices to come; gives what was kept before."""
        before, left = self.clock.reserve, self.clock.left
        if left is not None and others:
            spared = left * SPARED * others / (others + 1)
            self.clock.reserve = lambda: before() + spared
        return before

    def _search(self, branch: Branch) -> Search:
        """Begin the search of a choice; what it finds counts at once."""
        job = self.job.with_ribbons(branch.work)
        start = self.start if self.start is not None and self._is_of(branch, self.start) else None
        made: list[Search] = []

        def watch(step: Step) -> None:
            if made and step.values is not None and made[0].state.best is not None:
                self._offer(branch, made[0].state.best)

        made.append(
            Search(job, self.order, self.clock, start=start, watch=watch, enough=self._beaten(branch), **self.options)
        )
        return made[0]

    def _beaten(self, branch: Branch) -> Callable[[State], bool]:
        """Tell of the search of a choice whether nothing can come of it any more."""

        def enough(state: State) -> bool:
            for step in state.trail[len(told) :]:
                told.append(step)
                if step.bound is not None:
                    branch.learn(step.bound)
            return self._excluded(branch)

        told: list[Step] = []
        return enough

    def _is_of(self, branch: Branch, plan: Assignment) -> bool:
        known = self.job.trunk_by_id
        return all(plan.ribbons.get(trunk, known[trunk].ribbons[0]) == word for trunk, word in branch.work.items())

    def _offer(self, branch: Branch, plan: Assignment) -> None:
        work = {trunk: word for trunk, word in branch.work.items() if trunk in plan.ways}
        before = self.state.vector
        self.state.offer(self.job, replace(plan, ribbons={**plan.ribbons, **work}))
        if self.progress is not None and self.state.vector != before:
            bounds = self.state.bounds
            goal = next((g for g in self.order if bounds.get(g) != self.state.value(g)), self.order[-1])
            self.progress(self.clock.seconds, goal, self.state.value(goal), bounds.get(goal))

    def _look_at_divisions(self, branch: Branch) -> None:
        """Note where no division of a choice lets every splice be placed."""
        divider = Divider(self.job.with_ribbons(branch.work))
        if divider.hopeless or divider.settle() is None:
            branch.bounds.append(Bound("unplaced", 1, "division"))

    def _excluded(self, branch: Branch) -> bool:
        """Whether it is proven that no plan of a choice is better than the best one."""
        if self.state.best is None:
            return False
        before: dict[GoalName, int] = {}
        for goal, value in zip(self.order, self.state.vector, strict=True):
            least = branch.bound(goal, before).value
            if least != value:
                return least > value
            before[goal] = value
        return True

    def _conclude(self) -> None:
        """Record of each goal what is proven in every choice whose plans can be as good in the goals before."""
        if self.state.best is None:
            return
        before: dict[GoalName, int] = {}
        left = list(self.branches)
        for goal, value in zip(self.order, self.state.vector, strict=True):
            least = min((branch.bound(goal, before) for branch in left), key=lambda bound: bound.value)
            least_value = min(least.value, value)
            self.state.record(goal, least_value, least.by, Given(dict(before)))
            if least_value < value:
                return
            left = [branch for branch in left if branch.bound(goal, before).value <= value]
            before[goal] = value


def branches_of(job: Job) -> list[Branch]:
    """Give every choice of what is done with ribbons, beside what is built, with what it costs."""
    words: dict[str, Sequence[RibbonWord]] = {}
    for trunk in job.ribbons_open:
        built = [pin.ribbons for pin in job.trunk_pins if pin.built and pin.trunk == trunk.id and pin.ribbons]
        words[trunk.id] = [word for word in trunk.ribbons if all(word == other for other in built)]
    return [
        Branch(work, price_of(job, work))
        for work in (dict(zip(words, w, strict=True)) for w in product(*words.values()))
    ]


def price_of(job: Job, work: Mapping[str, RibbonWord]) -> Price:
    """Give what a choice breaks, of trunks in the box."""
    price: Price = {"broken_must": 0, "broken_prefer": 0}
    for trunk, word in work.items():
        own = job.trunk_by_id[trunk].ribbons
        broken = [RibbonWork.id] * (AS_THEY_ARE in own and word != AS_THEY_ARE)
        broken += [ReRibbonised.id] * (isinstance(word, int) and any(not isinstance(other, int) for other in own))
        for rule in broken:
            setting = job.rules[rule]
            if setting.level == "must":
                price["broken_must"] += 1
            elif setting.level == "prefer":
                price["broken_prefer"] += setting.weight
    return price
