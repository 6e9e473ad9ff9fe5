"""The judge: it checks a plan against every rule, each at its level in the job."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Literal

from trayopt.domain.finding import Finding
from trayopt.domain.job import Job
from trayopt.rules.base import Rule
from trayopt.rules.registry import BY_ID, RULES, level_of
from trayopt.track.laid import Laid

WAYS_FIRST = sorted(RULES, key=lambda rule: not rule.of_ways)
"""The rules, first those to which ways matter: a plan that is laid by what trays take breaks one of these, if any."""


def judge(job: Job, laid: Laid) -> list[Finding]:
    """Find every broken rule of a plan.

    Parameters
    ----------
    job, laid
        The job, and the plan as it lies; what is found is kept on ``laid``, so that no plan is judged twice.

    Returns
    -------
    list of Finding
        In the order of the rules, then of the job, each subject once. Rules that always hold, and pins that are built,
        are found at level "always"; rules at off are not asked.
    """
    if laid.findings is None:
        laid.findings = _findings(job, laid, RULES)
    return laid.findings


def judge_ways(job: Job, laid: Laid) -> list[Finding]:
    """Find the broken rules of a plan to which the ways of trunks matter; plans that differ only in ways differ in no other."""
    return _findings(job, laid, [rule for rule in RULES if rule.of_ways])


def no_plan_breaks(found: Finding) -> bool:
    """Whether a finding is about a rule that no plan may break: an always rule, a built pin, or a physical rule at must."""
    return found.level == "always" or (found.level == "must" and BY_ID[found.rule].kind == "physical")


def is_plan(job: Job, laid: Laid) -> bool:
    """Whether a plan keeps every rule that no plan may break; the check ends at the first broken rule."""
    built = {pin.subject for pin in job.pins if pin.built}
    for rule in WAYS_FIRST:
        binds = rule.kind == "always" or (rule.kind == "physical" and level_of(rule, job.rules) == "must")
        facts = built if rule.id == "pin" else set()
        if (binds or facts) and any(binds or subject in facts for subject, _ in rule.check(job, laid)):
            return False
    return True


def _findings(job: Job, laid: Laid, rules: Iterable[Rule[Any]]) -> list[Finding]:
    built = {pin.subject for pin in job.pins if pin.built}
    found: dict[tuple[str, str], Finding] = {}
    for rule in rules:
        level = level_of(rule, job.rules)
        facts = built if rule.id == "pin" else set()
        if level == "off" and not facts:
            continue
        for subject, because in rule.check(job, laid):
            at: Literal["always", "must", "prefer", "off"] = (
                "always" if rule.kind == "always" or subject in facts else level
            )
            if at != "off":
                found.setdefault((rule.id, subject), Finding(rule.id, at, subject, because))
    return list(found.values())
