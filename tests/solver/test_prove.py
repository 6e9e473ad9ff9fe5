"""Bounds proven again by a plain model: right bounds are confirmed, a bound that is too high is refuted by a plan."""

from __future__ import annotations

import itertools
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest

from tests import oracle
from tests.build import Json, job_of, plan_of
from tests.checker.test_against_oracle import assignment_of
from tests.cli.run import trayopt
from tests.solver.tiny import drawn
from trayopt import check, load_job, prove, solve
from trayopt.api import Proofs
from trayopt.checker import assignment_of as decided
from trayopt.checker import measure
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan, PlanSolver
from trayopt.errors import InputError
from trayopt.solver.model.capacity_cuts import burdens
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.run import Tuning
from trayopt.solver.prove import Claim, plain_model
from trayopt.solver.prove import prove as asked

STANDARD = Path(__file__).parents[2] / "models" / "standard"
NOBODY = PlanSolver(version="forged", seed=1, workers=1, deterministic_time=0.0)
MOST = 3000
GOALS = oracle.GOALS


def answers(proofs: Proofs) -> list[str]:
    return [proof.answer for proof in proofs.answers]


def forged(job: Job, decision: oracle.Decision) -> Plan:
    """Write a plan that claims to be the best, whatever it is."""
    made = measure(job, assignment_of(decision), status="optimal", stopped="proven", bounds={}, solver=NOBODY)
    goals = tuple(item.model_copy(update={"bound": item.value, "by": "outline"}) for item in made.goals)
    return made.model_copy(update={"goals": goals})


def judged(data: Json) -> list[tuple[oracle.Goals, oracle.Decision]] | None:
    """Give every plan of a tiny job with its goals; None where there are too many."""
    facts = oracle.Facts(data)
    found = list(itertools.islice(oracle.all_feasible(facts), MOST + 1))
    return [(oracle.judge(facts, one).goals, one) for one in found] if len(found) <= MOST else None


SOON = (382, 640, 372, 591, 704, 792, 329, 49, 67, 55, 28, 121)
"""Seeds of jobs with so few plans that they are enumerated soon; of each goal at least three have plans that are worse in it."""


@pytest.mark.parametrize(
    ("seeds", "most"), [(SOON, 2), pytest.param(range(0, 400, 4), 4, marks=pytest.mark.slow)], ids=["few", "many"]
)
def test_claims_of_tiny_jobs_are_answered_as_enumeration_answers_them(seeds: Sequence[int], most: int) -> None:
    """The best plan is confirmed in all goals; a plan that is worse in one claims too much there, and is refuted there."""
    refuted: Counter[str] = Counter()
    confirmed = 0
    for seed in seeds:
        plans = judged(data := drawn(seed, trunks=2, ribbons=2, positions=2, rules=0.3))
        if plans is None:
            continue
        job = job_of(data)
        best, decision = min(plans, key=lambda plan: plan[0])
        assert set(answers(prove(job, forged(job, decision), workers=1))) == {"confirmed"}
        confirmed += 1
        for i, goal in enumerate(GOALS):
            worse = [plan for plan in plans if plan[0][:i] == best[:i] and plan[0][i] > best[i]]
            if not worse or refuted[goal] >= most:
                continue
            _, claimed = min(worse, key=lambda plan: plan[0])
            proofs = prove(job, forged(job, claimed), workers=1)
            assert answers(proofs)[: i + 1] == ["confirmed"] * i + ["refuted"]
            assert set(answers(proofs)[i + 1 :]) <= {"not asked"}
            assert proofs.plan is not None
            assert check(job, proofs.plan).figures == ()
            assert tuple(proofs.plan.value(name) for name in GOALS[: i + 1]) <= best[: i + 1]
            refuted[goal] += 1
        if confirmed >= 12 and min(refuted[goal] for goal in GOALS) >= 2:
            break
    assert confirmed >= 10
    assert {goal for goal in GOALS if refuted[goal] >= 2} == set(GOALS)


@pytest.mark.parametrize(
    "name", ["worked-example", "2x144-wall-1x12-single", "2x432-wall-1x6-two-loops", "two-pairs-of-144-wall-1x6"]
)
def test_standard_jobs_are_confirmed(name: str) -> None:
    job = load_job(STANDARD / f"{name}.yaml")
    plan = solve(job, workers=2).plan
    proofs = prove(job, plan, time_limit_s=300, workers=2)
    assert proofs.confirmed
    assert [proof.claim for proof in proofs.answers] == [Claim(g.goal, g.value, g.bound, g.by) for g in plan.goals]


def test_a_plain_model_has_no_cut_of_a_relaxation() -> None:
    """What a box without room to spare holds at least, and what crosses at least, are not said to the model."""
    job = load_job(STANDARD / "2x432-wall-1x6-two-loops.yaml")
    model = plain_model(job, {"unplaced": 0, "broken_must": 0})
    fibres, _ = burdens(model)
    assert fibres.brought == sum(2 * model.job.enclosure.tray_at(place).fibres for place in model.places)
    lower = [
        constraint
        for constraint in model.cp.proto.constraints
        if constraint.has_linear() and constraint.linear.domain[0] > 1 and not constraint.enforcement_literal
    ]
    assert lower == []


@pytest.fixture
def claim(tmp_path: Path) -> Mapping[str, Path]:
    """Give the files of the worked example, of its best plan, and of a plan that is worse and claims to be the best."""
    job_file = STANDARD / "worked-example.yaml"
    job = load_job(job_file)
    best = solve(job, reproducible=True).plan
    turned = {"clockwise": "counterclockwise", "counterclockwise": "clockwise"}
    claims = [Claim(g.goal, g.value, g.bound) for g in best.goals]
    assert [proof.answer for proof in asked(job, decided(job, best)[0], claims, Clock(60), Tuning(1))] == [
        "confirmed"
    ] * len(GOALS)
    data = best.plain()
    for trunk in data["trunks"]:
        trunk["travel"] = turned[trunk["travel"]]
    worse = measure(
        job, decided(job, plan_of(data))[0], status="optimal", stopped="proven", bounds={}, solver=NOBODY
    ).plain()
    assert (worse["goals"][2]["goal"], worse["goals"][2]["value"]) == ("broken_prefer", 3)
    for goal in worse["goals"]:
        goal["bound"] = goal["value"]
    files = {"job": job_file, "best": tmp_path / "best.json", "worse": tmp_path / "worse.json"}
    files["best"].write_text(json.dumps(best.plain()), encoding="utf-8")
    files["worse"].write_text(json.dumps(worse), encoding="utf-8")
    return files


def test_the_command_confirms(claim: Mapping[str, Path]) -> None:
    done = trayopt("check", claim["job"], claim["best"], "--prove", "-q")
    assert done.returncode == 0
    assert done.stdout.endswith("; every bound that the plan claims is confirmed\n")


def test_the_command_refutes_and_writes_the_better_plan(claim: Mapping[str, Path], tmp_path: Path) -> None:
    assert trayopt("check", claim["job"], claim["worse"], "-q").returncode == 0
    for name in ("worse.refuting.json", "worse.refuting-2.json"):
        done = trayopt("check", claim["job"], claim["worse"], "--prove", cwd=tmp_path)
        assert done.returncode == 1
        assert "The bound 3 of broken_prefer is refuted by a plan with" in done.stdout
        assert "fails; 1 finding against it" in done.stdout.splitlines()[0]
        assert "not asked: a goal before it is refuted" in done.stdout
        assert "searching for a plan below the bound of broken_prefer" in done.stderr
        assert f"{name} written" in done.stderr
        assert trayopt("check", claim["job"], tmp_path / name, "-q").returncode == 0
    done = trayopt(
        "check", claim["job"], claim["worse"], "--prove", "-o", "better.json", "--format", "json", cwd=tmp_path
    )
    proof = json.loads(done.stdout)["proof"]
    assert (proof["refuted"], proof["confirmed"]) == (True, False)
    assert proof["plan"] == json.loads((tmp_path / "better.json").read_text(encoding="utf-8"))
    assert [goal["answer"] for goal in proof["goals"]] == ["confirmed"] * 2 + ["refuted"] + ["not asked"] * (
        len(GOALS) - 3
    )


def test_what_is_not_settled_in_time_fails_nothing(claim: Mapping[str, Path]) -> None:
    done = trayopt("check", claim["job"], claim["best"], "--prove", "--time-limit", "0.000001")
    assert done.returncode == 0
    assert "not settled: the time is over" in done.stdout
    assert (
        "No bound is refuted, and broken_prefer, legs, trays, leg_length_mm and irregular are not settled."
        in done.stdout
    )


def test_a_bound_above_the_plan_itself_is_refuted_by_it(claim: Mapping[str, Path]) -> None:
    job = load_job(claim["job"])
    data = json.loads(claim["best"].read_text(encoding="utf-8"))
    data["goals"][3]["bound"] += 1
    proofs = prove(job, plan_of(data))
    assert answers(proofs) == ["confirmed"] * 3 + ["refuted"] + ["not asked"] * (len(GOALS) - 4)
    assert proofs.plan is not None
    assert proofs.plan.value("legs") == data["goals"][3]["value"]


def test_a_goal_without_a_bound_claims_nothing(claim: Mapping[str, Path]) -> None:
    data = json.loads(claim["best"].read_text(encoding="utf-8"))
    length, irregular = data["goals"][-2:]
    assert (length["goal"], irregular["goal"]) == ("leg_length_mm", "irregular")
    length["bound"] = length["value"] - 500
    irregular["bound"] = None
    proofs = prove(load_job(claim["job"]), plan_of(data))
    assert answers(proofs) == ["confirmed"] * (len(GOALS) - 1) + ["nothing claimed"]


def test_a_table_states_no_bounds_and_a_plan_that_nobody_could_build_proves_nothing(
    claim: Mapping[str, Path], tmp_path: Path
) -> None:
    table = tmp_path / "table.csv"
    table.write_text("trunk,fibres,stack,position\nP,1-24,left,1\n", encoding="utf-8")
    done = trayopt("check", claim["job"], table, "--prove")
    assert done.returncode == 2
    assert "a table states no bounds" in done.stderr
    data = json.loads(claim["best"].read_text(encoding="utf-8"))
    data["trunks"][0]["loops"] = 2
    with pytest.raises(InputError, match="there is no plan here"):
        prove(load_job(claim["job"]), plan_of(data))
    torn = tmp_path / "torn.json"
    torn.write_text(json.dumps(data), encoding="utf-8")
    done = trayopt("check", claim["job"], torn, "--prove", "-q")
    assert done.returncode == 1
    assert "nobody could build this plan" in done.stderr
