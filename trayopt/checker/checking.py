"""The check of a plan: it is judged and measured again from its decisions alone, and then compared with its claims."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from trayopt.checker.claims import assignment_of, row_leg
from trayopt.checker.compare import differences, rows
from trayopt.checker.measure import document, legs_of
from trayopt.checker.report import Difference, Report
from trayopt.domain.assignment import Assignment
from trayopt.domain.former import names_job
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName, Plan, PlanSolver, Status
from trayopt.goals.registry import BY_ID, measure_all, order
from trayopt.rules.judge import judge
from trayopt.track.laid import Claim, Laid


def check(job: Job, plan: Plan, source: str = "<plan>") -> Report:
    """Check a plan document: every rule, and every figure that it claims.

    Parameters
    ----------
    job, plan
        The job, and the plan; only ports, travels, loops, divisions and tray places are believed.
    source
        The name of the plan in errors.

    Raises
    ------
    InputError
        If the plan has trunks, ports, places, ends or legs that the job does not have.
    """
    return check_laid(lay(job, plan, source), plan)


def lay(job: Job, plan: Plan, source: str = "<plan>") -> Laid:
    """Lay a plan document out in its box, by its decisions alone.

    Raises
    ------
    InputError
        If the plan has trunks, ports, places, ends or legs that the job does not have.
    """
    return Laid(job, *assignment_of(job, plan, source))


def check_laid(laid: Laid, plan: Plan | None = None) -> Report:
    """Check a plan that is laid out (see ``lay``). Without a document, only rules are checked, and figures measured."""
    if plan is None:
        nobody = PlanSolver(version="none", seed=0, workers=0, deterministic_time=0.0)
        return _report(laid, document(laid, status="feasible", stopped="interrupted", bounds={}, solver=nobody), ())
    names = [item.goal for item in plan.goals]
    usual = not _can_be_order(names)
    values = measure_all(laid)
    bounds = _bounds(values, plan)
    right = document(
        laid,
        status=_status(values, bounds, nothing=plan.status == "none" and not laid.place_of),
        stopped=plan.stopped,
        bounds=bounds,
        solver=plan.solver,
        goal_order=None if usual else names,
        by={item.goal: item.by for item in plan.goals if bounds[item.goal] is not None},
    )
    figures = list(_figures(laid, plan, right))
    if usual:
        figures.insert(0, Difference("goals", names, [item.goal for item in right.goals]))
    return _report(laid, right, figures)


def check_assignment(job: Job, assignment: Assignment, claims: Sequence[Claim] | None = None) -> Report:
    """Check decisions that came without figures, such as those of a hand-made table.

    Parameters
    ----------
    job, assignment
        The job, and the decisions that can stand (``assignment_of_claims`` makes them of claims).
    claims
        The rows as they were written, for the rules that always hold; those of the assignment where none are given.
    """
    return check_laid(Laid(job, assignment, claims))


def _can_be_order(names: Sequence[str]) -> bool:
    try:
        order(names)
    except ValueError:
        return False
    return len(names) == len(BY_ID)


def _bounds(values: Mapping[GoalName, int], plan: Plan) -> dict[GoalName, int | None]:
    """Return the bounds of a plan, without those that its own values refute."""
    return {
        item.goal: item.bound if item.bound is not None and item.bound <= values[item.goal] else None
        for item in plan.goals
    }


def _status(values: Mapping[GoalName, int], bounds: Mapping[GoalName, int | None], *, nothing: bool) -> Status:
    """Return the status that values and bounds make: optimal where they meet on all goals, ``nothing`` where none was found."""
    if all(bounds.get(goal) == value for goal, value in values.items()):
        return "optimal"
    return "none" if nothing else "feasible"


def _report(laid: Laid, right: Plan, figures: Sequence[Difference]) -> Report:
    return Report(tuple(judge(laid.job, laid)), right.value("unplaced"), tuple(figures), right)


def _figures(laid: Laid, plan: Plan, right: Plan) -> Iterator[Difference]:
    """Compare a plan with the right one; legs are paired by what they are, not by what they are called."""
    job = laid.job
    claimed_data, right_data = plan.plain(), right.plain()
    claimed_legs = claimed_data.pop("legs")
    right_legs = right_data.pop("legs")
    explanation = claimed_data.pop("explanation", None)
    for data in (claimed_data, right_data):
        del data["solver"], data["job"]
    if not names_job(plan.job, job):
        yield Difference("job.digest", plan.job.digest, job.digest)
    yield from differences(claimed_data, right_data)
    yield from rows(
        [
            (leg or i, str(leg or row.leg), data)
            for i, (row, data) in enumerate(zip(plan.legs, claimed_legs, strict=True))
            for leg in (row_leg(job, row),)
        ],
        [(leg, str(leg), data) for leg, data in zip(legs_of(laid), right_legs, strict=True)],
        "legs",
    )
    if plan.status == "optimal" != right.status:
        for item in right.goals:
            if item.bound != item.value:
                yield Difference(f"goals[{item.goal}].bound", item.bound, item.value)
    if (plan.stopped == "proven") != (right.status == "optimal"):
        allowed = "proven" if right.status == "optimal" else "time_limit, gap or interrupted"
        yield Difference("stopped", plan.stopped, allowed)
    if explanation is not None and not right.value("unplaced") and not right.value("broken_must"):
        yield Difference("explanation", explanation, None)
