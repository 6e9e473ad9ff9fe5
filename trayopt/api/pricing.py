"""F5: the prices of a job's preferences, and which of them are worth reporting."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from threading import Event
from typing import TYPE_CHECKING

from trayopt.api.solving import solve
from trayopt.domain.job import Job

if TYPE_CHECKING:
    from trayopt.domain.labour import Labour
    from trayopt.domain.plan import Plan
    from trayopt.domain.prices import Prices


def prices(
    job: Job,
    best: Plan | None = None,
    *,
    time_limit_s: float | None = 60.0,
    reproducible: bool = False,
    pace: Labour | None = None,
) -> Prices | None:
    """Price the preferences of a job: compare legs, trays, metres and crew minutes of the best plan with and without each.

    Parameters
    ----------
    job
        The job, as ``load_job`` returns it.
    best
        The best plan, if it is known; otherwise it is searched for.
    time_limit_s
        Most seconds, or with ``reproducible`` the solver's deterministic time. A price that is not proven by then says so.
    reproducible
        Work without the wall clock: the prices are always the same.
    pace
        Minutes of each kind of work; None stands for the usual paces of the sheets.

    Returns
    -------
    Prices or None
        None if no plan is known that places every splice and keeps every must; ``explain`` says why.

    Raises
    ------
    InputError
        If ``best`` names something that the job does not have.
    """
    from trayopt.checker import assignment_of
    from trayopt.domain.labour import Labour
    from trayopt.explainer.prices import Known
    from trayopt.explainer.prices import prices as price_all
    from trayopt.solver.model.clock import Clock

    clock = Clock(time_limit_s, deterministic=reproducible)
    if best is None:
        limit = None if time_limit_s is None else PRICE_PART * time_limit_s
        best = solve(job, time_limit_s=limit, reproducible=reproducible, explain=False).plan
        clock.effort += best.solver.deterministic_time
    if not _whole(best):
        return None
    known = Known(assignment_of(job, best)[0], proven=best.status == "optimal")
    return price_all(job, known, clock, pace or Labour())


PRICE_PART = 0.4
"""Part of the time that is spent on the search for the best plan."""


@dataclass(frozen=True)
class Habits:
    """What is worth reporting about the preferences of a complete plan.

    ``dear`` has a line for each preference that costs more crew minutes than the limit, or may do so, if that was not settled.
    ``never`` holds the root of each broken preference that no plan of the job can keep, by rule and subject.
    """

    dear: tuple[str, ...] = ()
    never: Mapping[tuple[str, str], str] = field(default_factory=dict)


def habits(
    job: Job,
    plan: Plan,
    *,
    more_than_min: float | None = None,
    time_limit_s: float | None = None,
    reproducible: bool = False,
    pace: Labour | None = None,
    stop: Event | None = None,
) -> Habits:
    """Find the preferences of a plan that are worth reporting: the expensive ones, and the ones that no plan can keep.

    Parameters
    ----------
    job, plan
        The job and its plan; nothing is reported for a plan that is not complete.
    more_than_min
        A preference is reported if it costs more crew minutes than this; None stands for the usual limit.
    time_limit_s, reproducible
        Most seconds, or with ``reproducible`` the solver's deterministic time. What is not found by then is not reported.
    pace
        Minutes of each kind of work; None stands for the usual paces of the sheets.
    stop
        Event that ends the work when it is set by another thread or a handler of signals.

    Raises
    ------
    InputError
        If the plan names something that the job does not have.
    """
    from trayopt.checker import assignment_of
    from trayopt.domain.labour import DEAR_MIN, Labour
    from trayopt.explainer.never import never_kept
    from trayopt.explainer.price_words import price_line, unsettled_line
    from trayopt.explainer.prices import Known
    from trayopt.explainer.prices import prices as price_all
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.in_time import in_time

    if not _whole(plan):
        return Habits()
    best = assignment_of(job, plan)[0]
    most = None if time_limit_s is None else time_limit_s * 2 / 3  # what no plan can keep matters more than a price
    first = Clock(most, deterministic=reproducible)
    never = in_time(lambda: never_kept(job, best, first), first, stop) or ()
    clock = Clock(time_limit_s, reproducible, first.started, first.effort)
    known, limit = Known(best, proven=plan.status == "optimal"), DEAR_MIN if more_than_min is None else more_than_min
    found = in_time(lambda: price_all(job, known, clock, pace or Labour(), more_than=limit, stop=stop), clock, stop)
    dear: tuple[str, ...] = ()
    if found is not None:
        dear = tuple(price_line(price, found.best) for price in found.priced)
        if not dear and found.open and found.best.minutes - found.least_minutes > limit:
            dear = (unsettled_line(found),)
    return Habits(dear, {(item.rule, item.subject): item.root for item in never})


def _whole(plan: Plan) -> bool:
    """Whether a plan states that every splice is placed and every must is kept."""
    return plan.status != "none" and not plan.value("unplaced") and not plan.value("broken_must")
