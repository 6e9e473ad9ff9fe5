"""What a plan claims to be proven is held against better plans: by check, compare and explain."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from tests.build import plan_of
from tests.cli.run import trayopt
from tests.review.good_plans import FILE, STANDARD, assignment_of
from tests.review.mutations import SOLVER
from trayopt.api import explain, load_job, solve
from trayopt.checker import measure
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.review.compare import compare
from trayopt.review.desk import review_plan, review_table
from trayopt.review.html import review_html
from trayopt.review.reading import parse_handmade, read_handmade
from trayopt.review.text import review_text

TABLES = Path(__file__).parent / "tables"
PLANS: dict[str, Any] = json.loads(FILE.read_text())
SMALL = ["2x288-wall-2x6.yaml", "2x144-wall-1x12-single.yaml", "864-half-joined-wall-2x6.yaml"]


def forged(plan: Plan) -> Plan:
    """Let a plan claim that it is optimal."""
    data = plan.plain()
    data["status"], data["stopped"] = "optimal", "proven"
    for item in data["goals"]:
        item["bound"] = item["value"]
    return plan_of(data)


@cache
def table_as_plan(name: str) -> tuple[Job, Plan]:
    """Give the plan of a table of the quay."""
    job = load_job(TABLES / "quay.yaml")
    report = review_table(job, read_handmade(job, TABLES / name)).report
    assert report is not None
    return job, report.plan


def longer(name: str) -> tuple[Job, Plan]:
    """Give a standard job and a plan of it that is longer than it has to be, and claims that it is not."""
    job = load_job(STANDARD / name)
    good = assignment_of(job, PLANS[name])
    first = measure(job, good, status="feasible", stopped="gap", bounds={}, solver=SOLVER)
    for trunk, way in good.ways.items():
        for loops in sorted(set(job.trunk_by_id[trunk].loops) - {way.loops}):
            other = replace(good, ways={**good.ways, trunk: way._replace(loops=loops)})
            plan = measure(job, other, status="feasible", stopped="gap", bounds={}, solver=SOLVER)
            if [item.value for item in plan.goals] > [item.value for item in first.goals]:
                return job, forged(plan)
    pytest.fail("no trunk of the job may make another number of loops")


def test_a_bound_without_a_proof_is_a_claim() -> None:
    job, plan = table_as_plan("good-but-not-best.csv")
    review = review_plan(job, forged(plan), "plan.json")
    assert review.passed
    assert {claim.standing for claim in review.bounds} == {"claimed"}
    assert "The plan's bounds are claimed, not proven again." in review_text(review)
    assert "claimed, not proven again" in review_html(review)
    assert review.as_dict()["claimed_bounds"][2] == {
        "goal": "broken_prefer", "value": 3, "bound": 3, "standing": "claimed", "better": None,
    }  # fmt: skip
    assert "bounds" not in review_text(review_plan(job, plan, "plan.json"))


def test_a_better_plan_refutes_the_bound_and_the_check_fails() -> None:
    job, plan = table_as_plan("good-but-not-best.csv")
    review = review_plan(job, forged(plan), "plan.json", best_s=60)
    assert not review.passed
    (remark,) = [remark for remark in review.remarks if remark.fails]
    assert (remark.rule, remark.subject, remark.cells) == ("bound", "broken_prefer", ("goals[broken_prefer].bound",))
    assert remark.found == ("the plan claims that no plan has less than 3 of broken_prefer; the best plan found has 0")
    assert "The plan's bound of broken_prefer is refuted" in review_text(review)


def test_a_claim_that_holds_is_proven_again() -> None:
    job = load_job(TABLES / "quay.yaml")
    review = review_plan(job, forged(solve(job).plan), "plan.json", best_s=60)
    assert review.passed
    assert "The plan's bounds were proven again." in review_text(review)


@pytest.mark.parametrize("name", SMALL)
def test_plans_of_standard_jobs_that_claim_too_much_fail(name: str) -> None:
    job, plan = longer(name)
    assert review_plan(job, plan, "plan.json").passed
    review = review_plan(job, plan, "plan.json", best_s=60)
    assert [remark.rule for remark in review.remarks if remark.fails] == ["bound"]


def test_goals_in_another_order_are_held_against_the_best_in_that_order() -> None:
    job, plan = longer("2x288-wall-2x6.yaml")
    data = plan.plain()
    by_goal = {item["goal"]: item for item in data["goals"]}
    data["goals"] = [
        by_goal[goal]
        for goal in (
            "unplaced",
            "broken_must",
            "broken_prefer",
            "leg_length_mm",
            "crossings",
            "legs",
            "trays",
            "irregular",
        )
    ]
    review = review_plan(job, plan_of(data), "plan.json", best_s=60)
    refuted = [claim.goal for claim in review.bounds if claim.standing == "refuted"]
    assert len(refuted) == 1
    assert refuted[0] in {"broken_prefer", "leg_length_mm"}


def test_two_plans_in_hand_refute_each_others_claims() -> None:
    job, good = table_as_plan("good-plain.csv")
    _, worse = table_as_plan("good-but-not-best.csv")
    pair = compare(job, review_plan(job, forged(good), "a.json"), review_plan(job, forged(worse), "b.json"))
    assert pair.as_dict()["passed"] == [True, False]
    (row,) = [row for row in pair.findings() if row["rule"] == "bound"]
    assert row["plan"] == "B"
    assert row["found"].endswith("plan A has 0")


def test_explain_does_not_believe_a_bound_in_a_file() -> None:
    job, plan = longer("2x288-wall-2x6.yaml")
    made = explain(job, best=plan, time_limit_s=60)
    assert made.optimal is False
    assert made.bounds is not None
    said = [text for item in made.bounds for text in item.because]
    assert not [text for text in said if "the solver proved" in text]
    assert [text for text in said if text.endswith("claimed, not proven again")]
    goals = {item.goal: item for item in made.bounds}
    assert goals["leg_length_mm"].at_least < goals["leg_length_mm"].value


def test_explain_says_that_a_plan_in_hand_refutes_the_one_given_as_the_best() -> None:
    job, plan = longer("2x288-wall-2x6.yaml")
    good = measure(
        job,
        assignment_of(job, PLANS["2x288-wall-2x6.yaml"]),
        status="feasible",
        stopped="gap",
        bounds={},
        solver=SOLVER,
    )
    made = explain(job, good, best=plan, time_limit_s=60)
    assert "The plan that was given as the best is not the best: a known plan has " in made.summary
    assert made.bounds is not None
    said = [text for item in made.bounds for text in item.because]
    assert any("refuted: a known plan has" in text for text in said)
    assert "is not the best" not in explain(job, plan, best=good, time_limit_s=60).summary


def test_explain_says_that_a_table_cannot_stand_for_the_best_plan(tmp_path: Path) -> None:
    job, table = TABLES / "quay.yaml", TABLES / "good-plain.csv"
    done = trayopt("explain", job, "--best", table, "-q", "--time-limit", "10")
    assert "good-plain.csv is a table" in done.stderr
    assert "the best plan is searched for in its place" in done.stderr
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(table_as_plan("good-plain.csv")[1].plain()))
    assert not trayopt("explain", job, "--best", path, "-q", "--time-limit", "10").stderr


def test_compare_counts_splices_that_no_row_names() -> None:
    job = load_job(TABLES / "quay.yaml")
    rows = [f"QUAY,{i + 1}-{i + 12},EAST,{i + 1}-{i + 12},left,{1 + i // 72}" for i in range(0, 144, 12)]
    text = "\n".join(["from trunk,from fibres,to trunk,to fibres,stack,position", *rows])
    whole, part = (
        review_table(job, parse_handmade(job, one.encode(), "list.csv"))
        for one in (text, text.replace(f"\n{rows[3]}", ""))
    )
    goals = {row["goal"]: row for row in compare(job, whole, part).as_dict()["goals"]}
    assert part.unnamed > 0
    assert goals["unplaced"]["difference"] == 12


def test_the_command_ends_with_no(tmp_path: Path) -> None:
    _, plan = table_as_plan("good-but-not-best.csv")
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(forged(plan).plain()))
    done = trayopt("check", TABLES / "quay.yaml", path)
    assert done.returncode == 0
    assert "claimed bound" in done.stdout
    done = trayopt("check", TABLES / "quay.yaml", path, "--best")
    assert done.returncode == 1
    assert "bound broken_prefer (figure is wrong)" in done.stdout
