"""Proof of a changed job by its solution: every splice placed, every must kept, and how good the best plan found is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from trayopt.domain.assignment import Assignment
from trayopt.domain.explanation import GoalValue
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.goals.registry import measure_all
from trayopt.rules.judge import judge
from trayopt.solver.conflict.feasibility import Trials
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question
from trayopt.solver.model.in_time import in_time
from trayopt.solver.solve import Options, solve
from trayopt.track.laid import Laid

POLISH = 2.0
"""Deterministic time in which a plan that proves a way out is made better."""
WHOLE = 1.0
"""Deterministic time for the whole model of a changed job: what is not settled by then is not counted as a way out."""
MOST_KNOWN = 8
"""Number of the latest plans that are tried on a job before a search."""


@dataclass
class Prover:
    """Tries changed jobs; what was tried once is not tried again."""

    clock: Clock = field(default_factory=Clock)
    polish: float = POLISH
    plans: list[Assignment] = field(default_factory=list)
    """Plans that proved a way out before: they are tried first on the next job."""
    unsettled: int = 0
    """Number of jobs that could not be settled in time."""
    _goals: dict[str, tuple[GoalValue, ...]] = field(default_factory=dict)
    _best: dict[str, Assignment] = field(default_factory=dict)
    _known: dict[str, tuple[bool | None, Assignment | None]] = field(default_factory=dict)

    def possible(self, job: Job) -> bool | None:
        """Tell whether a job can be placed whole with every must kept; None where the clock ran out before that."""
        return self._try(job)[0]

    def assignment(self, job: Job) -> Assignment | None:
        """Return a plan that proves that a changed job is possible."""
        return self._try(job)[1]

    def _try(self, job: Job) -> tuple[bool | None, Assignment | None]:
        if job.digest not in self._known and self.clock.turn_over:
            self.unsettled += 1
            return None, None
        if job.digest not in self._known:
            known = next((plan for plan in reversed(self.plans[-MOST_KNOWN:]) if keeps_all(job, plan)), None)
            self._known[job.digest] = (True, known) if known is not None else self._search(job)
            self.unsettled += self._known[job.digest][0] is None
        return self._known[job.digest]

    def _search(self, job: Job) -> tuple[bool | None, Assignment | None]:
        question = Question(job)
        trials = Trials(question, self.clock, WHOLE)
        held = frozenset(question.groups)
        answer = trials.possible(held)
        plan = trials.plan(held)
        if plan is None:
            return answer, None
        self.plans.append(plan.assignment)
        return answer, plan.assignment

    def goals(self, job: Job) -> tuple[GoalValue, ...] | None:
        """Return the goals of the best plan found of a changed job; None where it is not proven to have one."""
        proof = self.assignment(job)
        if proof is None:
            return None
        if job.digest not in self._goals:
            self._goals[job.digest] = self._polished(job, proof)
        return self._goals[job.digest]

    def best(self, job: Job) -> Assignment:
        """Return the plan whose goals ``goals`` gave."""
        return self._best[job.digest]

    @property
    def _seconds_left(self) -> float | None:
        """What is left by the wall clock; None where that is none of the clock's business."""
        return None if self.clock.deterministic else self.clock.left

    def _polished(self, job: Job, proof: Assignment) -> tuple[GoalValue, ...]:
        self._best[job.digest] = proof
        values = measure_all(Laid(job, proof))
        if self.clock.over or self.polish <= 0:
            return goal_values(values)
        options = Options(time_limit_s=self.polish, reproducible=True, workers=1, start=proof)
        better = in_time(lambda: solve(job, options), Clock(self._seconds_left, interrupted=self.clock.interrupted))
        if better is None:
            return goal_values(values)
        self.clock.effort += better.solver.deterministic_time
        found = measure_all(Laid(job, better.assignment))
        if tuple(found.values()) < tuple(values.values()):
            self._best[job.digest] = better.assignment
        return goal_values(min(values, found, key=lambda goals: tuple(goals.values())), better.bounds)


def keeps_all(job: Job, plan: Assignment) -> bool:
    """Whether a plan that was made for another job places every splice of this job and keeps every must."""
    box = job.enclosure
    if any(place not in box.place_rank for place in plan.places.values()):
        return False
    if any(way.port not in box.port_by_id for way in plan.ways.values()):
        return False
    ends = {(stack.id, end.id) for stack in box.stacks for end in stack.ends}
    if any(used not in ends for used in plan.ends.items()):
        return False
    if any(leg.trunk not in job.trunk_by_id for leg in plan.places):
        return False
    laid = Laid(job, plan)
    if any(place is None for _, place in laid.piece_places):
        return False
    return not any(finding.level in {"always", "must"} for finding in judge(job, laid))


def goal_values(
    values: Mapping[GoalName, int], bounds: Mapping[GoalName, int | None] | None = None
) -> tuple[GoalValue, ...]:
    """Return goals as they stand in an explanation, with the bounds that hold for them.

    A bound holds where the goals before it are at their values. Nothing is known of a goal behind one that is not
    proven, and no splice without a tray and no broken must cannot be less.
    """
    found: list[GoalValue] = []
    known = True
    for goal, value in values.items():
        bound = (bounds or {}).get(goal) if known else None
        found.append(GoalValue(goal=goal, value=value, bound=0 if value == 0 else bound))
        known = found[-1].proven
    return tuple(found)


def both(one: GoalValue, other: GoalValue) -> GoalValue:
    """Return the goal of two boxes together."""
    bound = None if one.bound is None or other.bound is None else one.bound + other.bound
    return GoalValue(goal=one.goal, value=one.value + other.value, bound=bound)
