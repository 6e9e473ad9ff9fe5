"""Preferences that no plan of a job can keep, whatever else is given up, and the root of each."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from trayopt.domain.assignment import Assignment
from trayopt.domain.finding import Finding, Group
from trayopt.domain.job import Job
from trayopt.domain.ranges import Run
from trayopt.domain.said import said
from trayopt.explainer.roots import excluding, root
from trayopt.rules.judge import judge
from trayopt.rules.registry import BY_ID
from trayopt.rules.words import listed
from trayopt.solver.conflict.feasibility import Groups, Trials
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question, merged
from trayopt.track.laid import Laid

MOST = 12
"""Most broken groups that are looked at."""
ALWAYS = said("what always holds excludes it")


class Never(NamedTuple):
    """A preference that no plan which places every splice keeps, and why; the root is empty where it was not found in time."""

    rule: str
    subject: str
    root: str


def never_kept(job: Job, best: Assignment, clock: Clock) -> tuple[Never, ...]:
    """Return the broken preferences of a plan that no plan of the job keeps; only what small models exclude is among them.

    Subjects are those of the plan: tray places one by one.
    """
    broken = [finding for finding in judge(job, Laid(job, best)) if finding.level == "prefer"]
    groups = dict.fromkeys(_group(finding) for finding in broken)
    if not groups:
        return ()
    trials = Trials(Question(job, levels=("must", "prefer")), clock)
    trials.offer(best)
    why: dict[Group, str] = {}
    for group in list(groups)[:MOST]:
        held = together(trials.question, group)
        if not clock.over and trials.excluded(held):
            why[group] = why_excluded(trials, held)
    return tuple(Never(f.rule, f.subject, why[_group(f)]) for f in broken if _group(f) in why)


def _group(finding: Finding) -> Group:
    return merged(BY_ID[finding.rule], finding.subject)


def together(question: Question, group: Group) -> Groups:
    """Return the groups that are asked about together: those of all stacks, where a rule looks at tray places."""
    if BY_ID[group.rule].subject != "tray place":
        return frozenset({group})
    return question.by_rule[group.rule]


def why_never(trials: Trials, held: Groups) -> str:
    """Say why no plan keeps some groups: the fact of the job without which a plan does, or else as ``why_excluded``."""
    job = trials.question.job
    musts = frozenset(g for g in trials.question.groups if g.rule not in job.rules or job.rules[g.rule].level == "must")
    why = root(trials, held, musts, said("it could be kept"))
    return _where(held, why) if why else why_excluded(trials, held)


def why_excluded(trials: Trials, held: Groups) -> str:
    """Say why a small model excludes some groups: a fact, or ribbons that tie splices to one tray that are to lie apart."""
    why = excluding(trials, held) or listed(list(_ribbons(trials.question.job, held))[:2])
    return _where(held, why) if why else "" if trials.clock.over else ALWAYS


def _where(held: Groups, why: str) -> str:
    return said("broken on one stack or another, because {why}", why=why) if len(held) > 1 else why


def _ribbons(job: Job, held: Iterable[Group]) -> Iterator[str]:
    """Name ribbons that are spliced to several subunits of a trunk that the groups are about, or to several trunks."""
    trunks = {group.subject.partition("/")[0] for group in held} & set(job.trunk_by_id)
    ends: dict[Run, dict[str, None]] = {}
    for piece in job.pieces:
        for here, there in ((piece.a, piece.b), (piece.b, piece.a)):
            if trunks and there.trunk not in trunks:
                continue
            subunit = job.trunk_by_id[here.trunk].subunit_of(here.first)
            first = here.first - subunit.fibre_in_ribbon(here.first) + 1
            other = job.trunk_by_id[there.trunk].subunit_of(there.first).name if trunks else there.trunk
            ends.setdefault(Run(here.trunk, first, first + subunit.ribbon_fibres - 1), {})[other] = None
    for ribbon, others in ends.items():
        if len(others) > 1:
            yield said(
                "{ribbon} is one ribbon, spliced to {others}, and lies in one tray with all of it",
                ribbon=ribbon, others=listed(list(others)),
            )  # fmt: skip
