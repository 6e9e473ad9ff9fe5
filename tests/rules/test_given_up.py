"""A rule that is given up for a subject: the same plan may break it there, and what else it has to keep stays as it was."""

from __future__ import annotations

import pytest

from tests.build import Json
from tests.rules.test_cases import lay, read
from trayopt.domain.base import remade
from trayopt.domain.job import Job
from trayopt.rules.judge import judge
from trayopt.rules.registry import BY_ID, RULES, SETTABLE

BROKEN = [
    (rule.id, case)
    for rule in RULES
    if rule.id in SETTABLE
    for case in read(rule.id)
    if case["broken"] and "claims" not in case
]


def at_must(job: Job, rule: str) -> Job:
    """Give a job in which a rule has to be kept."""
    return remade(job, rules={**job.rules, rule: remade(job.rules[rule], level="must")})


def musts(job: Job, case: Json) -> set[tuple[str, str]]:
    """Give what has to hold and does not in the plan of a case."""
    return {(found.rule, found.subject) for found in judge(job, lay(case, job)) if found.level != "prefer"}


@pytest.mark.parametrize(("rule", "case"), [pytest.param(*each, id=f"{each[0]}: {each[1]['name']}") for each in BROKEN])
def test_a_plan_may_break_a_rule_that_was_given_up(rule: str, case: Json) -> None:
    job = at_must(lay(case).job, rule)
    before = musts(job, case)
    for subject in case["broken"]:
        assert (rule, subject) in before
        given_up = BY_ID[rule].without(job, subject)
        if rule == "pin" and subject in {pin.subject for pin in job.pins if pin.built}:
            assert given_up == job, "what is built stays"
            continue
        after = musts(given_up, case)
        assert (rule, subject) not in after
        assert {found for found in before if found[0] != rule} == {found for found in after if found[0] != rule}
        assert given_up.trunks == job.trunks


def test_a_preference_that_is_given_up_keeps_its_weight() -> None:
    laid = lay({})
    for rule in (BY_ID[name] for name in SETTABLE if name not in {"pin", "apart"}):
        for level, weight in (("prefer", 7), ("must", max(7, rule.weight))):
            setting = remade(laid.job.rules[rule.id], level=level, weight=7)
            job = remade(laid.job, rules={**laid.job.rules, rule.id: setting})
            made = rule.without(job, "P").rules[rule.id]
            assert (made.level, made.weight) == ("prefer", weight), rule.id
