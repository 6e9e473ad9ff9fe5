"""The judge: it checks a plan against every rule, each at its level in the job."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from trayopt.domain.finding import Finding
from trayopt.domain.job import Job
from trayopt.rules.registry import BY_ID, RULES, level_of
from trayopt.track.laid import Laid


def judge(job: Job, laid: Laid, *, like: Laid | None = None) -> list[Finding]:
    """Find every broken rule of a plan.

    Parameters
    ----------
    job, laid
        The job, and the plan as it lies; what is found is kept on ``laid``, so that no plan is judged twice.
    like
        The same legs in the same trays, where trunks go other ways: what ways do not matter to is taken over from it.

    Returns
    -------
    list of Finding
        In the order of the rules, then of the job, each subject once. Rules that always hold, and pins that are built,
        are found at level "always"; rules at off are not asked.
    """
    if laid.findings is None:
        laid.findings = list(_findings(job, laid, [] if like is None else judge(job, like), anew=like is None).values())
    return laid.findings


def no_plan_breaks(found: Finding) -> bool:
    """Whether a finding is about a rule that no plan may break: an always rule, a built pin, or a physical rule at must."""
    return found.level == "always" or (found.level == "must" and BY_ID[found.rule].kind == "physical")


def is_plan(job: Job, laid: Laid) -> bool:
    """Whether a plan keeps every rule that no plan may break; the check ends at the first broken rule."""
    built = {pin.subject for pin in job.pins if pin.built}
    for rule in RULES:
        binds = rule.kind == "always" or (rule.kind == "physical" and level_of(rule, job.rules) == "must")
        facts = built if rule.id == "pin" else set()
        if (binds or facts) and any(binds or subject in facts for subject, _ in rule.check(job, laid)):
            return False
    return True


def _findings(job: Job, laid: Laid, before: Sequence[Finding], *, anew: bool) -> dict[tuple[str, str], Finding]:
    built = {pin.subject for pin in job.pins if pin.built}
    found: dict[tuple[str, str], Finding] = {}
    for rule in RULES:
        level = level_of(rule, job.rules)
        facts = built if rule.id == "pin" else set()
        if level == "off" and not facts:
            continue
        breaches = (
            rule.check(job, laid)
            if anew or rule.of_ways
            else ((item.subject, item.because) for item in before if item.rule == rule.id)
        )
        for subject, because in breaches:
            at: Literal["always", "must", "prefer", "off"] = (
                "always" if rule.kind == "always" or subject in facts else level
            )
            if at != "off":
                found.setdefault((rule.id, subject), Finding(rule.id, at, subject, because))
    return found
