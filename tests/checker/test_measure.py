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
    "unplaced": 0, "broken_must": 0, "broken_prefer": 1, "legs": 4, "trays": 2, "crossings": 0,
    "leg_length_mm": 10750, "irregular": 1,
}  # fmt: skip


def planned(change: Json | None = None, **case: Any) -> Plan:
    """Measure the plan of the worked example, with what differs."""
    data = worked_example()
    for path, value in (change or {}).items():
        put(data, path, value)
    job = job_of(data)
    ways = {trunk: tuple(way) for trunk, way in case.get("ways", WAYS).items()}
    assignment = assignment_of(job, ways, case.get("legs", LEGS), divide_at=case.get("divide_at"))
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
    # spec, sections 10 and 11
    plan = planned(bounds=BEST).plain()
    assert [(goal["goal"], goal["value"], goal["bound"]) for goal in plan["goals"]] == [
        (goal, value, value) for goal, value in BEST.items()
    ]
    assert [leg["leg"] for leg in plan["legs"]] == ["P/1", "P/2", "Q/1.1", "Q/1.2"]
    assert [leg["route_mm"] for leg in plan["legs"]] == [2230, 2241, 2375, 2386]
    assert [leg["cut_mm"] for leg in plan["legs"]] == [2600, 2650, 2750, 2750]
    assert [leg["entrance_mark_mm"] for leg in plan["legs"]] == [1930, 1941, 2075, 2086]
    assert [leg["tube_mm"] for leg in plan["legs"]] == [5, 5, 6, 6]
    assert [leg["fibres"] for leg in plan["legs"]] == ["1-24", "25-48", "1-24", "25-48"]
    assert plan["trunks"] == [
        {"trunk": "P", "port": "bl", "travel": "clockwise", "loops": 1, "divide_at": "tray", "strip_mm": 3000},
        {
            "trunk": "Q",
            "port": "br",
            "travel": "counterclockwise",
            "loops": 1,
            "divide_at": "tray",
            "strip_mm": 3000,
        },
    ]
    assert [(tray["stack"], tray["position"], tray["ends"], tray["sleeves"]) for tray in plan["trays"]] == [
        ("left", 1, 48, 2),
        ("left", 2, 48, 2),
    ]
    assert plan["tied"] == [["left/1", "left/2"]]
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
        "schema", "job", "status", "stopped", "goals", "trunks", "legs", "trays", "tied", "crossings", "broken",
        "unplaced", "solver",
    ]  # fmt: skip
    assert list(plan["trunks"][0]) == ["trunk", "port", "travel", "loops", "divide_at", "strip_mm"]
    assert list(plan["trays"][0]) == ["stack", "position", "ends", "sleeves", "splices", "parked"]
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
    # two ends for each of 30 splices; 18 parked of each side
    assert tray.ends == 60 + 36
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


def test_a_parked_leg_is_placed_and_idle() -> None:
    # Q/1.2 has no splice and lies alone in left/2: 24 ends; its tube of 6 mm ties left/2 to left/1
    change = {"joins": [{"a": "P:1-24", "b": "Q:1-24"}]}
    plan = planned(change, legs={"P:1-24": "left/1", "Q:1-24": "left/1", "Q:25-48": "left/2"})
    parked = plan.legs[3]
    assert (parked.leg, parked.of, parked.idle, parked.stack, parked.position) == ("Q/1.2", 2, True, "left", 2)
    # 2386 + 364 = 2750
    assert (parked.route_mm, parked.entrance_mark_mm, parked.cut_mm, parked.tube_mm) == (2386, 2086, 2750, 6)
    tray = plan.trays[1]
    assert (tray.position, tray.ends, tray.sleeves, tray.splices, tray.parked) == (2, 24, 0, (), ("Q:25-48",))
    assert plan.tied == (("left/1", "left/2"),)
    assert (plan.value("legs"), plan.value("trays"), plan.value("unplaced")) == (3, 2, 0)


@pytest.mark.parametrize(
    ("trunk", "legs", "decided", "written"),
    [
        # the normal form: at the tray where the list has it and no placed leg has k > 1
        (["tray", "port"], {"Q:1-48": "left/1"}, "port", "tray"),
        (["tray", "port"], {"Q:1-24": "left/1"}, "port", "port"),
        (["tray", "port"], {"Q:1-24": "left/1", "Q:25-48": "left/1"}, "tray", "tray"),
        (["tray", "port"], {"Q:1-24": "left/1", "Q:25-48": "left/1"}, None, "tray"),
        (["port"], {"Q:1-48": "left/1"}, None, "port"),
        (["port"], {"Q:1-24": "left/1"}, "port", "port"),
        (["tray"], {"Q:1-48": "left/1"}, None, "tray"),
        (["tray", "port"], {}, "port", None),
    ],
)
def test_where_a_trunk_is_divided(trunk: list[str], legs: dict[str, str], decided: Any, written: str | None) -> None:
    given = {"Q": decided} if decided else {}
    plan = planned({"trunks.1.divide_at": trunk}, legs=legs, ways=WAYS if legs else {}, divide_at=given)
    assert plan.trunks[1].divide_at == written


def test_tied_trays_are_listed_in_place_order() -> None:
    # Q/1 ties right/1 to right/2, Q/2 left/2 to left/3, Q/3 left/3 to left/4, P/1 whole and alone in left/1
    change = {
        "trunks.1.cable.subunits.0.count": 3,
        "trunks.0.cable.subunits.0.count": 6,
        "joins.0": {"a": "P:1-144", "b": "Q:1-144", "name": "0"},
        "enclosure.stacks.0.positions": 4,
    }
    legs = {
        "P:1-24": "left/1", "Q:1-24": "right/1", "Q:25-48": "right/2", "Q:49-72": "left/2", "Q:73-96": "left/3",
        "Q:97-120": "left/3", "Q:121-144": "left/4",
    }  # fmt: skip
    assert planned(change, legs=legs).tied == (("right/1", "right/2"), ("left/2", "left/3", "left/4"))
    assert planned(change, legs=legs, divide_at={"Q": "port"}).tied == ()


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
    # 150 mm outside the port: marks and cuts are 150 longer, 2241 + 150 + 364 = 2755, so 2800; routes are not
    plan = planned({"trunks.0.transition_mm": 150})
    assert [(leg.route_mm, leg.entrance_mark_mm, leg.cut_mm) for leg in plan.legs[:2]] == [
        (2230, 2080, 2750),
        (2241, 2091, 2800),
    ]


def test_a_tube_of_the_set() -> None:
    # Q divided at the port: two ribbons need 3.30 mm, the tube of 3.8 has 5 mm outside
    plan = planned(divide_at={"Q": "port"})
    assert [leg.tube_mm for leg in plan.legs] == [5, 5, 5, 5]


def test_crossings_are_listed_in_order() -> None:
    plan = planned(legs={"P:1-24": "left/2", "P:25-48": "left/1", "Q:1-24": "left/2", "Q:25-48": "left/1"})
    # the tube of Q/1 is one traveller
    assert plan.crossings == (("P/1", "P/2"),)
    legs = {"P:1-24": "left/2", "P:25-48": "left/1", "Q:1-24": "left/2", "Q:25-48": "left/1"}
    assert planned(legs=legs, divide_at={"Q": "port"}).crossings == (("P/1", "P/2"), ("Q/1.1", "Q/1.2"))


def test_exposed_at_off_still_gives_the_lengths() -> None:
    plan = planned({"rules": {"exposed": {"level": "off", "allowance_mm": 0, "resplice_mm": 0, "least_mm": 0}}})
    assert [leg.cut_mm for leg in plan.legs] == [2250, 2250, 2400, 2400]
    assert [trunk.strip_mm for trunk in plan.trunks] == [2250, 2400]


def test_goals_in_another_order() -> None:
    plan = planned(goal_order=["leg_length_mm", "legs", "crossings", "trays"])
    assert [goal.goal for goal in plan.goals] == [
        "unplaced", "broken_must", "broken_prefer", "leg_length_mm", "legs", "crossings", "trays",
        "irregular",
    ]  # fmt: skip


def test_an_order_that_moves_other_goals_is_refused() -> None:
    with pytest.raises(ValueError, match="allowed"):
        planned(goal_order=["unplaced"])


def test_fibres_behind_the_last_splice_are_parked_as_one_run() -> None:
    change = {"joins.0": {"a": "P:1-37", "b": "Q:1-37"}}
    plan = planned(change, legs=LEGS)
    parked = [run for tray in plan.trays for run in tray.parked]
    assert parked == ["P:38-48", "Q:38-48"]


def test_a_search_that_found_nothing_has_no_status_of_a_plan() -> None:
    job = job_of(worked_example())
    empty = measure(job, assignment_of(job, {}, {}), status="none", stopped="time_limit", bounds={}, solver=SOLVER)
    assert check(job, empty).plan.status == "none"
    assert check(job, empty).figures == ()
