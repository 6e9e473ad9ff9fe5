"""Conflicts and ways out of tiny random jobs, against every way to build them."""

from __future__ import annotations

import random

import pytest

from tests import oracle, strategies
from tests.build import job_of
from tests.explainer.brute import broken_sets, smallest_conflicts
from tests.test_oracle import opened_job
from trayopt.solver.conflict.feasibility import Trials
from trayopt.solver.conflict.minimal import conflict, conflicts, corrections
from trayopt.solver.model.groups import Question

pytestmark = pytest.mark.usefixtures("example_rule")
MOST_WAYS = 400


def micro_job(seed: int, trunks: int = 2) -> strategies.Json:
    """Draw a job so small that every way to build it can be looked at, and tight enough to clash now and then."""
    rng = random.Random(f"clash {seed}")
    job = strategies.random_job(
        rng,
        trunks=trunks,
        ribbons=1 if trunks > 2 else rng.choice([1, 2, 2]),
        stacks=rng.choice([1, 2]),
        positions=rng.choice([1, 2]),
        ends=1,
        ports=2,
        loops=((1,), (2,)),
        rules=0.3,
        pins=0.5,
        at_port=0.5,
        tight=0.9,
    )
    wishes = [name for name, (kind, level, *_) in oracle.RULES.items() if kind == "practice" and level != "must"]
    for name in rng.sample(wishes, 3):
        job["rules"][name] = "must"
    return job


def opened_micro_job(seed: int) -> strategies.Json:
    """Draw a job in which tubes are opened and legs parked, with musts about tied trays and where trunks are divided."""
    rng = random.Random(f"opened clash {seed}")
    job = opened_job(seed)
    for name in rng.sample(["alternate_stacks", "opposite_travel", "natural_travel", "same_division"], 2):
        job["rules"][name] = "must"
    job["rules"]["tied_trays"] = {"level": "must", "trays": rng.choice([1, 2])}
    job["rules"]["breakout"] = rng.choice(["must", "prefer"])
    return job


@pytest.mark.parametrize(
    ("seed", "trunks"),
    [pytest.param(seed, 2 if seed % 4 else 3, marks=[pytest.mark.slow] * (seed % 16 >= 8)) for seed in range(40)],
)
def test_conflicts_and_ways_out_are_those_of_brute_force(seed: int, trunks: int) -> None:
    hold_to_brute_force(micro_job(seed, trunks))


@pytest.mark.parametrize("seed", range(16))
def test_they_are_with_opened_tubes_and_parked_legs(seed: int) -> None:
    hold_to_brute_force(opened_micro_job(seed))


def test_conflicts_of_opened_tubes_name_both_rules() -> None:
    broken = [groups for seed in range(16) for groups in broken_sets(opened_micro_job(seed))]
    rules = {rule for groups in broken for rule, _ in groups}
    assert {"tied_trays", "breakout"} <= rules


def hold_to_brute_force(job: strategies.Json) -> None:
    """Hold conflicts and smallest ways out of a job to every way to build it."""
    broken = broken_sets(job)
    trials = Trials(Question(job_of(job)))
    everything = frozenset(trials.question.groups)
    found = conflict(trials, everything)
    if frozenset() in broken:
        assert found is None
        return
    assert found is not None
    assert found.minimal
    if not broken:
        assert found.groups == ()
        return
    known = smallest_conflicts(broken)
    assert frozenset(found.groups) in known
    apart = conflicts(trials, 10)
    assert [set(one.groups) for one in apart if frozenset(one.groups) not in known] == []
    assert len(set().union(*(one.groups for one in apart))) == sum(len(one.groups) for one in apart)
    ways = corrections(trials, [frozenset(one.groups) for one in apart], MOST_WAYS, lambda _: 1)
    assert {frozenset((g.rule, g.subject) for g in groups) for groups in ways} == broken
    assert [len(groups) for groups in ways] == sorted(len(groups) for groups in ways)


def test_the_random_jobs_clash_and_do_not() -> None:
    clashing = [seed for seed in range(40) if oracle.solve(micro_job(seed)).goals[:2] != (0, 0)]  # type: ignore[union-attr]
    assert 10 <= len(clashing) <= 35
