"""Planted conflicts: the known set is found, proven minimal, and is the only one."""

from __future__ import annotations

import pytest

from tests.build import job_of
from tests.example_rule import SETTABLE
from tests.explainer.brute import broken_sets, smallest_conflicts
from tests.explainer.planted import PLANTED, Planted
from trayopt.solver.conflict.feasibility import Trials
from trayopt.solver.conflict.minimal import conflicts
from trayopt.solver.model.groups import LIMITS, Question

pytestmark = pytest.mark.usefixtures("example_rule")
NAMES = [planted.name for planted in PLANTED]


@pytest.mark.parametrize("planted", PLANTED, ids=NAMES)
def test_the_planted_set_is_found_and_nothing_else(planted: Planted) -> None:
    found = conflicts(Trials(Question(job_of(planted.job()))), 3)
    assert [sorted(map(str, one.groups)) for one in found] == [sorted(planted.groups)]
    assert found[0].minimal


@pytest.mark.parametrize(
    "planted",
    [
        pytest.param(planted, id=planted.name, marks=[pytest.mark.slow] * (i % 2 or planted.slow))
        for i, planted in enumerate(PLANTED)
        if planted.brute
    ],
)
def test_brute_force_knows_no_other_set(planted: Planted) -> None:
    known = smallest_conflicts(broken_sets(planted.job()))
    assert {frozenset(f"{rule} {subject}" for rule, subject in groups) for groups in known} == {planted.groups}


def test_every_rule_that_can_be_a_must_is_planted() -> None:
    planted = {group.partition(" ")[0] for item in PLANTED for group in item.groups}
    assert planted == set(SETTABLE) | set(LIMITS)
