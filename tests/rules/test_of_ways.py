"""Rules to which the ways of trunks do not matter: they find the same where trunks go another way."""

from __future__ import annotations

import json
from itertools import islice, product
from random import Random

import pytest

from tests.review.good_plans import FILE, STANDARD, assignment_of
from trayopt.api import load_job
from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.base import TRAVELS
from trayopt.domain.hardware import Place
from trayopt.rules.judge import judge, judge_ways
from trayopt.rules.registry import BY_ID, RULES
from trayopt.track.laid import Laid

PLANS = json.loads(FILE.read_text())
SHUFFLES = 6
"""Plans a job: the good one, and others with a few legs in trays where they may break anything."""


def test_some_rules_ask_for_no_way() -> None:
    assert {rule.id for rule in RULES if not rule.of_ways} >= {"whole_legs", "tray_fibres"}


@pytest.mark.parametrize("name", sorted(PLANS)[::6])
def test_plans_that_differ_only_in_ways_differ_only_in_rules_of_ways(name: str) -> None:
    job, chance = load_job(STANDARD / name), Random(name)
    good = assignment_of(job, PLANS[name])
    trays: list[Place] = list(job.enclosure.places)
    broken = 0
    for number in range(SHUFFLES):
        moved = {leg: chance.choice(trays) for leg in chance.sample(sorted(good.places, key=str), min(number, 4))}
        like = Laid(job, Assignment(good.ways, {**good.places, **moved}, good.ends, good.divide_at))
        options = product(job.enclosure.port_by_id, TRAVELS, (0, 1))
        for port, travel, loops in islice(options, 4):
            other = like.going(dict.fromkeys(good.ways, Way(port, travel, loops)))
            found, of_ways = judge(job, other), judge_ways(job, other)
            others = [item for item in judge(job, like) if not BY_ID[item.rule].of_ways]
            assert [item for item in found if not BY_ID[item.rule].of_ways] == others
            assert [item for item in found if BY_ID[item.rule].of_ways] == of_ways
            broken += len(others)
    assert broken
