"""Conflicts in the crew's words: one sentence a group, with what is needed and what there is."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from trayopt.domain.assignment import Assignment
from trayopt.domain.explanation import ConflictSaid, GroupSaid
from trayopt.domain.finding import Group
from trayopt.domain.job import Job
from trayopt.explain.needs import exposed_need, reach_need
from trayopt.rules.judge import judge
from trayopt.rules.registry import BY_ID
from trayopt.rules.words import listed
from trayopt.solve.conflict import Conflict
from trayopt.solve.conflict_groups import ALLOWED_PORTS, ALLOWED_TRAVEL, EXPECTED, LIMITS, Question, merged
from trayopt.solve.conflict_trial import Trials
from trayopt.track.laid import Laid

NEEDS: dict[str, Callable[[Job, str], str]] = {"exposed": exposed_need, "reach": reach_need}
"""Rules of which more can be said than what they ask for: what there is at best."""


def because(job: Job, group: Group) -> str:
    """Say what a group asks for, with the numbers: what is needed, what there is."""
    if group.rule == ALLOWED_PORTS:
        trunk = job.trunk_by_id[group.subject]
        allowed = trunk.allowed_ports(job.enclosure)
        others = [port.id for port in job.enclosure.ports if port.id not in allowed]
        return f"{trunk.id}: it may enter by {listed(allowed, 'or') or 'no port'} alone, not by {listed(others, 'or')}"
    if group.rule == ALLOWED_TRAVEL:
        trunk = job.trunk_by_id[group.subject]
        return f"{trunk.id}: it may travel {trunk.travel} alone"
    if group.rule == EXPECTED:
        return f"{group.subject} is expected"
    if group.rule in NEEDS:
        return NEEDS[group.rule](job, group.subject)
    return BY_ID[group.rule].say(job, group.subject)


def said(job: Job, group: Group) -> GroupSaid:
    """Put a group into words."""
    return GroupSaid(rule=group.rule, subject=group.subject, because=because(job, group))


def conflict_said(trials: Trials, found: Conflict, needed: frozenset[Group] = frozenset()) -> ConflictSaid:
    """Put a conflict into words: what each group asks for, and how a plan breaks it that keeps all others of the conflict."""
    job, groups = trials.question.job, frozenset(found.groups) | needed
    made = []
    for group in found.groups:
        text = because(job, group)
        plan = trials.plan(groups - {group})
        broken = None if plan is None else _broken(trials.question, group, plan.assignment)
        if broken is not None and group.rule not in NEEDS:
            text += f"; {'otherwise' if len(groups) == 1 else 'with the others kept'}, {broken}"
        made.append(GroupSaid(rule=group.rule, subject=group.subject, because=text))
    return ConflictSaid(groups=tuple(made), minimal=found.minimal)


def _broken(question: Question, group: Group, plan: Assignment) -> str | None:
    """Say how a plan breaks a group; the first of several subjects in it."""
    if group.rule in LIMITS:
        way = plan.ways[group.subject]
        return f"{group.subject} enters by {way.port} and travels {way.travel}"
    if group.rule in {EXPECTED, "pin"}:
        return None
    for finding in judge(question.wide, Laid(question.wide, plan)):
        if merged(BY_ID[finding.rule], finding.subject) == group:
            return finding.because
    return None


def named(groups: Sequence[Group]) -> str:
    """Name groups in a sentence, subjects of one rule together: ``reach of N1 and S1, and tray_fibres of left``."""
    by_rule: dict[str, list[str]] = {}
    for group in groups:
        by_rule.setdefault(group.rule, []).append(group.subject)
    parts = [
        f"{rule} of {listed(subjects)}" if rule != EXPECTED else listed(subjects) for rule, subjects in by_rule.items()
    ]
    return listed(parts)
