"""JSON: plans in, with line and column for every fault; documents out, whole or not at all."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.expected import refusal
from trayopt.domain.plan import Plan
from trayopt.errors import InputError
from trayopt.formats.json_in import parse_json, parse_model, read_plan
from trayopt.formats.json_out import dump, dump_rows, write_whole

PLAN = {
    "schema": "trayopt/plan/2",
    "job": {"title": "t", "digest": "0"},
    "status": "optimal",
    "stopped": "proven",
    "goals": [{"goal": "unplaced", "value": 0, "bound": 0}, {"goal": "legs", "value": 4, "bound": None}],
    "trunks": [{"trunk": "P", "port": "bl", "travel": "clockwise", "loops": 1, "divide_at": "tray", "strip_mm": 3000}],
    "legs": [],
    "trays": [],
    "tied": [["left/1", "left/2"]],
    "crossings": [["P/1.2", "P/2.1"]],
    "broken": [],
    "unplaced": [],
    "solver": {"version": "9", "seed": 0, "workers": 1, "deterministic_time": 0.5},
}


def faults(text: str) -> list[str]:
    with pytest.raises(InputError) as wrong:
        parse_model(text, "p", Plan)
    return [str(fault).removeprefix("p:") for fault in wrong.value.faults]


def test_a_plan_is_read_and_written_the_same(tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    text = dump_rows(PLAN)
    write_whole(path, text)
    plan = read_plan(path)
    assert plan.plain() == PLAN
    assert dump_rows(plan.plain()) == text
    assert json.loads(text) == PLAN
    assert '  "goals": [\n    {"goal": "unplaced", "value": 0, "bound": 0},\n' in text


def test_a_schema_key_and_a_byte_order_mark_are_accepted(tmp_path: Path) -> None:
    (tmp_path / "p.json").write_text("\ufeff" + json.dumps({"$schema": "x", **PLAN}), encoding="utf-8")
    assert read_plan(tmp_path / "p.json").status == "optimal"


def test_faults_have_line_and_column() -> None:
    text = json.dumps(PLAN, indent=1)
    text = (
        text.replace('"optimal"', '"optimale"').replace('"seed": 0', '"sed": 0').replace('"value": 4', '"value": 4.5')
    )
    assert faults(text) == [
        "7:12: status is not allowed; found 'optimale'; allowed: optimal, feasible, none; did you mean 'optimal'?",
        "17:13: value has the wrong type; found 4.5; allowed: a whole number",
        "49:3: unknown key 'sed'; allowed: version, seed, workers, deterministic_time; did you mean 'seed'?",
    ]


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "1:1: this is not valid JSON: Expecting value; the file is empty"),
        ('{"a": 1,\n}', "2:1: this is not valid JSON: Expecting property name enclosed in double quotes"),
        ('{"a": NaN}', "1:7: a number that is not finite; found NaN"),
        ('{"a":\n -Infinity}', "2:2: a number that is not finite; found -Infinity"),
        ("[" * 100_000, "1:51: nested too deeply; allowed: up to 50 levels"),
        ('{"a": ' + "9" * 5000 + "}", "1:7: a number of more than 18 digits; found " + "9" * 57 + "..."),
        ('{"a": "\t"}', "1:8: this is not valid JSON: Invalid control character at"),
        ("[1] 2", "1:5: this is not valid JSON: Extra data"),
    ],
)
def test_what_is_no_json_is_told_at_its_place(text: str, fault: str) -> None:
    assert faults(text) == [fault]


def test_a_key_that_stands_twice_is_told() -> None:
    text = json.dumps(PLAN).replace('"seed": 0', '"seed": 0,\n"seed": 1')
    assert faults(text) == ["2:1: the key 'seed' is given twice; allowed: every key once; take one out"]


@settings(max_examples=200)
@given(st.text(st.sampled_from('{}[]",:0123456789.-eE\\ntrufalse \n'), max_size=40))
def test_any_text_is_read_or_refused_at_a_place(text: str) -> None:
    for read in (lambda: parse_json(text, "p"), lambda: parse_model(text, "p", Plan)):
        assert all(fault.line > 0 for fault in refusal(read) or ())


@settings(max_examples=100)
@given(st.data())
def test_mangled_plans_are_read_or_refused_at_a_place(data: st.DataObject) -> None:
    text = json.dumps(PLAN, indent=data.draw(st.sampled_from([None, 1])))
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(text)))
        new = data.draw(st.text(st.sampled_from('{}[]",:01.eN \n'), max_size=3))
        text = text[:at] + new + text[at + data.draw(st.integers(0, 5)) :]
    assert all(fault.line > 0 for fault in refusal(lambda: parse_model(text, "p", Plan)) or ())


def test_files_are_written_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "out.json"
    path.write_text("before")
    path.chmod(0o640)

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", fail)
    with pytest.raises(InputError, match="cannot be written: No space left on device"):
        write_whole(path, "after")
    assert path.read_text() == "before"
    monkeypatch.undo()
    write_whole(path, "after")
    assert path.read_text() == "after"
    assert path.stat().st_mode & 0o777 == 0o640
    assert [item.name for item in tmp_path.iterdir()] == ["out.json"]


def test_a_link_is_followed_and_a_device_written_to(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(tmp_path / "file")
    write_whole(tmp_path / "link", "x")
    assert (tmp_path / "file").read_text() == "x"
    assert (tmp_path / "link").is_symlink()
    write_whole("/dev/null", "x")
    assert not Path("/dev/null").is_file()


def test_what_cannot_be_written_is_told(tmp_path: Path) -> None:
    hint = "name a file in a folder that is there, that you may write to, and that has room"
    for path in (tmp_path, tmp_path / "none" / "file"):
        with pytest.raises(InputError, match=f"cannot be written: .*; {hint}"):
            write_whole(path, "x")


def test_a_dash_is_standard_output(capsys: pytest.CaptureFixture[str]) -> None:
    write_whole("-", dump({"a": [1]}))
    assert capsys.readouterr().out == '{\n  "a": [\n    1\n  ]\n}\n'
