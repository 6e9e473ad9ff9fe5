"""The minutes of a whole plan are those of its steps, whoever counts them."""

from __future__ import annotations

import pytest

from tests.crewsheets import plans
from trayopt.api import load_job
from trayopt.checker.claims import assignment_of
from trayopt.crewsheets.book import Book
from trayopt.crewsheets.marks import Marks
from trayopt.crewsheets.order import acts_of
from trayopt.crewsheets.settings import Settings
from trayopt.crewsheets.steps import minutes_of
from trayopt.domain.assignment import Way
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.labour import Labour
from trayopt.domain.plan import Plan
from trayopt.rules.exposed import Exposed
from trayopt.track.labour import crew_minutes
from trayopt.track.laid import Laid

PACE = Labour(**{name: 1 + i / 7 for i, name in enumerate(Labour.model_fields) if name != "two_people_factor"})
"""Paces that all differ, so that no work can stand for another."""


@pytest.mark.parametrize("made", [plans.worked, plans.ported, plans.half, plans.gone], ids=lambda made: made.__name__)
@pytest.mark.parametrize("pace", [Labour(), PACE], ids=["usual", "all differ"])
def test_the_minutes_of_a_plan_are_those_of_its_steps(made: object, pace: Labour) -> None:
    job, plan = made()  # type: ignore[operator]
    assert whole(job, plan, pace) == pytest.approx(of_steps(job, plan, pace))


@pytest.mark.parametrize("name", ["2x432-wall-2x6", "2x1728-wall-3x8-port"])
def test_the_minutes_of_a_standard_plan_are_those_of_its_steps(name: str) -> None:
    job, plan = plans.straight(name)
    assert whole(job, plan, PACE) == pytest.approx(of_steps(job, plan, PACE))


def test_a_single_fibre_takes_the_single_pace() -> None:
    """A run of 13 splices makes a sleeve of 12 and one of 1."""
    data = {**plans.WORKED, "joins": [{"a": "P:1-13", "b": "Q:1-13"}]}
    job = load_job(data)
    places = {Leg("P", 1, 1, 1): Place("left", 1), Leg("Q", 1, 1, 1): Place("left", 1)}
    ways = {"P": Way("bl", "clockwise", 1), "Q": Way("br", "counterclockwise", 1)}
    plan = plans.planned(job, ways, places)
    free = Labour(**dict.fromkeys(Labour.model_fields, 0) | {"two_people_factor": 1})
    pace = free.model_copy(update={"ribbon_splice_min": 8.0, "single_splice_min": 2.0})
    assert whole(job, plan, pace) == of_steps(job, plan, pace) == 8 + 2


def test_tubes_that_are_cut_back_take_their_minutes() -> None:
    """P/2 has no splice, and neither has Q's other half at the port."""
    data = {**plans.WORKED, "trunks": [{**trunk, "idle": "cut_back"} for trunk in plans.WORKED["trunks"]]}
    data["joins"] = [{"a": "P:1-24", "b": "Q:1-24"}]
    job = load_job(data)
    places = {Leg("P", 1, 1, 1): Place("left", 1), Leg("Q", 1, 1, 2): Place("left", 1)}
    ways = {"P": Way("bl", "clockwise", 1), "Q": Way("br", "counterclockwise", 1)}
    plan = plans.planned(job, ways, places, {"Q": "port"})
    free = Labour(**dict.fromkeys(Labour.model_fields, 0) | {"two_people_factor": 1})
    pace = free.model_copy(update={"cut_back_min_per_tube": 5.0})
    assert whole(job, plan, pace) == of_steps(job, plan, pace) == 2 * 5
    assert whole(job, plan, PACE) == pytest.approx(of_steps(job, plan, PACE))


def whole(job: Job, plan: Plan, pace: Labour) -> float:
    return crew_minutes(Laid(job, assignment_of(job, plan)[0]), Exposed().parameters(job), pace)


def of_steps(job: Job, plan: Plan, pace: Labour) -> float:
    book = Book(job, plan, Settings(labour=pace))
    marks = Marks(book, {})
    return sum(minutes_of(book, marks, act) for act in acts_of(book))
