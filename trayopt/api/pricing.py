"""F5: the prices of a job's preferences, and which of them are worth reporting."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial
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
    *_, found = price_all(job, known, clock, pace or Labour())
    return found


PRICE_PART = 0.4
"""Part of the time that is spent on the search for the best plan."""


LOOK_PART, LEAST_LOOK = 0.25, 2.0
"""Effort of a look at preferences: a part of the search's deterministic time, but at least so much."""
NEVER_PART = 2 / 3
"""Most of it that is spent on preferences that no plan can keep: they matter more than a price."""


def usual_effort(plan: Plan) -> float:
    """Return the deterministic time of a look at the preferences of a plan: it grows with that of the search."""
    return max(LEAST_LOOK, LOOK_PART * plan.solver.deterministic_time)


@dataclass(frozen=True)
class Habits:
    """What is worth reporting about the preferences of a complete plan.

    ``dear`` has a line for each preference that costs more crew minutes than the limit. If there is none, it has a line if
    several preferences cost more together, or may do so, if that was not settled.
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
    effort: float | None = None,
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
    time_limit_s
        Most seconds; what is not found by then is not reported. None for no limit.
    effort
        Most deterministic time of the solver, which repeats exactly; None stands for ``usual_effort(plan)``.
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
    from trayopt.explainer.price_words import price_line, together_line, unsettled_line
    from trayopt.explainer.prices import Known
    from trayopt.explainer.prices import prices as price_all
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.in_time import in_time

    if not _whole(plan):
        return Habits()
    best = assignment_of(job, plan)[0]
    most = usual_effort(plan) if effort is None else effort
    clock = Clock(time_limit_s)
    with clock.turn(most * NEVER_PART):
        never = in_time(lambda: never_kept(job, best, clock), clock, stop) or ()
    known, limit = Known(best, proven=plan.status == "optimal"), DEAR_MIN if more_than_min is None else more_than_min
    so_far: list[Prices] = []
    price = partial(price_all, job, known, clock, pace or Labour(), more_than=limit, stop=stop)
    with clock.turn(most - clock.effort):
        in_time(lambda: so_far.extend(price()), clock, stop)
    found = so_far[-1] if so_far else None
    dear: tuple[str, ...] = ()
    if found is not None:
        dear = tuple(price_line(price, found.best) for price in found.priced)
        together = found.together
        saved = found.best.minutes - together.without.minutes if together is not None else 0
        cheap = together is not None and together.without.proven and saved <= limit
        if not dear and together is not None and saved > limit:
            weights = {rule: job.rules[rule].weight for rule in together.rules}
            dear = (together_line(found, weights, limit),)
        elif not dear and not cheap and found.open and found.best.minutes - found.least_minutes > limit:
            dear = (unsettled_line(found),)
    return Habits(dear, {(item.rule, item.subject): item.root for item in never})


def _whole(plan: Plan) -> bool:
    """Whether a plan states that every splice is placed and every must is kept."""
    return plan.status != "none" and not plan.value("unplaced") and not plan.value("broken_must")
