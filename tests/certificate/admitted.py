"""Whether the rows of a job let in a plan of some goals: asked of a solver that counts in whole numbers."""

from __future__ import annotations

from collections.abc import Mapping

from ortools.sat.python import cp_model

from trayopt.certificate.check import System
from trayopt.certificate.rules import plans_of
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.goals.registry import GOALS


def solvable(system: System) -> bool:
    """Whether some whole numbers meet all rows."""
    model = cp_model.CpModel()
    numbers = [model.new_int_var(least, most, "") for least, most in system.bounds]
    for row in system.rows.values():
        total = sum(factor * numbers[number] for number, factor in row.terms.items())
        model.add(total == row.most if row.equal else total <= row.most)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    status = solver.solve(model)
    assert status in {cp_model.OPTIMAL, cp_model.FEASIBLE, cp_model.INFEASIBLE}
    return status != cp_model.INFEASIBLE


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
