"""Certificates that were tampered with are refused, each with words that say why; damaged files are told at their place."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.cli.run import loaded, trayopt
from tests.expected import refusal
from trayopt import batch, certify, load_job, solve, verify
from trayopt.batches.work import Settings
from trayopt.certificate.rules import plans_of
from trayopt.certificate.standing import verify as verified
from trayopt.domain.certificate import Certificate
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName, Plan
from trayopt.formats.json_in import parse_model
from trayopt.formats.json_out import dump_rows
from trayopt.solver.certify import certify as certified
from trayopt.solver.model.clock import Clock

JOB = Path(__file__).parents[2] / "models" / "standard" / "worked-example.yaml"
Json = dict[str, Any]


@pytest.fixture(scope="module")
def solved() -> tuple[Job, Plan, Json]:
    """Give the worked example, its plan, and its certificate as plain data, with trees and without lemmas."""
    job = load_job(JOB)
    plan = solve(job, workers=1).plan
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("trayopt.solver.learn.Learner.proof", lambda *_: None)
        return job, plan, certify(job, plan).plain()


def goal(data: Json, name: str) -> Json:
    """Give what a certificate says of a goal."""
    found: Json = next(item for item in data["goals"] if item["goal"] == name)
    return found


def leaf(data: Json, name: str, number: int = 0) -> Json:
    """Give the prices of one of the leaves of a goal."""
    found: Json = [node["prices"] for node in goal(data, name)["nodes"] if "prices" in node][number]
    return found


def of_another_job(data: Json) -> None:
    data["job"]["digest"] = "0" * 64


def in_another_order(data: Json) -> None:
    data["goals"][3:5] = data["goals"][4:2:-1]


def a_goal_left_out(data: Json) -> None:
    del data["goals"][3]


def more_than_the_plan_has(data: Json) -> None:
    goal(data, "legs")["least"] += 1


def zero_proves_more_than_zero(data: Json) -> None:
    goal(data, "legs").update(argument="not_below_zero")
    del goal(data, "legs")["nodes"]


def prices_of_what_no_row_counts(data: Json) -> None:
    goal(data, "crossings").update(argument="prices", nodes=goal(data, "legs")["nodes"])


def a_price_of_no_row(data: Json) -> None:
    leaf(data, "legs")["room of the moon"] = "1"


def a_price_below_zero(data: Json) -> None:
    leaf(data, "trays")["given legs"] = "-1"


def a_price_lowered(data: Json) -> None:
    leaf(data, "trays")["goal"] = "1/1000"


def all_prices_doubled_but_one(data: Json) -> None:
    prices = leaf(data, "legs")
    for name in prices:
        prices[name] = f"{2 * int(prices[name].partition('/')[0])}/{prices[name].partition('/')[2] or 1}"
    prices["goal"] = "1/7"


def a_leaf_left_out(data: Json) -> None:
    goal(data, "broken_prefer")["nodes"].pop()


def a_leaf_too_many(data: Json) -> None:
    nodes = goal(data, "legs")["nodes"]
    nodes.append(nodes[-1])


def a_side_of_a_split_left_out(data: Json) -> None:
    nodes = goal(data, "broken_prefer")["nodes"]
    assert "split" in nodes[0]
    nodes[:] = nodes[-1:]


def a_split_by_nothing(data: Json) -> None:
    goal(data, "legs")["nodes"] = [{"split": "the weather", "most": 0}, *goal(data, "legs")["nodes"] * 2]


def a_lemma_that_nothing_can_be(data: Json) -> None:
    goal(data, "legs")["nodes"].insert(0, {"lemma": []})


def a_lemma_of_a_number_that_is_not_listed(data: Json) -> None:
    goal(data, "legs")["nodes"].insert(0, {"lemma": [[1, 1]]})


def a_lemma_that_a_plan_breaks(data: Json) -> None:
    goal(data, "legs")["numbers"] = ["P goes clockwise"]
    goal(data, "legs")["nodes"].insert(0, {"lemma": [[-1, 0]]})


def a_lemma_of_a_made_up_number(data: Json) -> None:
    goal(data, "legs")["numbers"] = ["the weather"]
    goal(data, "legs")["nodes"].insert(0, {"lemma": [[1, 1]]})


FORGED: dict[Callable[[Json], None], str] = {
    of_another_job: "the certificate is of another job",
    in_another_order: "the certificate takes the goals in the order",
    a_goal_left_out: "the certificate takes the goals in the order",
    more_than_the_plan_has: "5 are said to be the least, and the plan has 4",
    zero_proves_more_than_zero: "that nothing is below 0 does not prove 4",
    prices_of_what_no_row_counts: "prices prove nothing of crossings",
    a_price_of_no_row: "a price for 'room of the moon', which this job does not have",
    a_price_below_zero: "a price below 0 for 'given legs'",
    a_price_lowered: "prove nothing: the sum is",
    all_prices_doubled_but_one: "prove nothing: the sum is",
    a_leaf_left_out: "a side of the last split has no leaf",
    a_leaf_too_many: "comes after the end of the tree",
    a_side_of_a_split_left_out: "prove nothing: the sum is",
    a_lemma_that_nothing_can_be: "node 1 is a lemma that does not follow",
    a_lemma_of_a_number_that_is_not_listed: "a lemma speaks of a number that the goal does not list",
    a_lemma_that_a_plan_breaks: "node 1 is a lemma that does not follow",
    a_lemma_of_a_made_up_number: "node 1 names 'the weather', which this job does not have",
    a_split_by_nothing: "splits 'the weather', which this job does not have",
}


def test_the_certificate_is_whole(solved: tuple[Job, Plan, Json]) -> None:
    job, plan, data = solved
    verified = verify(job, plan, Certificate.model_validate_json(json.dumps(data)))
    assert verified.whole
    assert not verified.refused
    assert [(item.goal, item.least) for item in verified.goals] == [(item.goal, item.value) for item in plan.goals]


@pytest.mark.parametrize("forge", FORGED, ids=lambda forge: forge.__name__)
def test_forged(forge: Callable[[Json], None], solved: tuple[Job, Plan, Json]) -> None:
    job, plan, data = solved
    forged = copy.deepcopy(data) | {"schema": "trayopt/certificate/2"}
    forge(forged)
    verified = verify(job, plan, Certificate.model_validate_json(json.dumps(forged)))
    assert verified.refused
    assert any(FORGED[forge] in item.why for item in verified.goals if item.standing == "refused"), verified


def test_a_worse_plan_is_not_certified(solved: tuple[Job, Plan, Json]) -> None:
    """The certificate of the best plan bounds a worse plan as well: what it proves is less than the worse plan has."""
    job, plan, data = solved
    values = {item.goal: item.value for item in plan.goals} | {"leg_length_mm": 11_250}
    worse = list(verified(job, values, Certificate.model_validate_json(json.dumps(data)), plans_of))
    rest = next(item for item in worse if item.standing != "checked")
    assert (rest.goal, rest.standing) == ("leg_length_mm", "rests on the solver's search")
    assert rest.why == "10,750 is the least that is checked, the plan has 11,250"


def test_what_the_rows_do_not_know_rests_on_the_search(monkeypatch: pytest.MonkeyPatch) -> None:
    """A job that says something which came after the rows is not certified, however good the prices look."""
    job = load_job(JOB.parent / "mixed-trays-288-separated.yaml")
    plan = solve(job, workers=1).plan
    monkeypatch.setattr("trayopt.certificate.rules.LATER_KEYS", ())
    made = certify(job, plan)
    assert {item.argument for item in made.goals} == {"none", "not_below_zero"}
    claimed = made.model_copy(
        update={
            "goals": tuple(
                item.model_copy(update={"argument": "prices"}) if item.least else item for item in made.goals
            )
        }
    )
    standing = {item.goal: item for item in verify(job, plan, claimed).goals}
    assert standing["legs"].standing == "rests on the solver's search"
    assert standing["legs"].why.startswith("arguments do not know what the job says by enclosure.stacks.trays")


def test_commands(tmp_path: Path, solved: tuple[Job, Plan, Json]) -> None:
    plan, certificate = tmp_path / "plan.json", tmp_path / "certificate.json"
    made = trayopt("solve", JOB, "-o", plan, "--certificate", certificate, "--workers", "1")
    assert made.returncode == 0, made.stderr
    assert "with an argument for every goal" in made.stderr
    assert "HiGHS" not in made.stdout
    done = trayopt("check", JOB, plan, "--certificate", certificate)
    assert done.returncode == 0
    assert "Every goal was checked without the solver." in done.stdout
    assert "The plan's bounds were proven again." in done.stdout
    assert "claimed, not proven again" not in done.stdout
    answer = json.loads(trayopt("check", JOB, plan, "--certificate", certificate, "--format", "json").stdout)
    assert answer["certificate"]["whole"]
    assert {claim["standing"] for claim in answer["claimed_bounds"]} == {"proven"}
    assert not {"ortools", "highspy", "scipy"} & loaded("check", JOB, plan, "--certificate", certificate)
    forged = copy.deepcopy(solved[2])
    a_price_lowered(forged)
    certificate.write_text(dump_rows(forged))
    done = trayopt("check", JOB, plan, "--certificate", certificate, "-q")
    assert done.returncode == 1
    assert "the certificate is refused: its trays proves nothing" in done.stdout
    answer = json.loads(trayopt("check", JOB, plan, "--certificate", certificate, "--format", "json").stdout)
    standing = {claim["goal"]: claim["standing"] for claim in answer["claimed_bounds"]}
    assert standing["trays"] == "claimed"
    assert standing["legs"] == "proven"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "1:2"),
        ('{"schema": "trayopt/certificate/1", "job": {"title": "", "digest": ""}, "goals": 3}', "1:82"),
        (
            '{"schema": "trayopt/certificate/1", "job": {"title": "", "digest": ""}, "goals": [\n'
            '{"goal": "legs", "least": 4, "argument": "prices", "nodes": [{"prices": {"a": "1/0"}}]}]}',
            "2:79",
        ),
        (
            '{"schema": "trayopt/certificate/1", "job": {"title": "", "digest": ""}, "goals": [\n'
            '{"goal": "legs", "least": 4, "argument": "prices", "nodes": [{"split": "a"}]}]}',
            "a node has either a lemma, or split and most, or prices",
        ),
        (
            '{"schema": "trayopt/certificate/1", "job": {"title": "", "digest": ""}, "goals": [\n'
            '{"goal": "legs", "least": 4, "argument": "prices", "nodes": [{"lemma": []}, {"prices": {}}]}]}',
            "lemmas belong to trayopt/certificate/2",
        ),
        ('{"schema": "trayopt/certificate/3", "job": {"title": "", "digest": ""}, "goals": []}', "1:12"),
    ],
)
def test_damaged(text: str, words: str) -> None:
    faults = refusal(lambda: parse_model(text, "c.json", Certificate))
    assert faults is not None
    assert any(words in str(fault) for fault in faults), [str(fault) for fault in faults]


def test_the_schema_says_whether_a_proof_has_lemmas(solved: tuple[Job, Plan, Json]) -> None:
    """Readers of version 1 know no lemmas, and refuse version 2 by its name."""
    assert solved[2]["schema"] == "trayopt/certificate/1"
    job = load_job(JOB.parent / "2x288-swapped-halves-wall-2x6.yaml")
    values: dict[GoalName, int] = {
        "unplaced": 0, "broken_must": 0, "broken_prefer": 4, "legs": 8, "trays": 4, "crossings": 3,
    }  # fmt: skip
    made = certified(job, values, {"crossings": 3}, Clock(60.0))
    assert made.goals[-1].argument == "prices_with_orders"
    assert made.plain()["schema"] == "trayopt/certificate/2"
    assert parse_model(json.dumps(made.plain()), "c.json", Certificate).plain() == made.plain()


def test_a_batch_writes_certificates(tmp_path: Path) -> None:
    batch([JOB], tmp_path, workers=1, certificate=True)
    line = json.loads((tmp_path / "results.jsonl").read_text())
    assert line["certificate"].endswith(".certificate.json")
    assert verify(load_job(JOB), tmp_path / line["plan"], tmp_path / line["certificate"]).whole
    assert "certificate" not in Settings().plain()  # settings of before, and their results, stay what they were
    batch([JOB], tmp_path, workers=1, certificate=True, resume=True)
    assert len((tmp_path / "results.jsonl").read_text().splitlines()) == 1
