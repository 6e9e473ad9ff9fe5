"""The use cases as functions: what they take, what they give back, and what they refuse."""

from __future__ import annotations

import inspect
import json
import pkgutil
from pathlib import Path
from typing import Any, get_type_hints

import pytest

import trayopt
from tests.crewsheets.plans import WORKED, worked
from trayopt import api, check, compare, explain, judge, load_job, mend, record, sheets
from trayopt.domain.hardware import Place
from trayopt.domain.plan import Plan
from trayopt.errors import InputError
from trayopt.formats.json_out import dump
from trayopt.solver.model.decisions import Weights

JOB, PLAN = worked()


@pytest.fixture
def plan_file(tmp_path: Path) -> Path:
    path = tmp_path / "plan.json"
    path.write_text(dump(PLAN.plain()), encoding="utf-8")
    return path


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "plan.csv"
    path.write_text("trunk,fibres,stack,position\nP,1-24,left,1\nP,25-48,left,2\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("name", trayopt.__all__)
def test_every_use_case_is_typed_and_says_what_it_takes_gives_and_refuses(name: str) -> None:
    call = getattr(trayopt, name)
    said = inspect.getdoc(call) or ""
    taken = list(inspect.signature(call).parameters)
    assert set(call.__annotations__) == {*taken, "return"}
    for section in ("Parameters\n----------", "Returns\n-------", "Raises\n------"):
        assert section in said
    listed = said.split("Raises\n")[0]
    assert [parameter for parameter in taken if parameter not in listed] == []


def test_names_are_loaded_on_demand_and_no_others() -> None:
    assert get_type_hints(trayopt.__getattr__)["name"] is str
    with pytest.raises(AttributeError, match="no attribute 'sheet'"):
        _ = trayopt.sheet


def test_no_room_has_the_name_of_a_use_case() -> None:
    rooms = {module.name for module in pkgutil.iter_modules(trayopt.__path__)}
    assert rooms.isdisjoint(trayopt.__all__)
    files = {module.name for module in pkgutil.iter_modules(api.__path__)}
    assert files.isdisjoint({*trayopt.__all__, *api.__all__})


def test_a_plan_and_its_file_are_one(plan_file: Path) -> None:
    assert check(JOB, plan_file).as_dict() == check(JOB, PLAN).as_dict()
    from_file, from_plan = (judge(JOB, plan).as_dict() for plan in (plan_file, PLAN))
    assert from_file.pop("source") == str(plan_file)
    assert from_plan.pop("source") == "<plan>"
    assert from_file == from_plan
    assert sheets(JOB, plan_file).page() == sheets(JOB, PLAN).page()


def test_a_table_is_completed_by_the_best_and_only_then_compared() -> None:
    assert judge(JOB, PLAN).best is None
    beside = judge(JOB, PLAN, best=True)
    assert beside.best is not None
    assert beside.best.values == {goal.goal: goal.value for goal in PLAN.goals}


def test_what_is_built_is_named_by_text_or_by_places(table: Path) -> None:
    by_text = mend(JOB, table, built="left/1")
    by_place = mend(JOB, table, built=[Place("left", 1)])
    assert by_text.as_dict() == by_place.as_dict()
    assert by_text.plan is not None
    assert check(JOB, by_text.plan).passed


def test_weights_are_taken_by_kind(table: Path) -> None:
    assert mend(JOB, table, weights={"legs": 7}).weights == Weights(legs=7)
    assert mend(JOB, table, weights=Weights(loops=3)).weights == Weights(loops=3)


@pytest.mark.parametrize("weights", [{"trays": 1}, {"legs": -1}, {"legs": 1.5}, {"legs": True}])
def test_weights_of_no_kind_are_refused(table: Path, weights: Any) -> None:
    with pytest.raises(InputError, match="weights cannot be used") as wrong:
        mend(JOB, table, weights=weights)
    assert wrong.value.faults[0].found == "{}={}".format(*next(iter(weights.items())))


def test_two_plans_are_compared_in_either_form(plan_file: Path, table: Path) -> None:
    assert compare(JOB, plan_file, PLAN).as_dict()["better"] == "same"
    assert compare(JOB, table, PLAN).as_dict()["passed"] == [False, True]


def test_an_expected_plan_is_taken_in_every_form(plan_file: Path, table: Path) -> None:
    for expected in (PLAN, plan_file, str(plan_file), table):
        said = explain(JOB, expected, best=PLAN, ways_out=0, reproducible=True).expected
        assert said is not None
    other = PLAN.model_copy(update={"legs": (PLAN.legs[0].model_copy(update={"stack": "middle"}), *PLAN.legs[1:])})
    with pytest.raises(InputError, match="middle"):
        explain(JOB, other, best=PLAN)


@pytest.mark.parametrize(
    ("options", "message", "allowed"),
    [
        ({"only": ["strip", "maps"]}, "there is no such part", "box, steps, strip, splices"),
        ({"units": "cubits"}, "there is no such unit", "metric, feet"),
        ({"language": "tlh"}, "there is no such language", "en, de"),
        ({"settings": "no-such-file.yaml"}, "no such file", ""),
        ({"measured": "no-such-file.csv"}, "no such file", ""),
    ],
)
def test_options_of_sheets_that_there_are_not(options: Any, message: str, allowed: str) -> None:
    with pytest.raises(InputError, match=message) as wrong:
        sheets(JOB, PLAN, **options)
    assert allowed in wrong.value.faults[0].allowed


@pytest.mark.parametrize("call", [check, sheets, lambda job, plan: record(job, plan, "readings.csv")])
def test_a_table_is_no_document(call: Any, table: Path) -> None:
    with pytest.raises(InputError, match="this is a table, not a plan") as wrong:
        call(JOB, table)
    assert wrong.value.faults[0].hint.endswith(f"trayopt check JOB {table} -o plan.json")


def test_sheets_and_record_refuse_a_plan_of_another_job(tmp_path: Path) -> None:
    readings = tmp_path / "readings.csv"
    readings.write_text("fibre,wavelength_nm,a_to_b_db,b_to_a_db\nP:1,1550,0.04,0.06\n", encoding="utf-8")
    other = load_job({**WORKED, "rules": {"reach": {"bench_mm": 1801}}})
    for call in (lambda: sheets(other, PLAN), lambda: record(other, PLAN, readings)):
        with pytest.raises(InputError, match="made for another job"):
            call()


def test_a_record_writes_the_plan_as_it_was_built(tmp_path: Path) -> None:
    readings = tmp_path / "readings.csv"
    readings.write_text("fibre,wavelength_nm,a_to_b_db,b_to_a_db\nP:1,1550,0.04,0.06\n", encoding="utf-8")
    made = record(JOB, PLAN, readings, measured={"P/1": 2200})
    assert not made.passed
    assert {"as-built.json", "plan.json", "index.html"} <= set(made.write(tmp_path / "built"))
    built = json.loads((tmp_path / "built" / "as-built.json").read_text(encoding="utf-8"))
    assert built["readings"][0]["mean_db"] == 0.05
    assert built["measured"][0]["measured_mm"] == 2200
    assert Plan.model_validate_json(json.dumps(built["plan"])) == PLAN
