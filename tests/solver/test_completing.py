"""What is fixed of a plan as runs of splices, and how the rest of it is found."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

import pytest

from tests.review.good_plans import FILE, STANDARD, assignment_of
from trayopt.api import load_job
from trayopt.domain.assignment import Assignment
from trayopt.domain.decision import RunAt
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.goals.registry import measure_all
from trayopt.solver.model.base import Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.repair.completing import complete
from trayopt.solver.repair.fixed import kept_model
from trayopt.track.laid import Laid

NAME = "2x288-wall-2x6.yaml"
ASKED = list[Mapping[Key, Sequence[int]]]


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> ASKED:
    """Divisions of the models that are asked."""
    found: ASKED = []

    def noted(job: Job, facts: Any, divisions: Mapping[Key, Sequence[int]], *more: Any) -> Any:
        found.append(divisions)
        return kept_model(job, facts, divisions, *more)

    monkeypatch.setattr("trayopt.solver.repair.completing.kept_model", noted)
    return found


def runs() -> tuple[Job, Assignment, list[RunAt]]:
    """Give a good plan, and where each twelve of its fibres lie: what a list of splices says that names no legs."""
    job = load_job(STANDARD / NAME)
    plan = assignment_of(job, json.loads(FILE.read_text())[NAME])
    told = [
        RunAt(claim.trunk, first, first + 11, claim.place, leg=False)
        for claim in Laid(job, plan).claims
        for first in range(claim.first, claim.last, 12)
    ]
    return job, plan, told


def test_runs_of_splices_leave_the_fewest_legs_that_lie_in_one_tray_each(asked: ASKED) -> None:
    job, plan, told = runs()
    found = complete(job, told)
    assert found.assignment is not None
    assert found.assignment.places == plan.places
    assert asked == [{key: (2,) for key in asked[0]}]


def test_runs_that_no_plan_keeps_are_asked_of_all_divisions_too(asked: ASKED) -> None:
    job, plan, told = runs()
    free = next(place for place in job.enclosure.places if place not in plan.places.values())
    wrong = [run._replace(place=Place(*free)) if i == 0 else run for i, run in enumerate(told)]
    assert complete(job, wrong).impossible
    assert any(len(of) > 1 for of in asked[-1].values())


def test_a_completion_is_told_whether_or_not_it_is_shown_to_be_the_best(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("trayopt.solver.repair.completing.BETTER", 0.0)
    job, _, told = runs()
    found = complete(job, told[::2], clock=Clock(600.0))
    assert found.assignment is not None
    assert not found.impossible
    values = measure_all(Laid(job, found.assignment))
    assert (values["unplaced"], values["broken_must"]) == (0, 0)
    assert found.bounds.get("leg_length_mm") is None
