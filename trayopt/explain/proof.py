"""Proof of a changed job by its solution: every splice placed, every must kept, and how good the best plan found is."""

from __future__ import annotations

from dataclasses import dataclass, field

from trayopt.domain.assignment import Assignment
from trayopt.domain.explanation import GoalValue
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.goals.registry import measure_all
from trayopt.solve.conflict_groups import Question
from trayopt.solve.conflict_trial import Trials
from trayopt.solve.solver import Options, solve
from trayopt.solve.stop import Clock
from trayopt.track.laid import Laid

POLISH = 0.5
"""Deterministic time in which a plan that proves a way out is made better."""


@dataclass
class Prover:
    """Tries changed jobs; what was tried once is not tried again."""

    clock: Clock = field(default_factory=Clock)
    polish: float = POLISH
    _known: dict[str, tuple[bool | None, Assignment | None]] = field(default_factory=dict)

    def possible(self, job: Job) -> bool | None:
        """Tell whether a job can be placed whole with every must kept; None where the clock ran out before that."""
        return self._try(job)[0]

    def assignment(self, job: Job) -> Assignment | None:
        """Give a plan that proves it."""
        return self._try(job)[1]

    def _try(self, job: Job) -> tuple[bool | None, Assignment | None]:
        if job.digest not in self._known:
            question = Question(job)
            trials = Trials(question, self.clock)
            held = frozenset(question.groups)
            answer = trials.possible(held)
            plan = trials.plan(held)
            self._known[job.digest] = (answer, None if plan is None else plan.assignment)
        return self._known[job.digest]

    def goals(self, job: Job) -> tuple[GoalValue, ...] | None:
        """Give the goals of the best plan found of a changed job; None where it is not proven to have one."""
        proof = self.assignment(job)
        if proof is None:
            return None
        values = measure_all(Laid(job, proof))
        if not self.clock.over and self.polish > 0:
            better = solve(job, Options(time_limit_s=self.polish, reproducible=True, workers=1, start=proof))
            found = measure_all(Laid(job, better.assignment))
            values = min(values, found, key=lambda goals: tuple(goals.values()))
        return goal_values(values)


def goal_values(values: dict[GoalName, int]) -> tuple[GoalValue, ...]:
    """Give goals as they stand in an explanation."""
    return tuple(GoalValue(goal=goal, value=value) for goal, value in values.items())
