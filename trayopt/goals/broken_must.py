"""broken_must: broken rules of practice at level must."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.goals.base import Goal
from trayopt.rules.judge import judge
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Expression, Variables


class BrokenMust(Goal):
    """Broken (rule, subject) at level must."""

    id = "broken_must"
    unit = "broken subjects"
    statement = "broken (rule, subject) at level must"

    def measure(self, job: Job, laid: Laid) -> int:
        """Count the findings at level must."""
        return sum(finding.level == "must" for finding in judge(job, laid))

    def encode(self, job: Job, x: Variables) -> Expression:
        """Sum the groups at level must that the model lets go."""
        return x.broken("must")
