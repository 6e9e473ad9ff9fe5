"""Every way to break a good plan of a standard job is found, with its rule and subject; no good plan is rejected."""

from __future__ import annotations

import json
import random
from functools import cache
from typing import Any

import pytest

from tests.review.good_plans import FILE, STANDARD, assignment_of
from tests.review.mutations import MUTATIONS, SOLVER, Broken, Case
from trayopt.api import load_job
from trayopt.checker import check, check_assignment, measure
from trayopt.domain.assignment import Assignment
from trayopt.domain.job import Job
from trayopt.review.desk import review_plan, review_table
from trayopt.review.reading import parse_handmade
from trayopt.review.sheet_out import columns_of, plan_rows

PLANS: dict[str, Any] = json.loads(FILE.read_text())
AT_A_TIME = 8
"""Mutations drawn for each plan; on plans of up to 600 splices all are tried."""


@cache
def good(name: str) -> tuple[Job, Assignment]:
    """Give a standard job and a good plan of it."""
    job = load_job(STANDARD / name)
    return job, assignment_of(job, PLANS[name])


def test_there_is_a_good_plan_of_every_job_that_has_one() -> None:
    missing = {path.name for path in STANDARD.glob("*.yaml")} - set(PLANS)
    assert len(PLANS) >= 50
    assert len(MUTATIONS) >= 20
    assert set(PLANS) <= {path.name for path in STANDARD.glob("*.yaml")}
    assert len(missing) < 20


@pytest.mark.parametrize("name", sorted(PLANS))
def test_no_good_plan_is_rejected(name: str) -> None:
    job, assignment = good(name)
    report = check_assignment(job, assignment)
    assert report.passed, report.findings
    plan = measure(job, assignment, status="feasible", stopped="gap", bounds={}, solver=SOLVER)
    assert check(job, plan).passed
    assert review_plan(job, plan, "plan.json").passed


@pytest.mark.parametrize("name", sorted(PLANS))
def test_no_good_plan_is_rejected_as_a_table(name: str) -> None:
    job, assignment = good(name)
    plan = measure(job, assignment, status="feasible", stopped="gap", bounds={}, solver=SOLVER)
    lines = [columns_of(job), *([("" if cell is None else str(cell)) for cell in row] for row in plan_rows(job, plan))]
    text = "\n".join(",".join(line) for line in lines)
    review = review_table(job, parse_handmade(job, text.encode(), "plan.csv"))
    assert review.passed, [remark for remark in review.remarks if remark.fails]
    assert review.completion is None


@pytest.mark.parametrize("name", sorted(PLANS))
def test_broken_plans_are_rejected_with_rule_and_subject(name: str) -> None:
    job, assignment = good(name)
    rng = random.Random(name)
    chosen = MUTATIONS if job.splices <= 600 else rng.sample(MUTATIONS, AT_A_TIME)
    tried = 0
    for mutation in chosen:
        broken = mutation(Case(job, assignment, rng))
        if broken is not None:
            tried += 1
            rejected(mutation.__name__, broken)
    assert tried >= min(4, len(chosen))


def rejected(name: str, broken: Broken) -> None:
    """Hold a report to what has to be found."""
    report = broken.report
    assert not report.passed, name
    found = {(item.rule, item.subject) for item in report.findings if item.level in {"always", "must"}}
    assert broken.groups <= found, (name, broken.groups - found)
    assert broken.figures <= {item.path for item in report.figures}, (name, report.figures)
    if broken.unplaced:
        assert report.unplaced > 0, name


@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda mutation: mutation.__name__)
def test_every_mutation_applies_to_some_standard_plan(mutation: Any) -> None:
    for name in sorted(PLANS, key=lambda name: (len(json.dumps(PLANS[name])), name)):
        job, assignment = good(name)
        broken = mutation(Case(job, assignment, random.Random(7)))
        if broken is not None:
            rejected(mutation.__name__, broken)
            return
    pytest.fail(f"{mutation.__name__} applies to no standard plan")
