"""The set partition of places is made once for questions that follow each other, and says the same as one that is made anew."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from trayopt.api import load_job
from trayopt.domain.plan import GoalName
from trayopt.solver.bounds import partition_bounds
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.set_partition import SetPartition
from trayopt.solver.model.clock import Clock

JOB = Path(__file__).parents[2] / "models" / "standard" / "2x432-shuffled-wall-2x6.yaml"
QUESTIONS: tuple[tuple[GoalName, int, int, Mapping[GoalName, int | None], bool], ...] = (
    ("trays", 3, 0, {"legs": 40}, False),
    ("leg_length_mm", 3, 6, {"legs": 40, "trays": 12}, True),
    ("irregular", 3, 6, {"legs": 40, "trays": 12, "leg_length_mm": 400_000}, True),
    ("trays", 3, 6, {"legs": 40}, False),  # more plans than before
    ("trays", 2, 6, {"legs": 40}, False),  # other preferences
    ("irregular", 2, 6, {"legs": 39}, True),
)


def bound(divider: Divider, goal: GoalName, weight: int, fewest: int, limits: Mapping[GoalName, int | None]) -> int:
    return partition_bounds.placed_bound(goal, divider, divider.open, weight, fewest, limits, Clock()).bound


def test_questions_that_follow_each_other_are_put_to_one_set_partition(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[SetPartition] = []

    def noted(*given: Any, **more: Any) -> SetPartition:
        made.append(SetPartition(*given, **more))
        return made[-1]

    monkeypatch.setattr(partition_bounds, "SetPartition", noted)
    divider = Divider(load_job(JOB))
    told = []
    for goal, weight, fewest, limits, goes_on in QUESTIONS:
        before = len(made)
        told.append(bound(divider, goal, weight, fewest, limits))
        assert len(made) - before == (not goes_on), goal
    assert told == [bound(Divider(load_job(JOB)), *question[:4]) for question in QUESTIONS]
    assert any(told)
