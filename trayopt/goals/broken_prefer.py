"""broken_prefer: broken preferences, by weight."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.goals.base import Goal
from trayopt.rules.judge import judge
from trayopt.rules.registry import BY_ID, weight_of
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Expression, Variables


class BrokenPrefer(Goal):
    """Broken (rule, subject) at level prefer, each times its rule's weight."""

    id = "broken_prefer"
    unit = "weighted broken subjects"
    statement = "broken (rule, subject) at level prefer, each times its rule's weight"

    def measure(self, job: Job, laid: Laid) -> int:
        """Add up the weights of the findings at level prefer."""
        return sum(
            weight_of(BY_ID[finding.rule], job.rules) for finding in judge(job, laid) if finding.level == "prefer"
        )

    def encode(self, job: Job, x: Variables) -> Expression:
        """Sum the groups at level prefer that the model lets go, each times its weight."""
        return x.broken("prefer")
