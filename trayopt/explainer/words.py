"""Conflicts in the crew's words: a sentence for each group, with what is needed and what there is."""

from __future__ import annotations

from collections.abc import Sequence

from trayopt.domain.assignment import Assignment
from trayopt.domain.base import remade
from trayopt.domain.explanation import ConflictSaid, GroupSaid, PreferenceSaid
from trayopt.domain.finding import Group
from trayopt.domain.job import Job
from trayopt.domain.ranges import Run, parse_run
from trayopt.domain.said import begun_with
from trayopt.domain.said import said as said_as
from trayopt.explainer.tray_needs import tray_need, turning_pairs
from trayopt.rules.divided_at_tray import DividedAtTray
from trayopt.rules.judge import judge
from trayopt.rules.opposite_travel import OppositeTravel
from trayopt.rules.pin import Pinned
from trayopt.rules.registry import BY_ID
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.words import joined, listed
from trayopt.solver.conflict.feasibility import Trials
from trayopt.solver.conflict.minimal import Conflict
from trayopt.solver.model.groups import ALLOWED_PORTS, ALLOWED_TRAVEL, EXPECTED, LIMITS, Question, merged
from trayopt.track.laid import Laid

IN_A_PLAN = "in a plan"
"""How the sentence about a plan that breaks a group begins."""


def because(job: Job, group: Group) -> str:
    """Say what a group asks for, with the numbers: what is needed, what there is."""
    if group.rule == ALLOWED_PORTS:
        trunk = job.trunk_by_id[group.subject]
        allowed = trunk.allowed_ports(job.enclosure)
        others = [port.id for port in job.enclosure.ports if port.id not in allowed]
        return said_as(
            "{trunk}: it may enter by {ports} alone, not by {others}",
            trunk=trunk.id, ports=listed(allowed, "or") or said_as("no port"), others=listed(others, "or"),
        )  # fmt: skip
    if group.rule == ALLOWED_TRAVEL:
        trunk = job.trunk_by_id[group.subject]
        return said_as("{trunk}: it may travel {travel} alone", trunk=trunk.id, travel=said_as(trunk.travel))
    if group.rule == EXPECTED:
        return said_as("{subject} is expected", subject=group.subject)
    if group.rule == TrayFibres.id:
        return tray_need(job, group.subject)
    return BY_ID[group.rule].need(job, group.subject)


def said(job: Job, group: Group) -> GroupSaid:
    """Put a group into words."""
    return GroupSaid(rule=group.rule, subject=group.subject, because=because(job, group))


def conflict_said(trials: Trials, found: Conflict, needed: frozenset[Group] = frozenset()) -> ConflictSaid:
    """Put a conflict into words: what each group asks for, and how a plan breaks it that keeps all others of the conflict."""
    job, groups = trials.question.job, frozenset(found.groups) | needed
    made = []
    for group in found.groups:
        plan = None if _all_said(job, group, found.groups) else trials.plan(groups - {group})
        broken = None if plan is None else _broken(trials.question, group, plan.assignment)
        parts = [because(job, group)] if broken is None or not BY_ID[group.rule].shows_all else []
        if broken is not None:
            alone = len(groups) == 1
            when = said_as("in a plan without it, {broken}", broken=broken) if alone else (
                said_as("in a plan with the others kept, {broken}", broken=broken)
            )  # fmt: skip
            parts.append(when if parts else said_as("{subject}: {when}", subject=group.subject, when=when))
        parts += _spliced_to(job, group, found.groups) or _divided_with(job, group, found.groups)
        made.append(GroupSaid(rule=group.rule, subject=group.subject, because=joined(parts, "; ")))
    if made and (ring := _ring(found.groups)):
        made[-1] = remade(made[-1], because=joined([made[-1].because, ring], "; "))
    return ConflictSaid(groups=tuple(made), minimal=found.minimal)


def _all_said(job: Job, group: Group, groups: Sequence[Group]) -> bool:
    """Whether a group is said with all its numbers, so that a plan that breaks it shows nothing more."""
    if group.rule in LIMITS:
        return True
    rule = BY_ID.get(group.rule)
    if rule is not None and (rule.says_all or rule.short(job)):
        return True
    return group.rule == TrayFibres.id and not any(_leg(job, item) for item in groups) and bool(turning_pairs(job))


def _ring(groups: Sequence[Group]) -> str:
    """Say why trunks that are all to travel opposite ways cannot: with two ways round, a ring of an odd number."""
    if len(groups) < 3 or any(group.rule != OppositeTravel.id for group in groups):
        return ""
    return said_as("in a ring of {n} joined trunks, two neighbours travel the same way", n=len(groups))


def _spliced_to(job: Job, group: Group, others: Sequence[Group]) -> list[str]:
    """Name the other legs of a conflict that a pinned leg is spliced to: all these legs share its tray."""
    run = _leg(job, group)
    runs = [] if run is None else [other for item in others if (other := _leg(job, item)) not in {None, run}]
    found = [other for other in runs if run is not None and other is not None and _are_spliced(job, run, other)]
    return [said_as("it is spliced to {legs} and lies in the same tray", legs=listed(found))] if found else []


def _divided_with(job: Job, group: Group, others: Sequence[Group]) -> list[str]:
    """Say of subunits divided at the tray which hold a leg back together with one that is blamed before it."""
    run, before = _leg(job, group), others[: list(others).index(group)]
    if run is None:
        return []
    near = [_subunits(job, other) for item in before if (other := _leg(job, item)) is not None]
    shared = [name for name in _subunits(job, run) if any(name in names for names in near)]
    return [DividedAtTray().say(job, name) for name in shared[:1]]


def _subunits(job: Job, run: Run) -> list[str]:
    """Name the subunits divided at the tray that a run lies in or is spliced to."""
    runs = [run]
    for piece in job.pieces:
        for here, there in ((piece.a, piece.b), (piece.b, piece.a)):
            if here.trunk == run.trunk and here.first <= run.last and run.first <= here.last:
                runs.append(there)
    trunks = [(job.trunk_by_id[one.trunk], one) for one in runs]
    found = (trunk.subunit_of(one.first).name for trunk, one in trunks if trunk.divided_only_at == "tray")
    return list(dict.fromkeys(found))


def _leg(job: Job, group: Group) -> Run | None:
    """Return the fibres that a pin or an expectation puts into a tray; None for any other group."""
    if group.rule == Pinned.id:
        return next((pin.leg for pin in job.leg_pins if pin.subject == group.subject), None)
    if group.rule == EXPECTED and " in " in group.subject:
        return parse_run(group.subject.partition(" in ")[0])
    return None


def _are_spliced(job: Job, one: Run, other: Run) -> bool:
    """Whether a fibre of one run is spliced to a fibre of the other."""
    for piece in job.pieces:
        for here, there in ((piece.a, piece.b), (piece.b, piece.a)):
            if here.trunk == one.trunk and there.trunk == other.trunk:
                first, last = max(one.first, here.first), min(one.last, here.last)
                shift = there.first - here.first
                if max(first + shift, other.first) <= min(last + shift, other.last):
                    return True
    return False


def _broken(question: Question, group: Group, plan: Assignment) -> str | None:
    """Say how a plan breaks a group; the first of several subjects in it."""
    if group.rule in {EXPECTED, Pinned.id}:
        return None
    for finding in judge(question.wide, Laid(question.wide, plan)):
        if merged(BY_ID[finding.rule], finding.subject) == group:
            return finding.because
    return None


def together(groups: Sequence[GroupSaid]) -> list[tuple[str, list[str], str]]:
    """Return groups of one rule that have the same sentence as one: the rule, the subjects, and the sentence.

    Of plans that show how such groups are broken the first is told.
    """
    alike: dict[tuple[str, str], list[GroupSaid]] = {}
    for item in groups:
        fact = item.because.removeprefix(f"{item.subject}: ").partition(f"; {IN_A_PLAN}")[0]
        alike.setdefault((item.rule, fact), []).append(item)
    return [(rule, [_own_subject(item) for item in same], _of_all(same)) for (rule, _), same in alike.items()]


def _own_subject(item: GroupSaid) -> str:
    """Return the subject that stands before a sentence; nothing where the sentence has its subject inside."""
    return item.subject if item.because.startswith(f"{item.subject}: ") else ""


def _of_all(same: Sequence[GroupSaid]) -> str:
    """Put the subjects of all before what is said of each."""
    subjects = [subject for subject in map(_own_subject, same) if subject]
    if len(subjects) < 2:
        return same[0].because
    return begun_with(same[0].because, same[0].subject, said_as("{subjects}, each", subjects=listed(subjects)))


def by_reason(broken: Sequence[PreferenceSaid]) -> list[list[PreferenceSaid]]:
    """Group broken preferences by their reason, so that each reason is said once."""
    alike: dict[tuple[object, ...], list[PreferenceSaid]] = {}
    for item in broken:
        alike.setdefault((item.never, item.reason, item.against), []).append(item)
    return list(alike.values())


def named(groups: Sequence[Group]) -> str:
    """Name groups in a sentence, subjects of one rule together: ``reach of N1 and S1, and tray_fibres of left``."""
    by_rule: dict[str, list[str]] = {}
    for group in groups:
        by_rule.setdefault(group.rule, []).append(group.subject)
    parts = [
        said_as("{rule} of {subjects}", rule=rule, subjects=listed(subjects)) if rule != EXPECTED else listed(subjects)
        for rule, subjects in by_rule.items()
    ]
    return listed(parts)
