"""Random decisions on random tiny jobs: findings, goals and figures equal those of the brute-force oracle."""

from __future__ import annotations

import json
import math
import random
import re
from typing import Any

import pytest

from tests import oracle, strategies
from tests.build import SOLVER, job_of
from tests.example_rule import EVERY
from trayopt.checker import check, measure
from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.goals.registry import measure_all
from trayopt.rules.judge import judge
from trayopt.track.laid import Laid

pytestmark = pytest.mark.usefixtures("example_rule")
ID = {rule.name: rule.id for rule in EVERY}
LOOPS = (0, 1, 1, 1, 2, 2, 3)
SEEDS = 200


def a_job(seed: int, rng: random.Random) -> dict[str, Any]:
    """Draw a job; in every fourth one a trunk goes through."""
    return strategies.random_job(rng, rules=0.3, pins=0.5, apart=0.5, through=float(seed % 4 == 3))


def random_decision(rng: random.Random, facts: oracle.Facts) -> oracle.Decision:
    """Draw divisions, places, ways and ends; now and then places that tear splices apart, and idle legs that hang bare."""
    k = {
        trunk: tuple(rng.choice(oracle.divisors(s.ribbons)) for s in subunits)
        for trunk, subunits in facts.subunits.items()
    }
    blank = oracle.Plan(facts, oracle.Decision({}, k, {}, {}))
    legs = [leg for leg in blank.fibres if blank.splices_of[leg]]
    torn, in_turn, share = rng.random() < 0.3, rng.random() < 0.5, rng.choice((1.0, 1.0, 0.8, 0.5))
    places: dict[oracle.Leg, oracle.Place] = {}
    seen: set[oracle.Leg] = set()
    for i, leg in enumerate(legs):
        if leg in seen:
            continue
        group = {leg} if torn else together(blank, leg)
        seen |= group
        if rng.random() < share:
            place = facts.places[min(i, len(facts.places) - 1)] if in_turn else rng.choice(facts.places)
            places |= dict.fromkeys(group, place)
    box = {leg[0] for leg in places}
    box |= {facts.other_end[t] for t in box if t in facts.other_end}
    divided = {
        t: rng.choice(oracle.DIVISIONS if rng.random() < 0.1 else facts.divisions(t)) for t in facts.trunks if t in box
    }
    places |= parked(rng, blank, places, {t for t, at in divided.items() if at == "tray"})
    ways = {
        t: (rng.choice(list(facts.ports)), rng.choice(oracle.TRAVELS), rng.choice(LOOPS))
        for t in facts.trunks
        if t in box
    }
    used = {place[0] for place in places.values()}
    ends = {stack: rng.choice(list(facts.ends[stack])) for stack in facts.stacks if stack in used}
    words = {
        t: rng.choice([3, 5] if rng.random() < 0.05 else facts.ribbon_words(t)) for t in facts.ribbons_said if t in box
    }
    return oracle.Decision(ways, k, places, ends, divided, words)


def parked(
    rng: random.Random, plan: oracle.Plan, places: dict[oracle.Leg, oracle.Place], at_tray: set[str]
) -> dict[oracle.Leg, oracle.Place]:
    """Draw places for the idle legs of subunits that are opened at a tray, most of them beside a leg of their subunit."""
    found: dict[oracle.Leg, oracle.Place] = {}
    for leg in plan.fibres:
        beside = [place for other, place in places.items() if other[:2] == leg[:2]]
        if leg[0] in at_tray and beside and not plan.splices_of[leg] and rng.random() < 0.8:
            found[leg] = rng.choice(beside if rng.random() < 0.7 else plan.facts.places)
    return found


def together(plan: oracle.Plan, leg: oracle.Leg) -> set[oracle.Leg]:
    """Collect the legs that splices connect with a leg."""
    found: set[oracle.Leg] = set()
    todo = [leg]
    while todo:
        leg = todo.pop()
        if leg not in found:
            found.add(leg)
            for splice in plan.splices_of[leg]:
                todo += [plan.leg_of[splice.a, splice.a_fibre], plan.leg_of[splice.b, splice.b_fibre]]
    return found


def assignment_of(decision: oracle.Decision) -> Assignment:
    """Write a decision of the oracle as an assignment."""
    return Assignment(
        {trunk: Way(*way) for trunk, way in decision.trunks.items() if way},  # type: ignore[arg-type]
        {Leg(t, s, g, decision.k[t][s - 1]): Place(*place) for (t, s, g), place in decision.legs.items() if place},
        {stack: end for stack, end in decision.ends.items() if end},
        {trunk: at for trunk, at in decision.divide_at.items() if at},  # type: ignore[misc]
        dict(decision.ribbons),  # type: ignore[arg-type]
    )


def one_fibre(text: str) -> str:
    """Write a run of one fibre as the package does: the oracle writes 7-7, the package 7."""
    return re.sub(r"\b(\d+)-\1$", r"\1", text)


def agree(job: Job, facts: oracle.Facts, decision: oracle.Decision) -> None:
    """Compare everything that both voices say of one decision."""
    wanted = oracle.judge(facts, decision)
    assignment = assignment_of(decision)
    laid = Laid(job, assignment)
    assert tuple(measure_all(laid).values()) == wanted.goals
    found = judge(job, laid)
    broken = [(ID[rule], level, one_fibre(subject)) for rule, level, subject in wanted.broken]
    assert sorted((f.rule, f.level, f.subject) for f in found) == sorted(broken)
    plan = measure(job, assignment, status="feasible", stopped="gap", bounds={}, solver=SOLVER)
    figures = json.loads(re.sub(r'(\d+-\d+)"', lambda run: one_fibre(run[1]) + '"', json.dumps(wanted.figures)))
    written = json.loads(json.dumps(plan.plain()))
    for key in (*(("through",) if job.through else ()), "trunks", "legs", "trays", "tied", "crossings", "unplaced"):
        assert written[key] == figures[key], key
    for guide in job.enclosure.track.guides:
        filled = sum(times * math.pi * item.diameter_mm**2 / 4 for item, times in laid.passes(guide.id))
        assert filled == pytest.approx(figures["guides"][guide.id]["filled_mm2"], abs=1e-9)
    report = check(job, plan)
    assert report.figures == ()
    assert report.findings == tuple(found)
    kept = wanted.feasible and not wanted.goals[0] and not wanted.goals[1]
    assert report.passed == kept


def agree_on_some(data: strategies.Json, rng: random.Random) -> None:
    """Judge some random decisions of a job by both."""
    facts, job = oracle.Facts(data), job_of(data)
    for _ in range(4):
        agree(job, facts, random_decision(rng, facts))


@pytest.mark.parametrize("seed", range(SEEDS))
def test_random_decisions(seed: int) -> None:
    rng = random.Random(seed)
    data = a_job(seed, rng)
    agree_on_some(data, rng)


@pytest.mark.parametrize("seed", range(60))
def test_decisions_of_what_is_done_with_ribbons(seed: int) -> None:
    rng = random.Random(seed)
    data = strategies.random_job(rng, rules=0.3, pins=0.5, ribbon_work=0.8)
    agree_on_some(data, rng)


@pytest.mark.parametrize("seed", range(40))
def test_decisions_in_boxes_of_several_kinds_of_trays(seed: int) -> None:
    rng = random.Random(seed)
    data = strategies.random_job(rng, rules=0.3, pins=0.5, mixed=0.8, loose=0.7 if seed % 2 else 0.0)
    agree_on_some(data, rng)


@pytest.mark.parametrize("seed", range(12))
def test_best_decisions(seed: int) -> None:
    rng = random.Random(1000 + seed)
    data = strategies.random_job(rng, trunks=2, ribbons=2, stacks=2, positions=2, ports=2, loops=((1,),))
    best = oracle.solve(data)
    assert best is not None
    agree(job_of(data), oracle.Facts(data), best.decision)


def test_every_rule_is_broken_somewhere() -> None:
    seen: set[str] = set()
    for seed in range(SEEDS):
        rng = random.Random(seed)
        data = a_job(seed, rng)
        if seed % 8 == 0:
            work, loose = (0.0, 0.7) if seed % 16 else (0.8, 0.0)
            data = strategies.random_job(rng, mixed=0.8, ribbon_work=work, loose=loose)
        facts = oracle.Facts(data)
        for _ in range(4):
            seen |= {rule for rule, _, _ in oracle.judge(facts, random_decision(rng, facts)).broken}
    # uneven groups, two ends and legs of uncut tubes cannot be written as a decision
    assert seen == set(ID) - {"equal groups", "one end", "uncut tube"}
