"""From a plan back to its decisions: what can stand, and what is refused."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from tests.build import SOLVER, Json, assignment_of, claim_of, job_of, leg_of, place_of, plan_of
from tests.rules.test_cases import LEGS, WAYS
from tests.strategies import worked_example
from trayopt.checker import assignment_of as read_back
from trayopt.checker import assignment_of_claims, check, check_assignment, measure
from trayopt.checker.compare import differences
from trayopt.domain.assignment import Way
from trayopt.errors import InputError

JOB = job_of(worked_example())
ASSIGNMENT = assignment_of(JOB, WAYS, LEGS, {"left": "top"}, {"P": "tray", "Q": "tray"})
PLAN = measure(JOB, ASSIGNMENT, status="feasible", stopped="gap", bounds={}, solver=SOLVER).plain()


def changed(*changes: tuple[str, int, str, Any]) -> Json:
    """Change values of the plan: (list, row, key, value)."""
    plan = copy.deepcopy(PLAN)
    for rows, row, key, value in changes:
        plan[rows][row][key] = value
    return plan


def findings(plan: Json) -> list[tuple[str, str]]:
    """Broken rules at level always."""
    return [(found.rule, found.subject) for found in check(JOB, plan_of(plan)).at("always")]


def test_what_was_written_is_read_back() -> None:
    assignment, claims = read_back(JOB, plan_of(PLAN))
    assert assignment == ASSIGNMENT
    assert claims == [
        claim_of("P:1-24 left/1 top"),
        claim_of("P:25-48 left/2 top"),
        claim_of("Q:1-24 left/1 top"),
        claim_of("Q:25-48 left/2 top"),
    ]


@pytest.mark.parametrize(
    ("change", "where", "words"),
    [
        (("trunks", 0, "trunk", "X"), "trunks[0].trunk", "no such trunk"),
        (("trunks", 1, "trunk", "P"), "trunks[1].trunk", "is given twice; found P; allowed: every trunk once"),
        (("trunks", 0, "port", "cellar"), "trunks[0].port", "no such port; found cellar; allowed: bl, br"),
        (
            ("trunks", 0, "port", None),
            "trunks[0]",
            "only a part of port, travel and loops; allowed: all three, or none",
        ),
        (("trunks", 0, "loops", -1), "trunks[0].loops", "0 or more"),
        (("legs", 0, "trunk", "X"), "legs[0].trunk", "no such trunk"),
        (("legs", 0, "stack", "middle"), "legs[0].stack", "no such stack; found middle; allowed: left, right"),
        (("legs", 0, "position", 3), "legs[0].position", "1 to 2"),
        (("legs", 0, "position", 0), "legs[0].position", "1 to 2"),
        (("legs", 0, "end", "bottom"), "legs[0].end", "allowed: top"),
        (("legs", 0, "end", None), "legs[0]", "only a part"),
        (("legs", 0, "stack", None), "legs[0]", "only a part"),
    ],
)
def test_what_the_job_does_not_have_is_refused(change: tuple[str, int, str, Any], where: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        read_back(JOB, plan_of(changed(change)), "plan.json")
    fault = next(fault for fault in caught.value.faults if fault.where == where)
    assert fault.source == "plan.json"
    assert words in str(fault)


def test_a_leg_that_does_not_exist_is_refused() -> None:
    plan = changed(("legs", 0, "subunit", 9), ("legs", 0, "fibres", "1-999"))
    with pytest.raises(InputError, match="P/1 is not a leg of trunk P"):
        read_back(JOB, plan_of(plan))


def test_a_leg_of_a_trunk_without_a_way_is_refused() -> None:
    plan = changed(("trunks", 1, "port", None), ("trunks", 1, "travel", None), ("trunks", 1, "loops", None))
    with pytest.raises(InputError) as caught:
        read_back(JOB, plan_of(plan))
    assert [fault.where for fault in caught.value.faults] == ["legs[2]", "legs[3]"]


def test_all_faults_at_once() -> None:
    plan = changed(("trunks", 0, "port", "cellar"), ("legs", 1, "stack", "middle"), ("legs", 2, "position", 7))
    with pytest.raises(InputError) as caught:
        read_back(JOB, plan_of(plan))
    assert {fault.where for fault in caught.value.faults} == {"trunks[0].port", "legs[1].stack", "legs[2].position"}


def test_a_run_that_can_be_no_leg() -> None:
    plan = changed(("legs", 0, "of", 3), ("legs", 0, "fibres", "1-18"))
    assert findings(plan) == [("whole_legs", "Q/1.1"), ("equal_groups", "P/1")]


def test_two_divisions_of_one_subunit() -> None:
    plan = changed(
        ("legs", 3, "leg", "Q/1.4"), ("legs", 3, "group", 4), ("legs", 3, "of", 4), ("legs", 3, "fibres", "37-48")
    )
    assert findings(plan) == [("whole_legs", "P/2"), ("equal_groups", "Q/1"), ("opened_tube", "Q/1")]


def test_a_leg_in_two_trays() -> None:
    plan = copy.deepcopy(PLAN)
    plan["legs"].append(plan["legs"][0] | {"position": 2})
    assert findings(plan) == [("whole_legs", "P/1")]


def test_two_ends_of_a_stack() -> None:
    data = worked_example()
    (end,) = data["enclosure"]["stacks"][0]["ends"]
    data["enclosure"]["stacks"][0]["ends"] = [end, end | {"id": "bottom"}]
    job = job_of(data)
    plan = measure(job, ASSIGNMENT, status="feasible", stopped="gap", bounds={}, solver=SOLVER).plain()
    plan["legs"][3]["end"] = "bottom"
    report = check(job, plan_of(plan))
    assert [(found.rule, found.subject) for found in report.at("always")] == [("one_end", "left")]
    assert not report.passed


def test_an_idle_leg_in_a_tray_is_a_wrong_figure() -> None:
    data = worked_example()
    data["joins"] = [{"a": "P:1-24", "b": "Q:1-24", "name": "0"}]
    job = job_of(data)
    legs = {"P:1-24": "left/1", "Q:1-24": "left/1", "Q:25-48": "left/2"}
    assignment = assignment_of(job, WAYS, legs)
    plan = measure(job, assignment, status="feasible", stopped="gap", bounds={}, solver=SOLVER).plain()
    assert check(job, plan_of(plan)).passed
    plan["legs"][1] |= {"stack": "left", "position": 2, "end": "top"}
    report = check(job, plan_of(plan))
    assert {figure.path for figure in report.figures} == {"legs[P/2].stack", "legs[P/2].position", "legs[P/2].end"}


def test_of_two_places_the_first_one_holds() -> None:
    ways = {trunk: Way(*way) for trunk, way in WAYS.items()}
    claims = [
        claim_of(text)
        for text in (
            "P:1-24 left/1",
            "P:1-24 left/2",
            "P:25-30 left/1",
            "Q:1-12 left/1 top",
            "Q:13-36 left/1",
            "Q:25-48 left/2",
        )
    ]
    assignment = assignment_of_claims(JOB, ways, claims, {})
    assert assignment.places == {leg_of(JOB, "P:1-24"): place_of("left/1"), leg_of(JOB, "Q:1-12"): place_of("left/1")}
    assert assignment.ends == {"left": "top"}


def test_a_trunk_without_a_placed_leg_stays_outside() -> None:
    ways = {trunk: Way(*way) for trunk, way in WAYS.items()}
    assignment = assignment_of_claims(JOB, ways, [claim_of("P:1-24 left/1")], {"P": "port", "Q": "port"})
    assert assignment.ways == {"P": Way("bl", "clockwise", 1)}
    assert assignment.divide_at == {"P": "port"}


def test_a_leg_without_a_splice_can_stand_where_its_tube_is_opened_at_a_tray() -> None:
    data = worked_example()
    data["joins"] = [{"a": "P:1-24", "b": "Q:1-24", "name": "0"}]
    job = job_of(data)
    ways = {trunk: Way(*way) for trunk, way in WAYS.items()}
    claims = [claim_of(text) for text in ("P:1-24 left/1", "P:25-48 left/2", "Q:1-24 left/1", "Q:25-48 left/2")]
    spliced = {leg_of(job, "P:1-24"), leg_of(job, "Q:1-24")}
    parked = leg_of(job, "Q:25-48")
    # P/2 has no splice at all, and goes to no tray
    assert set(assignment_of_claims(job, ways, claims, {}).places) == {*spliced, parked}
    assert set(assignment_of_claims(job, ways, claims, {"Q": "tray"}).places) == {*spliced, parked}
    assert set(assignment_of_claims(job, ways, claims, {"Q": "port"}).places) == spliced
    data["trunks"][1]["divide_at"] = ["port"]
    assert set(assignment_of_claims(job_of(data), ways, claims, {}).places) == spliced


def test_where_a_plan_divides_a_trunk_is_read_back() -> None:
    job = job_of(worked_example())
    assignment = assignment_of(job, WAYS, LEGS, {"left": "top"}, {"P": "tray", "Q": "port"})
    plan = measure(job, assignment, status="feasible", stopped="gap", bounds={}, solver=SOLVER)
    assert [row.divide_at for row in plan.trunks] == ["tray", "port"]
    assert read_back(job, plan)[0] == assignment
    assert [found.rule for found in check(job, plan).at("prefer")] == ["alternate_stacks", "breakout"]


def test_a_plan_that_says_of_a_whole_trunk_that_it_is_divided_at_the_port_has_a_wrong_figure() -> None:
    (figure,) = check(JOB, plan_of(changed(("trunks", 0, "divide_at", "port")))).figures
    assert (figure.path, figure.claimed, figure.right) == ("trunks[P].divide_at", "port", "tray")


def test_a_plan_that_divides_where_the_trunk_does_not_allow_it_fails() -> None:
    data = worked_example()
    data["trunks"][1]["divide_at"] = ["tray"]
    job = job_of(data)
    plan = measure(job, ASSIGNMENT, status="feasible", stopped="gap", bounds={}, solver=SOLVER).plain()
    plan["trunks"][1]["divide_at"] = "port"
    report = check(job, plan_of(plan))
    assert [(found.rule, found.subject) for found in report.at("always")] == [("own_limits", "Q")]
    assert not report.passed


def test_decisions_without_figures() -> None:
    report = check_assignment(JOB, ASSIGNMENT)
    assert report.passed
    assert report.figures == ()
    assert report.plan.value("leg_length_mm") == 10750
    torn = check_assignment(JOB, assignment_of(JOB, WAYS, LEGS | {"Q:25-48": "right/2"}))
    assert not torn.passed
    assert torn.unplaced == 24
    assert {found.rule for found in torn.at("always")} == {"whole_legs", "divided_at_tray"}


def test_the_report_as_data() -> None:
    data = check(JOB, plan_of(changed(("legs", 0, "cut_mm", 2500)))).as_dict()
    assert (data["schema"], data["passed"]) == ("trayopt/report/1", False)
    assert data["figures"] == [{"path": "legs[P/1].cut_mm", "claimed": 2500, "right": 2600}]
    assert data["findings"][0]["rule"] == "alternate_stacks"
    assert data["plan"] == PLAN


def test_a_plan_names_who_said_each_bound() -> None:
    plan = measure(
        JOB, ASSIGNMENT, status="feasible", stopped="gap", bounds={"legs": 4}, solver=SOLVER, by={"legs": "divisions"}
    )
    assert {item.goal: (item.bound, item.by) for item in plan.goals if item.by} == {"legs": (4, "divisions")}


def test_a_difference_in_words() -> None:
    (figure,) = check(JOB, plan_of(changed(("legs", 0, "tube_mm", None)))).figures
    assert str(figure) == "legs[P/1].tube_mm: the plan says nothing, right is 5.0"


def test_another_job_is_seen() -> None:
    other = job_of(worked_example(bench_mm=1801))
    assert [figure.path for figure in check(other, plan_of(PLAN)).figures] == ["job.digest"]


def test_a_difference_inside_a_part_says_its_whole_path() -> None:
    told = list(differences({"solver": {"seed": 1}}, {"solver": {"seed": 2}}))
    assert [(item.path, item.claimed, item.right) for item in told] == [("solver.seed", 1, 2)]


def test_other_numbers_in_a_sentence_are_told_and_other_words_are_not() -> None:
    right = {"because": "left/1 holds 13 splices"}
    told = list(differences({"because": "left/1 holds 12 splices"}, right))
    assert [(item.path, item.claimed, item.right) for item in told] == [
        ("because", "left/1 holds 12 splices", "left/1 holds 13 splices")
    ]
    assert not list(differences({"because": "in left/1 there are 12 splices"}, right))
