"""Preferences that an optimal plan breaks: the reason for each, and the price of keeping it."""

from __future__ import annotations

from collections.abc import Iterator

from trayopt.domain.assignment import Assignment
from trayopt.domain.explanation import GoalCost, PreferenceSaid
from trayopt.domain.finding import Group
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.domain.said import said as said_as
from trayopt.explainer.never import together, why_never
from trayopt.explainer.words import named, said
from trayopt.goals.registry import measure_all
from trayopt.rules.judge import judge
from trayopt.rules.registry import BY_ID
from trayopt.rules.words import chained
from trayopt.solver.conflict.feasibility import Trials
from trayopt.solver.conflict.minimal import Conflict, conflict
from trayopt.solver.conflict.prices import Price, price
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question, merged
from trayopt.track.laid import Laid

STANDS = "{groups} excludes it|{groups} exclude it"
IN_EVERY_PLAN = "{groups} excludes it in every plan|{groups} exclude it in every plan"


def preferences(job: Job, best: Assignment, clock: Clock) -> Iterator[tuple[PreferenceSaid, ...]]:
    """Explain every preference that a plan breaks; the plan places every splice and keeps every must.

    Yields
    ------
    tuple
        All broken preferences: first none of them is explained, then one more each time.
    """
    laid = Laid(job, best)
    broken: dict[Group, str] = {}
    for finding in judge(job, laid):
        if finding.level == "prefer":
            broken.setdefault(merged(BY_ID[finding.rule], finding.subject), finding.because)
    made = {group: _open(group, why) for group, why in broken.items()}
    yield tuple(made.values())
    if not broken:
        return
    trials = Trials(Question(job, levels=("must", "prefer")), clock)
    trials.offer(best)
    for group, why in broken.items():
        if clock.over:
            return
        made[group] = _one(job, trials, best, group, why, frozenset(broken))
        yield tuple(made.values())


def _open(group: Group, why: str) -> PreferenceSaid:
    """Name a preference that is broken for a reason that is not known yet."""
    return PreferenceSaid(
        rule=group.rule,
        subject=group.subject,
        because=why,
        reason=said_as("the time ended before the search for what excludes it"),
        against=(),
        minimal=False,
        possible=None,
        cost=None,
        never=False,
    )


def _one(
    job: Job, trials: Trials, best: Assignment, group: Group, why: str, broken: frozenset[Group]
) -> PreferenceSaid:
    """Explain one: whatever the plan keeps clashes with it, or the plan would not be the best."""
    groups = trials.question.groups
    musts = frozenset(item for item in groups if not _prefers(job, item))
    against = conflict(trials, [item for item in groups if item not in broken], frozenset({group}))
    held = together(trials.question, group)
    never = (against is not None and not against.groups) or (len(held) > 1 and trials.excluded(held) is True)
    possible = trials.possible(musts | {group})
    plan = trials.plan(musts | {group}) if possible else None
    cost = None
    if plan is not None and not never:
        paid = price(trials.question, {group}, plan.assignment, trials.clock, beside=(best,))
        cost = costs(measure_all(Laid(job, best)), paid)
    return PreferenceSaid(
        rule=group.rule,
        subject=group.subject,
        because=why,
        reason=why_never(trials, held) if never else _sentence(against, job, kept=possible is not False),
        against=tuple(said(job, item) for item in against.groups) if against is not None and not never else (),
        minimal=against is not None and against.minimal,
        possible=possible,
        cost=cost,
        never=never,
    )


def _prefers(job: Job, group: Group) -> bool:
    return group.rule in BY_ID and job.rules[group.rule].level == "prefer"


def _sentence(against: Conflict | None, job: Job, *, kept: bool) -> str:
    if against is None:
        return said_as(
            "nothing that the plan keeps was found to exclude it; the plan breaks it to be better on another goal"
        )
    musts = [item for item in against.groups if not _prefers(job, item)]
    wishes = [item for item in against.groups if _prefers(job, item)]
    parts = []
    if musts:
        parts.append(said_as("the must {groups}|the musts {groups}", n=len(musts), groups=named(musts)))
    if wishes:
        parts.append(said_as("the preference {groups}|the preferences {groups}", n=len(wishes), groups=named(wishes)))
    form = STANDS if kept else IN_EVERY_PLAN
    return said_as(form, groups=chained(parts, "{first} and {then}"), n=len(against.groups))


def costs(now: dict[GoalName, int], paid: Price) -> tuple[GoalCost, ...]:
    """Return each goal with its value before and after."""
    return tuple(
        GoalCost(goal=goal, value=value, kept=paid.values[goal], proven=goal in paid.proven)
        for goal, value in now.items()
    )
