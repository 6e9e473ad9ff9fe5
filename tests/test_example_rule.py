"""The example rule in every use: bounds and plans against brute force, check, conflict, mend, batch, README and schema.

It was added by the recipe of DEVELOPERS.md and nothing more; no other file of the package knows it.
"""

from __future__ import annotations

import itertools
import json
import random
import runpy
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from tests import oracle, strategies
from tests.batches.sweeps import run
from tests.build import Json, job_of
from tests.checker.test_against_oracle import agree as agree_on_decision
from tests.example_rule import StackTrunks, registered
from tests.review.test_mend import counted, spoiled
from tests.rules.test_cases import lay
from tests.solver.test_blocks import touched
from tests.solver.tiny import agree
from trayopt.api import json_schema, load_job
from trayopt.batches.results import Results
from trayopt.batches.work import solve_job
from trayopt.domain.finding import Level
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.library.find import shipped
from trayopt.review.desk import review_table
from trayopt.review.reading import parse_handmade
from trayopt.solver.bounds import pattern_bounds
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.partition_bounds import (
    FirstGoals,
    placed_bound,
)
from trayopt.solver.bounds.pattern_bounds import count
from trayopt.solver.bounds.pattern_counts import in_scope
from trayopt.solver.bounds.place_counts import goal_bound
from trayopt.solver.bounds.preference_bounds import can_be_placed, preference_bound
from trayopt.solver.bounds.segments import Segments
from trayopt.solver.bounds.settled_segments import SettledSegments
from trayopt.solver.bounds.unplaced import out_by_stack_counts, out_of_trays
from trayopt.solver.heuristics.completion import RelaxedModel
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.decisions import Weights, changes
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.run import Tuning
from trayopt.solver.repair.nearest import nearest

pytestmark = pytest.mark.usefixtures("example_rule")
STRICT = Policy("hard", "soft")
FOUR = {"trunks": 4, "stacks": 2, "ribbons": 1, "positions": 2}
THREE = {"trunks": 3, "stacks": 2}


def drawn(seed: int, **knobs: Any) -> Json:
    """Draw a tiny job in which the rule is set, and now and then no plan can keep it."""
    rng = random.Random(seed)
    data: Json = strategies.random_job(rng, **(knobs or rng.choice([THREE, FOUR])))
    level = rng.choice(["must", "must", "prefer"])
    data["rules"]["stack_trunks"] = {"level": level, "trunks": rng.choice([1, 2, 2, 3])}
    return data


def best_of(seed: int) -> tuple[Json, oracle.Best]:
    """Draw a job, and give its best plan by brute force."""
    data = drawn(seed)
    best = oracle.solve(data)
    assert best is not None
    return data, best


@pytest.mark.parametrize("first", range(0, 32, 8))
def test_plans_are_those_of_brute_force(first: int) -> None:
    for seed in range(first, first + 8):
        agree(drawn(seed), workers=1, explain=False)


def test_brute_force_breaks_it_and_keeps_it_at_a_price() -> None:
    """The jobs are no empty test: in some the rule is broken, in some the best plan is another one because of it."""
    broken = other = 0
    for seed in range(32):
        data, best = best_of(seed)
        judged = oracle.judge(data, best.decision)
        broken += any(rule == "stack_trunks" for rule, *_ in judged.broken)
        free = oracle.solve(data | {"rules": data["rules"] | {"stack_trunks": "off"}})
        assert free is not None
        other += free.goals != best.goals
    assert broken > 2
    assert other > 5


@pytest.mark.parametrize("first", range(100, 220, 40))
def test_bounds_never_promise_too_much(first: int) -> None:
    """Every relaxation takes the rule in or leaves it out: no bound is above the best plan, and none denies a plan."""
    met = Counter[str]()
    for seed in range(first, first + 40):
        data, best = best_of(seed)
        unplaced, musts, prefers, legs, trays, _, length, irregular = best.goals
        job = job_of(data)
        assert max(out_by_stack_counts(job, Clock()), out_of_trays(job, Clock())) <= unplaced, f"seed {seed}"
        if unplaced:
            levels: tuple[Level, ...] = () if musts else ("must",)
            assert goal_bound(job, "trays", levels, unplaced, {"legs": legs}, Clock()) <= trays, f"seed {seed}"
            most: dict[GoalName, int] = {"legs": legs, "trays": trays}
            assert goal_bound(job, "leg_length_mm", levels, unplaced, most, Clock()) <= length, f"seed {seed}"
        divider = Divider(job)
        if divider.hopeless:
            continue
        if not can_be_placed(job, divider.open, Clock()):
            assert unplaced, f"seed {seed}"
        least = preference_bound(job, divider.open, Clock())
        if unplaced or musts:
            met["denied"] += least is None
            continue
        assert least is not None, f"seed {seed}: the outline denies a plan that is there"
        weight = FirstGoals(divider, divider.open, Clock()).weight(least)
        bounds = {
            "weight": (weight, prefers),
            "outline": (least, prefers),
            "legs": (FirstGoals(divider, divider.open, Clock()).legs(prefers).bound, legs),
        }
        limits: dict[GoalName, int] = {"legs": legs}
        placed: dict[GoalName, int] = {"trays": trays, "leg_length_mm": length, "irregular": irregular}
        for goal, value in placed.items():
            bounds[goal] = (placed_bound(goal, divider, divider.open, prefers, legs, limits, Clock()).bound, value)
            limits = {**limits, goal: value}
        left = FirstGoals(divider, divider.open, Clock()).narrowed(prefers, legs, divider.open)
        for trunk, number in left:
            assert best.decision.k[trunk][number - 1] in left[trunk, number], f"seed {seed}"
        blocks = Segments(divider, divider.open, STRICT, all_placed=True, clock=Clock())
        bounds["blocks"] = (RelaxedModel(blocks, Clock()).least(blocks.broken("prefer")).bound, prefers)
        bounds |= _settled(divider, best, job)
        for name, (bound, value) in bounds.items():
            assert bound is not None, f"seed {seed}: {name} denies a plan that is there"
            assert bound <= value, f"seed {seed}: {name}"
            met[name] += bound == value
        met["whole"] += 1
    assert met["whole"] > 3
    assert min(met["weight"], met["outline"], met["blocks"]) >= 0.7 * met["whole"]


def _settled(divider: Divider, best: oracle.Best, job: Job) -> dict[str, tuple[int | None, int]]:
    """Bound what is left with the divisions of the best plan: by counts of kinds, and by blocks of settled divisions."""
    bounds: dict[str, tuple[int | None, int]] = {}
    divisions = {
        (trunk, number): (best.decision.k[trunk][number - 1],) if (trunk, number) in touched(best) else open_[:1]
        for (trunk, number), open_ in divider.open.items()
    }
    model = build(job, STRICT, all_placed=True, divisions=divisions)
    if in_scope(model):
        _, _, prefers, _, trays, _, length, _ = best.goals
        counted_ = count(model, prefers, Clock(), trays=trays)
        bounds["counts"] = (None if counted_ is None else counted_.bound, length)
        bounds["counted trays"] = (pattern_bounds.placed_bound("trays", model, prefers, {}, Clock()), trays)
    blocks = SettledSegments(divider, divisions, STRICT, all_placed=True, clock=Clock())
    if blocks.able:
        bounds["settled"] = (RelaxedModel(blocks, Clock()).least(blocks.goal("broken_prefer")).bound, best.goals[2])
    return bounds


def test_the_check_says_what_the_oracle_says() -> None:
    for seed in range(40):
        data, best = best_of(seed)
        agree_on_decision(job_of(data), oracle.Facts(data), best.decision)


def test_a_table_that_breaks_it_is_reviewed_with_what_to_do() -> None:
    job = lay({"set": {"rules": {"stack_trunks": {"level": "must", "trunks": 1}, "reach": {"bench_mm": 1800}}}}).job
    rows = ["trunk,fibres,stack,position,port,travel,loops"]
    rows += ["P,1-24,left,1,bl,clockwise,1", "P,25-48,left,2,bl,clockwise,1"]
    rows += ["Q,1-24,left,1,br,counterclockwise,1", "Q,25-48,left,2,br,counterclockwise,1"]
    found = review_table(job, parse_handmade(job, ("\n".join(rows) + "\n").encode(), "plan.csv"))
    remark = next(remark for remark in found.remarks if remark.rule == "stack_trunks")
    assert (remark.level, remark.subject, remark.fails) == ("must", "left", True)
    assert remark.mend.startswith(
        "change what the plan decides about left, so that: 1 trunk at most have legs on it; the job has 2; "
    )
    assert remark.cells == ("2:13", "3:14", "4:13", "5:14")


@pytest.mark.parametrize("seed", range(6))
def test_a_spoiled_plan_is_mended_with_the_fewest_changes(seed: int) -> None:
    rng = random.Random(seed)
    for i in itertools.count(1000 * seed):
        data = drawn(i, trunks=3, ribbons=1, stacks=2, positions=1, ends=1, ports=2, loops=((1,),), rules=0.0)
        data["rules"]["stack_trunks"] = {"level": "must", "trunks": 2}
        every = list(itertools.islice(oracle.all_feasible(data), 4001))
        good = [one for one in every if oracle.judge(data, one).goals[:2] == (0, 0)] if len(every) <= 4000 else []
        if good:
            break
    job = job_of(data)
    given = spoiled(rng, data, rng.choice(good))
    least = min(counted(data, given, one, Weights()) for one in good)
    found = nearest(job, given, weights=Weights(), tuning=Tuning(workers=1))
    assert found.assignment is not None
    assert found.proven
    assert (found.weighed, found.bound) == (least, least)
    assert changes(job, given, found.assignment).weighed(Weights()) == least


def with_rule(job: Json, settings: Json) -> Json:
    """Do what a worker of a batch does, with the rule registered in its process."""
    with registered():
        return solve_job(job, settings)


def test_a_batch_solves_jobs_with_it_in_processes_of_their_own(tmp_path: Path) -> None:
    job = shipped() / "standard" / "four-trunks-two-pairs-wall-3x8.yaml"
    text = job.read_text(encoding="utf-8").replace("wall-3x8", "wall-2x10") + "rules: {stack_trunks: must}\n"
    (tmp_path / "four.yaml").write_text(text, encoding="utf-8")
    run([tmp_path / "four.yaml"], tmp_path / "out", work="tests.test_example_rule:with_rule")
    (line,) = Results(tmp_path / "out").lines()
    assert line["status"] == "optimal"
    assert (line["goals"]["broken_must"], line["goals"]["broken_prefer"]) == (0, 4)
    plan = json.loads((tmp_path / "out" / line["plan"]).read_text(encoding="utf-8"))
    trunks = {stack: {leg["trunk"] for leg in plan["legs"] if leg["stack"] == stack} for stack in ("left", "right")}
    assert sorted(map(sorted, trunks.values())) == [["E1", "W1"], ["N1", "S1"]]


def test_readme_and_schema_tell_of_it(capsys: pytest.CaptureFixture[str]) -> None:
    runpy.run_path(str(Path(__file__).parents[1] / ".ci" / "readme.py"))["rules"]()
    row = next(line for line in capsys.readouterr().out.splitlines() if "`stack_trunks`" in line)
    assert row.startswith(
        "| `stack_trunks` | practice | off; trunks 2 | more than `trunks` (2) trunks have a placed leg"
    )
    assert "stack_trunks" in json.dumps(json_schema("job"))


def test_a_job_file_knows_it_only_while_it_is_registered(tmp_path: Path) -> None:
    path = tmp_path / "four.yaml"
    job = shipped() / "standard" / "four-trunks-two-pairs-wall-3x8.yaml"
    path.write_text(job.read_text(encoding="utf-8") + "rules: {stack_trunks: {level: must, trunks: 3}}\n")
    assert StackTrunks().parameters(load_job(path)).trunks == 3
