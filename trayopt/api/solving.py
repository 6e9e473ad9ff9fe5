"""F5: solve a job, and check the plan before it is returned."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from threading import Event
from typing import TYPE_CHECKING

from trayopt.domain.base import remade
from trayopt.domain.job import Job

if TYPE_CHECKING:
    from trayopt.checker import Report
    from trayopt.domain.plan import Plan
    from trayopt.solver.model.bound import Step
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.solve import Progress


@dataclass(frozen=True)
class Result:
    """The result of solving a job: the plan document, and the report of its check."""

    plan: Plan
    report: Report

    @property
    def complete(self) -> bool:
        """Whether every splice is placed and every must is kept."""
        return self.plan.status != "none" and self.report.passed


def solve(
    job: Job,
    *,
    time_limit_s: float | None = None,
    gap: float | None = None,
    workers: int = 8,
    seed: int = 1,
    reproducible: bool = False,
    start: Plan | None = None,
    goals: Sequence[str] | None = None,
    progress: Progress | None = None,
    watch: Callable[[Step], None] | None = None,
    every_plan: bool = False,
    without: Iterable[str] = (),
    explain: bool = True,
    stop: Event | None = None,
) -> Result:
    """Find the best plan of a job, and check it before it is returned.

    Parameters
    ----------
    job
        The job, as ``load_job`` returns it.
    time_limit_s
        Most seconds for the whole call; with ``reproducible``, the solver's deterministic time instead of wall time.
    gap
        Leave a goal when value - bound is at most this part of the value.
    workers, seed
        Search threads, and the seed of their random choices.
    reproducible
        Work with one worker and without the wall clock: the plan is the same byte for byte.
    start
        A plan to begin with.
    goals
        legs, trays, crossings and leg_length_mm, or some of them, in the order in which they count.
    progress
        Called with seconds, goal, value and bound.
    watch
        Called with each step of the trail: a better plan, or a better bound with its author and the limits within which it holds.
    every_plan
        Call ``watch`` for each better plan as soon as the solver finds it, and not only for the last plan of a run. Each plan
        then costs a recount.
    without
        Names of relaxations and tactics of the search that are left out.
    explain
        Whether to look for the first conflict if splices stay unplaced or musts are broken. This takes at most ``EXPLAIN_S``
        seconds, which are part of the limit.
    stop
        Event that ends the search with the best plan so far, as Ctrl-C does, when another thread or a handler of signals sets it.

    Returns
    -------
    Result
        ``plan`` is the plan document with lengths in mm, and ``report`` the report of its check.

    Raises
    ------
    InputError
        If built pins contradict each other, ``start`` is not a plan of the job, or the goals cannot be ordered so.
    SolverFault
        If the plan fails its own check.
    """
    from trayopt.checker import assignment_of, check, measure
    from trayopt.errors import InputError, SolverFault
    from trayopt.goals.registry import order
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.in_time import margin
    from trayopt.solver.solve import Options
    from trayopt.solver.solve import solve as search

    first = assignment_of(job, start, "<start>")[0] if start is not None else None
    try:
        order(goals)
    except ValueError as wrong:
        raise InputError.one(str(wrong), source="--goals") from wrong
    limit = time_limit_s if time_limit_s is None or reproducible else time_limit_s - margin(time_limit_s)
    clock = Clock(limit, deterministic=reproducible)
    reserve = min(EXPLAIN_S, EXPLAIN_PART * limit) if explain and limit is not None else 0.0
    options = Options(
        limit, gap, workers, seed, reproducible, first, tuple(goals) if goals is not None else None,
        frozenset(without), reserve, every_plan,
    )  # fmt: skip
    found = search(job, options, progress, watch, stop)
    plan = measure(
        job,
        found.assignment,
        status=found.status,
        stopped=found.stopped,
        bounds=found.bounds,
        solver=found.solver,
        goal_order=found.order,
        by=found.by,
    )
    if explain:
        clock.effort = found.solver.deterministic_time
        plan = _with_conflict(job, plan, clock, stop)
    report = check(job, plan, "<own plan>")
    broken = report.at("always") if plan.status != "none" else ()
    if report.figures or broken:
        wrong_parts = [str(item) for item in (*report.figures, *broken)]
        raise SolverFault("the plan fails its own check: " + "; ".join(wrong_parts))
    return Result(plan, report)


EXPLAIN_S = 10.0
"""Time limit in seconds in which ``solve`` looks for the first conflict; deterministic time if the plan must be reproducible."""


EXPLAIN_PART = 0.2
"""Greatest part of a limit that is kept for the explanation, until a plan is known that needs none."""


def _with_conflict(job: Job, plan: Plan, clock: Clock, stop: Event | None) -> Plan:
    """Add the first conflict to a plan that leaves splices unplaced or musts broken; ``clock`` is the clock of the whole call."""
    if plan.status == "none" or not (plan.value("unplaced") or plan.value("broken_must")):
        return plan
    if plan.stopped == "interrupted" or clock.over:
        return plan
    from trayopt.explainer.explaining import explain_short
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.in_time import in_time

    limit = EXPLAIN_S if clock.left is None else min(EXPLAIN_S, clock.left)
    rest = Clock(limit, deterministic=clock.deterministic)
    made = in_time(lambda: explain_short(job, plan, rest), rest, stop)
    return plan if made is None else remade(plan, explanation=made.plain())
