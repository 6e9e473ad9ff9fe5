"""The plan document of a completed table."""

from __future__ import annotations

from importlib.metadata import version

from trayopt.checker import measure
from trayopt.domain.plan import GoalName, Plan, PlanSolver
from trayopt.errors import SolverFault
from trayopt.review.desk import Review


def completed_plan(review: Review) -> Plan | None:
    """Return the plan of a table, with its open parts filled in; None if the table cannot be built as it is.

    Raises
    ------
    SolverFault
        If the completed plan fails its own check.
    """
    done = review.completion
    if done is None:
        return review.report.plan if review.report is not None and review.passed else None
    if done.assignment is None:
        return None
    bounds: dict[GoalName, int | None] = {
        goal: bound for goal, bound in done.bounds.items() if goal in {"unplaced", "broken_must"}
    }
    solver = PlanSolver(version=version("ortools"), seed=1, workers=2, deterministic_time=0.0)
    plan = measure(review.job, done.assignment, status="feasible", stopped="gap", bounds=bounds, solver=solver)
    if plan.value("unplaced") or plan.value("broken_must") or any(item.level == "always" for item in plan.broken):
        raise SolverFault("the completed plan fails its own check")
    return plan
