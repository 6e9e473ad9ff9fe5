"""The plan document: the worked example figure by figure, and what only other plans show."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.build import SOLVER, Json, assignment_of, job_of, plan_of
from tests.case_files import put
from tests.rules.test_cases import LEGS, WAYS
from tests.strategies import worked_example
from trayopt.checker import check, measure
from trayopt.domain.plan import GoalName, Plan

BEST: dict[GoalName, int | None] = {
    "unplaced": 0, "broken_must": 0, "broken_prefer": 1, "legs": 4, "crossings": 0, "leg_length_mm": 9232,
    "out_of_turn": 0,
}  # fmt: skip


def planned(change: Json | None = None, **case: Any) -> Plan:
    """Measure the plan of the worked example, with what differs."""
    data = worked_example()
    for path, value in (change or {}).items():
        put(data, path, value)
    job = job_of(data)
    ways = {trunk: tuple(way) for trunk, way in case.get("ways", WAYS).items()}
    assignment = assignment_of(job, ways, case.get("legs", LEGS))
    bounds = case.get("bounds", {})
    best = bool(bounds)
    plan = measure(
        job,
        assignment,
        status="optimal" if best else "feasible",
        stopped="proven" if best else "time_limit",
        bounds=bounds,
        solver=SOLVER,
        goal_order=case.get("goal_order"),
    )
    report = check(job, plan)
    assert report.figures == ()
    assert report.plan == plan
    return plan


def test_the_worked_example() -> None:
    # spec, section 10
    plan = planned(bounds=BEST).plain()
    assert [(goal["goal"], goal["value"], goal["bound"]) for goal in plan["goals"]] == [
        (goal, value, value) for goal, value in BEST.items()
    ]
    assert [leg["leg"] for leg in plan["legs"]] == ["P/1", "P/2", "Q/1.1", "Q/1.2"]
    assert [leg["route_mm"] for leg in plan["legs"]] == [2230, 2241, 2375, 2386]
    assert [leg["cut_mm"] for leg in plan["legs"]] == [2550, 2600, 2700, 2750]
    assert [leg["entrance_mark_mm"] for leg in plan["legs"]] == [1930, 1941, 2075, 2086]
    assert [leg["tube_mm"] for leg in plan["legs"]] == [5, 5, 6, 6]
    assert [leg["fibres"] for leg in plan["legs"]] == ["1-24", "25-48", "1-24", "25-48"]
    assert plan["trunks"] == [
        {"trunk": "P", "port": "bl", "travel": "clockwise", "loops": 1, "strip_mm": 3000},
        {"trunk": "Q", "port": "br", "travel": "counterclockwise", "loops": 1, "strip_mm": 3000},
    ]
    assert [(tray["stack"], tray["position"], tray["fibres"], tray["sleeves"]) for tray in plan["trays"]] == [
        ("left", 1, 24, 2),
        ("left", 2, 24, 2),
    ]
    assert plan["trays"][1]["splices"] == [
        {"sleeve": 1, "a": "P:25-36", "b": "Q:25-36"},
        {"sleeve": 2, "a": "P:37-48", "b": "Q:37-48"},
    ]
    assert [(found["rule"], found["level"], found["subject"]) for found in plan["broken"]] == [
        ("alternate_stacks", "prefer", "P/2")
    ]
    assert plan["crossings"] == plan["unplaced"] == []
    assert "explanation" not in plan


def test_the_worked_example_passes() -> None:
    data = worked_example()
    report = check(job_of(data), planned(bounds=BEST))
    assert report.passed
    assert [found.rule for found in report.at("prefer")] == ["alternate_stacks"]
    assert report.at("always", "must") == ()


def test_keys_stand_in_the_order_of_the_spec() -> None:
    plan = planned(bounds=BEST).plain()
    assert list(plan) == [
        "schema", "job", "status", "stopped", "goals", "trunks", "legs", "trays", "crossings", "broken", "unplaced",
        "solver",
    ]  # fmt: skip
    assert list(plan["legs"][0]) == [
        "leg", "trunk", "subunit", "group", "of", "fibres", "stack", "position", "end", "route_mm", "entrance_mark_mm",
        "cut_mm", "tube_mm", "idle",
    ]  # fmt: skip


def test_a_plan_reads_back_as_it_was_written() -> None:
    plan = planned(bounds=BEST)
    assert plan_of(json.loads(json.dumps(plan.plain()))) == plan


def test_parked_fibres() -> None:
    # P:1-6 and P:19-24 of P/1, with P:25-30 of P/2 in the same tray: 7-18 are spliced
    plan = planned(
        {"joins": [{"a": "P:7-18", "b": "Q:7-18"}, {"a": "P:31-48", "b": "Q:31-48"}]},
        legs={"P:1-24": "left/1", "P:25-48": "left/1", "Q:1-48": "left/1"},
    )
    (tray,) = plan.trays
    assert tray.parked == ("P:1-6", "P:19-30", "Q:1-6", "Q:19-30")
    # 30 splices; 18 parked of each
    assert tray.fibres == 30 + 36
    # runs 7-12, 13-18, 31-36, 37-48 on both sides
    assert [splice.a for splice in tray.splices] == ["P:7-12", "P:13-18", "P:31-36", "P:37-48"]


def test_one_parked_fibre() -> None:
    plan = planned({"joins": [{"a": "P:2-24", "b": "Q:1-23"}]}, legs={"P:1-24": "left/1", "Q:1-24": "left/1"})
    assert plan.trays[0].parked == ("P:1", "Q:24")


def test_sleeves_are_cut_from_the_lowest_fibre() -> None:
    # sleeves of 5: 12 = 5 + 5 + 2
    plan = planned({"enclosure.stacks.0.tray.sleeve_fibres": 5}, legs={"P:1-24": "left/1", "Q:1-24": "left/1"})
    assert [splice.a for splice in plan.trays[0].splices] == [
        "P:1-5",
        "P:6-10",
        "P:11-12",
        "P:13-17",
        "P:18-22",
        "P:23-24",
    ]
    assert [splice.sleeve for splice in plan.trays[0].splices] == [1, 2, 3, 4, 5, 6]


def test_sleeves_go_by_the_earlier_trunk() -> None:
    # written from Q's side, last fibres first
    joins = [{"a": "Q:13-24", "b": "P:1-12"}, {"a": "Q:1-12", "b": "P:13-24"}]
    plan = planned({"joins": joins}, legs={"P:1-24": "left/1", "Q:1-24": "left/1"})
    assert [(splice.a, splice.b) for splice in plan.trays[0].splices] == [("P:1-12", "Q:13-24"), ("P:13-24", "Q:1-12")]


def test_every_leg_is_listed() -> None:
    # P/2 has no spliced fibre and stays whole; Q/1.2 has none; Q/1.1 lies in a tray
    plan = planned({"joins": [{"a": "P:1-24", "b": "Q:1-24"}]}, legs={"P:1-24": "left/1", "Q:1-24": "left/1"})
    assert [(leg.leg, leg.of, leg.idle, leg.stack) for leg in plan.legs] == [
        ("P/1", 1, False, "left"),
        ("P/2", 1, True, None),
        ("Q/1.1", 2, False, "left"),
        ("Q/1.2", 2, True, None),
    ]
    idle = plan.legs[3]
    assert (idle.position, idle.end, idle.route_mm, idle.entrance_mark_mm, idle.cut_mm, idle.tube_mm) == (None,) * 6


def test_a_subunit_without_a_placed_leg_is_one_leg() -> None:
    plan = planned(legs={}, ways={})
    assert [(leg.leg, leg.of, leg.idle) for leg in plan.legs] == [
        ("P/1", 1, False),
        ("P/2", 1, False),
        ("Q/1", 1, False),
    ]
    assert {trunk.port for trunk in plan.trunks} == {None}
    assert {trunk.strip_mm for trunk in plan.trunks} == {None}


def test_unplaced_runs_are_longest_within_a_join() -> None:
    joins = [{"a": "P:1-30", "b": "Q:1-30"}, {"a": "P:31-48", "b": "Q:31-48"}]
    plan = planned({"joins": joins}, legs={"P:1-24": "left/1", "Q:1-24": "left/1"})
    assert [(run.a, run.b) for run in plan.unplaced] == [("P:25-30", "Q:25-30"), ("P:31-48", "Q:31-48")]
    assert plan.value("unplaced") == 24


def test_unplaced_runs_part_where_something_is_placed() -> None:
    legs = {"P:13-24": "left/1", "Q:13-24": "left/1"}
    plan = planned(legs=legs)
    assert [(run.a, run.b) for run in plan.unplaced] == [("P:1-12", "Q:1-12"), ("P:25-48", "Q:25-48")]


def test_marks_are_measured_from_the_jacket() -> None:
    # 150 mm outside the port: marks and cuts are 150 longer, 2241 + 150 + 320 = 2711, so 2750; routes are not
    plan = planned({"trunks.0.transition_mm": 150})
    assert [(leg.route_mm, leg.entrance_mark_mm, leg.cut_mm) for leg in plan.legs[:2]] == [
        (2230, 2080, 2700),
        (2241, 2091, 2750),
    ]


def test_a_tube_of_the_set() -> None:
    # Q divided at the port: two ribbons need 3.30 mm, the tube of 3.8 has 5 mm outside
    plan = planned({"trunks.1.divide_at": "port"})
    assert [leg.tube_mm for leg in plan.legs] == [5, 5, 5, 5]


def test_crossings_are_listed_in_order() -> None:
    plan = planned(legs={"P:1-24": "left/2", "P:25-48": "left/1", "Q:1-24": "left/2", "Q:25-48": "left/1"})
    assert plan.crossings == (("P/1", "P/2"), ("Q/1.1", "Q/1.2"))


def test_exposed_at_off_still_gives_the_lengths() -> None:
    plan = planned({"rules": {"exposed": {"level": "off", "allowance_mm": 0, "resplice_mm": 0, "least_mm": 0}}})
    assert [leg.cut_mm for leg in plan.legs] == [2250, 2250, 2400, 2400]
    assert [trunk.strip_mm for trunk in plan.trunks] == [2250, 2400]


def test_goals_in_another_order() -> None:
    plan = planned(goal_order=["leg_length_mm", "legs", "crossings"])
    assert [goal.goal for goal in plan.goals] == [
        "unplaced", "broken_must", "broken_prefer", "leg_length_mm", "legs", "crossings", "out_of_turn",
    ]  # fmt: skip


def test_an_order_that_moves_other_goals_is_refused() -> None:
    with pytest.raises(ValueError, match="allowed"):
        planned(goal_order=["unplaced"])
