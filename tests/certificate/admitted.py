"""Whether the rows of a job let in a plan of some goals: asked of a solver that counts in whole numbers."""

from __future__ import annotations

from collections.abc import Mapping

from trayopt.certificate.check import System
from trayopt.certificate.rules import plans_of
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.goals.registry import GOALS
from trayopt.solver.certify import lets_in
from trayopt.solver.model.clock import Clock


def solvable(system: System) -> bool:
    """Whether some whole numbers meet all rows."""
    found = lets_in(system, Clock())
    assert found is not None
    return found


def admitted(job: Job, values: Mapping[str, int]) -> bool:
    """Whether the rows let in a plan that is as good as these goals, in each order in which they may be given.

    Rows differ by what is given, so that all goals up to each one are given in turn, and the one after it is asked for.
    """
    given: dict[GoalName, int] = {}
    for goal in (item.id for item in GOALS):
        value = values[goal]
        for orders in (False, True) if given.get("unplaced") == 0 else (False,):
            plans = plans_of(job, given, orders=orders)
            if goal in plans.goals:
                plans.below(goal, value + 1)
            if not solvable(plans):
                return False
        given[goal] = value
    return solvable(plans_of(job, given, orders=given["unplaced"] == 0))
