"""Whatever is changed in a plan, the check finds it: every figure at its own path."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator
from typing import Any

import pytest

from tests.build import SOLVER, Json, assignment_of, job_of, plan_of
from tests.case_files import put
from tests.strategies import worked_example
from trayopt.checker import Report, check, measure
from trayopt.checker.compare import NAMES
from trayopt.errors import InputError

CHOICES = {
    "port": ["bl", "br"],
    "travel": ["clockwise", "counterclockwise"],
    "divide_at": ["tray", "port"],
    "stack": ["left", "right"],
    "trunk": ["P", "Q"],
    "level": ["must", "prefer"],
    "status": ["feasible", "optimal"],
    "stopped": ["time_limit", "proven"],
    "goal": ["legs", "crossings"],
}
IDENTITY = {
    "goal", "trunk", "subunit", "group", "of", "stack", "position", "end", "sleeve", "rule", "subject",
    "port", "travel", "loops", "divide_at",
}  # fmt: skip
"""Keys that say which row it is, or what is decided: another value is another plan."""


def _setup() -> tuple[Any, Json]:
    """Build a plan that has some of everything: crossings, parked, idle and unplaced fibres, tied trays, broken rules."""
    data = worked_example()
    change = {
        "trunks.0.cable.subunits.0.count": 4,
        "trunks.1.cable.subunits.0.count": 2,
        "joins": [
            {"a": "P:1-40", "b": "Q:1-40", "name": "a"},
            {"a": "P:49-60", "b": "Q:49-60", "name": "b"},
            {"a": "P:73-84", "b": "Q:73-84", "name": "c"},
        ],
        "enclosure.stacks.0.tray.fibres": 60,
        "enclosure.stacks.0.tray.sleeve_fibres": 7,
        "trunks.0.transition_mm": 20,
    }
    for path, value in change.items():
        put(data, path, value)
    job = job_of(data)
    ways = {"P": ("bl", "clockwise", 1), "Q": ("br", "clockwise", 1)}
    legs = {"P:1-24": "left/2", "P:25-48": "left/1", "Q:1-24": "left/2", "Q:25-48": "left/1"}
    legs |= {"P:49-60": "left/1", "P:61-72": "left/2", "Q:49-60": "left/1"}
    plan = measure(
        job,
        assignment_of(job, ways, legs, divide_at={"P": "tray", "Q": "port"}),
        status="feasible",
        stopped="time_limit",
        bounds={"unplaced": 0, "legs": 3},
        solver=SOLVER,
    )
    return job, plan.plain()


JOB, PLAN = _setup()


def leaves(value: Any, steps: tuple[Any, ...] = (), named: str = "") -> Iterator[tuple[tuple[Any, ...], str, Any]]:
    """Every figure of a plan: the steps to it, its path as the check names it, and its value."""
    if isinstance(value, dict):
        for key, item in value.items():
            if (*steps, key) not in {("schema",), ("solver",)}:
                yield from leaves(item, (*steps, key), f"{named}.{key}" if named else key)
    elif isinstance(value, list):
        for i, item in enumerate(value):
            key = steps[-1]
            name = item["leg"] if key == "legs" else NAMES[key](item) if key in NAMES else str(i)
            yield from leaves(item, (*steps, i), f"{named}[{name}]")
    else:
        yield steps, named, value


def other(key: Any, value: Any) -> Any:
    """Give another value of the same kind."""
    if key in CHOICES:
        return next(choice for choice in CHOICES[key] if choice != value)
    if value is None:
        return 7.5 if key == "tube_mm" else 7 if key == "position" or key.endswith("_mm") else "left"
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        return value + 1
    if key == "because":
        return re.sub(r"\d+", lambda number: str(int(number[0]) + 1), value, count=1)
    return f"{value}1"


def mutated(steps: tuple[Any, ...], value: Any) -> Json:
    plan = copy.deepcopy(PLAN)
    at = plan
    for step in steps[:-1]:
        at = at[step]
    at[steps[-1]] = value
    return plan


def answer(plan: Json) -> Report | InputError:
    """Check a plan; a plan that cannot be one for the job is an error."""
    try:
        return check(JOB, plan_of(plan))
    except InputError as error:
        return error


def is_figure(steps: tuple[Any, ...], value: Any) -> bool:
    """Whether a value of a plan is a figure: a title is none, nor is a sentence without numbers."""
    return steps[-1] != "title" and (steps[-1] != "because" or any(sign.isdigit() for sign in value))


FIGURES = [pytest.param(*leaf, id=leaf[1]) for leaf in leaves(PLAN) if is_figure(leaf[0], leaf[2])]


def test_the_plan_has_some_of_everything_and_is_right() -> None:
    assert check(JOB, plan_of(PLAN)).figures == ()
    assert PLAN["crossings"]
    assert PLAN["tied"]
    assert PLAN["unplaced"]
    assert PLAN["broken"]
    assert any(tray["parked"] for tray in PLAN["trays"])
    assert any(leg["idle"] for leg in PLAN["legs"])
    assert any(leg["stack"] is None for leg in PLAN["legs"])
    assert any(leg["idle"] and leg["stack"] for leg in PLAN["legs"])
    assert {row["divide_at"] for row in PLAN["trunks"]} == {"tray", "port"}


@pytest.mark.parametrize(("steps", "named", "value"), FIGURES)
def test_another_value_is_found(steps: tuple[Any, ...], named: str, value: Any) -> None:
    key = steps[-1]
    new = 1_000_000 if key == "bound" else other(key, value)
    report = answer(mutated(steps, new))
    if isinstance(report, InputError):
        assert key in {"trunk", "stack", "position", "end", "port", "travel", "loops"}
        return
    assert not report.passed
    assert report.figures
    if key not in IDENTITY and not named.startswith(("crossings", "tied", "unplaced")) and "parked" not in named:
        assert named in {figure.path for figure in report.figures}


@pytest.mark.parametrize("key", ["goals", "trunks", "legs", "trays", "tied", "crossings", "broken", "unplaced"])
def test_a_row_that_is_missing_or_stands_twice_is_found(key: str) -> None:
    for i, row in enumerate(PLAN[key]):
        short, long = copy.deepcopy(PLAN), copy.deepcopy(PLAN)
        del short[key][i]
        long[key].append(copy.deepcopy(row))
        for plan in (short, long):
            report = answer(plan)
            if isinstance(report, InputError):
                assert key == "trunks"
            else:
                assert any(figure.path.startswith(key) for figure in report.figures)


@pytest.mark.parametrize("key", ["splices", "parked"])
def test_a_row_that_is_missing_in_a_tray_is_found(key: str) -> None:
    plan = copy.deepcopy(PLAN)
    row = plan["trays"][0][key].pop()
    (figure,) = check(JOB, plan_of(plan)).figures
    assert figure.path.startswith(f"trays[left/1].{key}[")
    assert (figure.claimed, figure.right) == (None, row)


def test_a_sentence_may_be_worded_in_another_way_but_not_with_other_numbers() -> None:
    plan = copy.deepcopy(PLAN)
    row = next(row for row in plan["broken"] if row["rule"] == "tray_sleeves")
    said = row["because"]
    row["because"] = f"The tray is too small: {said}"
    assert check(JOB, plan_of(plan)).figures == ()
    row["because"] = other("because", said)
    (figure,) = check(JOB, plan_of(plan)).figures
    assert (figure.path, figure.right) == (f"broken[tray_sleeves {row['subject']}].because", said)


def test_the_title_is_no_figure() -> None:
    plan = copy.deepcopy(PLAN)
    plan["job"]["title"] = "As it was called before"
    assert check(JOB, plan_of(plan)).figures == ()


def test_rows_may_stand_in_any_order() -> None:
    plan = copy.deepcopy(PLAN)
    for key in ("trunks", "legs", "trays", "tied", "crossings", "broken", "unplaced"):
        plan[key].reverse()
    assert check(JOB, plan_of(plan)).figures == ()


def test_goals_may_not() -> None:
    plan = copy.deepcopy(PLAN)
    plan["goals"].reverse()
    assert [figure.path for figure in check(JOB, plan_of(plan)).figures] == ["goals"]


def test_a_value_off_by_less_than_a_billionth_is_right() -> None:
    plan = copy.deepcopy(PLAN)
    plan["legs"][0]["tube_mm"] += 5e-10
    assert check(JOB, plan_of(plan)).figures == ()


def claims_of_proof(status: str, stopped: str, bounds: dict[str, int | None]) -> list[str]:
    plan = copy.deepcopy(PLAN)
    plan["status"], plan["stopped"] = status, stopped
    for goal in plan["goals"]:
        goal["bound"] = bounds.get(goal["goal"], goal["value"])
    return [figure.path for figure in check(JOB, plan_of(plan)).figures]


def test_claims_of_proof() -> None:
    assert claims_of_proof("optimal", "proven", {}) == []
    assert claims_of_proof("feasible", "gap", {"legs": 3}) == []
    assert claims_of_proof("optimal", "proven", {"legs": 3}) == ["status", "goals[legs].bound", "stopped"]
    assert claims_of_proof("optimal", "proven", {"legs": None}) == ["status", "goals[legs].bound", "stopped"]
    assert claims_of_proof("feasible", "time_limit", {}) == ["status", "stopped"]
    assert claims_of_proof("none", "time_limit", {"legs": 3}) == ["status"]
    assert claims_of_proof("feasible", "time_limit", {"legs": 8}) == ["goals[legs].bound"]


def test_an_explanation_of_nothing_is_found() -> None:
    plan = copy.deepcopy(PLAN)
    plan["explanation"] = {"conflicts": []}
    assert check(JOB, plan_of(plan)).figures == ()  # something is unplaced here
    data = worked_example()
    job = job_of(data)
    ways = {"P": ("bl", "clockwise", 1), "Q": ("br", "counterclockwise", 1)}
    legs = {"P:1-24": "left/1", "P:25-48": "left/2", "Q:1-24": "left/1", "Q:25-48": "left/2"}
    whole = measure(
        job, assignment_of(job, ways, legs), status="feasible", stopped="gap", bounds={}, solver=SOLVER
    ).plain()
    assert check(job, plan_of(whole)).passed
    whole["explanation"] = {"conflicts": []}
    assert [figure.path for figure in check(job, plan_of(whole)).figures] == ["explanation"]
