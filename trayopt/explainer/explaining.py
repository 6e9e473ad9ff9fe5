"""A whole explanation: the conflicts, the ways out, the reasons of the best plan, and an expected plan compared with it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import islice
from typing import NamedTuple

from trayopt.checker import assignment_of
from trayopt.domain.assignment import Assignment
from trayopt.domain.base import remade
from trayopt.domain.explanation import Explanation, GoalCost
from trayopt.domain.former import names_job
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName, Plan
from trayopt.errors import InputError
from trayopt.explainer.bounds import bounds
from trayopt.explainer.cost_words import better
from trayopt.explainer.expected import expected
from trayopt.explainer.preferences import preferences
from trayopt.explainer.summary import summary
from trayopt.explainer.why_not import Wishes, short, trials_of, why_not
from trayopt.goals.registry import GOALS
from trayopt.solver.conflict.feasibility import Trials
from trayopt.solver.model.built_pins import contradicting
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.decisions import Given
from trayopt.solver.model.in_time import in_time
from trayopt.solver.solve import Options, Solution, solve
from trayopt.track.laid import Laid

SHARE = 0.4
"""The part of the time that is left in which the best plan is searched for."""


@dataclass(frozen=True)
class Found:
    """The best plan, its decisions, and bounds with their authors; ``claimed`` tells that a file gave them, unproven here."""

    assignment: Assignment
    bounds: dict[GoalName, int | None]
    by: Mapping[GoalName, str | None]
    optimal: bool
    claimed: bool = False


def explain(
    job: Job, clock: Clock, wishes: Wishes, *, given: Given | None = None, plan: Plan | None = None
) -> Explanation:
    """Explain a job.

    Parameters
    ----------
    job
        The job.
    clock
        When to stop; what is not proven by then is said not to be.
    wishes
        How many conflicts and ways out, what they cost, and what is at hand.
    given
        A plan that is expected.
    plan
        The best plan of the job, where it is known; it is searched for where it is needed and is not.

    Raises
    ------
    InputError
        Where built pins contradict each other.
    """
    if any(pin.built for pin in job.pins):
        _refuse_contradictions(job)
    so_far = [_SoFar(Explanation())]
    done = in_time(lambda: _explain(job, clock, wishes, given, plan, so_far.append), clock)
    if done is None and clock.interrupted and len(so_far) == 1:
        raise KeyboardInterrupt
    made = remade(so_far[-1].made, out_of_time=clock.over or done is None)
    return remade(made, summary=summary(job, made, refuted=so_far[-1].refuted))


class _SoFar(NamedTuple):
    """What is known so far, and the goal on which a plan in hand is better than the one that was given as the best."""

    made: Explanation
    refuted: GoalCost | None = None


def _explain(
    job: Job, clock: Clock, wishes: Wishes, given: Given | None, plan: Plan | None, tell: Callable[[_SoFar], None]
) -> bool:
    """Make all parts of an explanation, and report each part as soon as it is known."""
    known = _known(job, plan)
    whole_plans = [known.assignment] if known is not None and _whole(job, known) else []
    trials = trials_of(job, clock, whole_plans)
    made = why_not(trials, wishes, lambda part: tell(_SoFar(part)))
    if not made.conflicts:
        best = known if known is not None and _whole(job, known) else _search(job, clock, trials)
        whole = best is not None and _whole(job, best) and not _musts(job, best)
        named = iter(preferences(job, best.assignment, clock) if best is not None and whole else ())
        for broken in islice(named, 1):
            made = remade(made, preferences=broken, optimal=best is not None and best.optimal)
            tell(_SoFar(made))
        if given is not None:
            kept = best.assignment if best is not None and whole else None
            said, found, ways = expected(job, given, kept, clock, wishes.conflicts, wishes.ways_out)
            made = remade(made, expected=said, conflicts=found, ways_out=ways)
            tell(_SoFar(made))
        for broken in named:
            made = remade(made, preferences=broken)
            tell(_SoFar(made))
        if best is not None and whole:
            refuted = _better(made) if best.claimed else None
            held = bounds(
                job,
                best.assignment,
                best.bounds,
                best.by,
                made.preferences or (),
                claimed=best.claimed,
                refuted=refuted,
            )
            tell(_SoFar(remade(made, bounds=held), refuted))
    return True


def _better(made: Explanation) -> GoalCost | None:
    """Return the first goal on which a known plan is better than the plan that was given as the best."""
    costs = [item.cost for item in (*(made.preferences or ()), made.expected) if item is not None and item.cost]
    found = {cost.goal: cost for cost in filter(None, map(better, costs))}
    return next((found[goal.id] for goal in GOALS if goal.id in found), None)


def _refuse_contradictions(job: Job) -> None:
    pins = contradicting(job)
    if pins:
        raise InputError.one(
            f"the built pins {', '.join(pins)} cannot all be kept",
            hint="they contradict each other, an always rule or a physical rule at must: correct them or that rule's level",
        )


def explain_short(job: Job, plan: Plan, clock: Clock) -> Explanation:
    """Return the first conflict of a plan that leaves splices unplaced or musts broken."""
    unplaced, broken = plan.value("unplaced"), plan.value("broken_must")
    known = _known(job, plan)
    whole = known is not None and _whole(job, known)
    return short(job, clock, unplaced, broken, [known.assignment] if known is not None and whole else [])


def _known(job: Job, plan: Plan | None) -> Found | None:
    if plan is None or plan.status == "none" or not names_job(plan.job, job):
        return None
    assignment, _ = assignment_of(job, plan)
    bounds_of, by = ({item.goal: getattr(item, key) for item in plan.goals} for key in ("bound", "by"))
    return Found(assignment, bounds_of, by, optimal=False, claimed=True)


def _search(job: Job, clock: Clock, trials: Trials) -> Found | None:
    """Search for the best plan, starting from a plan that keeps every must; without time left, return the start."""
    start = trials.plan(frozenset(trials.question.groups))
    begun = None if start is None else start.assignment
    if clock.over:
        return None if begun is None else Found(begun, {}, {}, optimal=False)
    left = None if clock.left is None else clock.left * SHARE
    found: Solution = solve(job, Options(time_limit_s=left, reproducible=clock.deterministic, start=begun))
    if found.status == "none":
        return None
    return Found(found.assignment, dict(found.bounds), found.by, found.status == "optimal")


def _whole(job: Job, found: Found) -> bool:
    """Whether a plan places every splice."""
    return all(place is not None for _, place in Laid(job, found.assignment).piece_places)


def _musts(job: Job, found: Found) -> int:
    from trayopt.goals.registry import measure_all

    return measure_all(Laid(job, found.assignment))["broken_must"]
