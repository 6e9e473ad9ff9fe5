"""What a desk decides, undoes, writes and keeps."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from tests.desk.conftest import copied
from trayopt.api import check, library_survey, load_job, new_hardware
from trayopt.desk.acts import Wrong
from trayopt.desk.desk import Desk
from trayopt.desk.edits import number_of
from trayopt.desk.tongues import spoken_fault
from trayopt.desk.words import words_of
from trayopt.errors import InputError
from trayopt.library.find import shipped


def act(desk: Desk, name: str, **more: Any) -> dict[str, Any]:
    return desk.act({"at": desk.state()["at"], "act": name, **more})


def goal(state: dict[str, Any], name: str) -> int:
    value: int = next(each["value"] for each in state["board"]["goals"] if each["goal"] == name)
    return value


def place(state: dict[str, Any], leg: str) -> str | None:
    found: str | None = next(each["place"] for each in state["board"]["legs"] if each["leg"] == leg)
    return found


def test_a_leg_takes_along_what_it_is_spliced_to_and_the_checker_judges_at_once(desk: Desk) -> None:
    first = desk.state()
    assert first["board"]["passed"]
    assert first["unsaved"] == [False, False]
    state = act(desk, "move", leg="N1/3.2", stack="right", position=3)
    assert place(state, "N1/3.2") == place(state, "S1/3.2") == "right/3"
    assert {"divided_at_tray"} <= {each["rule"] for each in state["board"]["findings"]}
    job = desk.document.job
    assert job is not None
    report = desk.document.report()
    assert report is not None
    right = check(job, report.plan)
    assert right.figures == ()
    assert {each.goal: each.value for each in right.plan.goals} == {
        each["goal"]: each["value"] for each in state["board"]["goals"]
    }
    state = act(desk, "move", leg="N1/3.2", alone=True, stack="left", position=4)
    assert place(state, "S1/3.2") == "right/3"
    assert "whole_legs" in {each["rule"] for each in state["board"]["findings"]} or state["board"]["unplaced"] == 72


def test_every_step_is_undone_and_redone_and_a_gesture_is_one_step(desk: Desk) -> None:
    before = desk.state()["board"]
    for position in (4, 5, 6):
        act(desk, "move", leg="N1/3.2", stack="left", position=position, gesture="walk")
    moved = desk.state()["board"]
    assert act(desk, "undo")["board"] == before
    assert act(desk, "redo")["board"] == moved
    act(desk, "way", trunk="N1", port="bottom-right", travel="counterclockwise", loops=2, divide_at="port")
    act(desk, "divide", trunk="N1", subunit=1, of=4)
    state = act(desk, "move", leg="N1/1.3")
    assert place(state, "N1/1.3") is place(state, "S1/1.3") is None
    assert state["board"]["unplaced"] == 36
    for _ in range(4):
        state = act(desk, "undo")
    assert state["board"] == before
    assert state["undo"] is None


def test_save_writes_both_files_and_comments_survive(desk: Desk, folder: Path) -> None:
    act(desk, "lock", leg="N1/1.1", on=True)
    act(desk, "cells", table="trunks", cells=[[1, "exposed_mm", "6 000"], [1, "loops", "1, 2"]])
    act(desk, "rule", rule="tray_pair", setting={"level": "prefer", "weight": "3"})
    act(desk, "move", leg="N1/3.2", stack="left", position=5)
    assert act(desk, "save")["answer"] == {"written": ["job.yaml", "job-plan.json"]}
    text = (folder / "job.yaml").read_text(encoding="utf-8")
    assert text.startswith("# for the crew of the yard\n")
    assert 'joins:\n  - {a: "N1:1-432", b: "S1:1-432", name: through}\n' in text
    job = load_job(folder / "job.yaml")
    assert (job.trunks[1].exposed_mm, job.trunks[1].loops, job.rules["tray_pair"].weight) == (6000, (1, 2), 3)
    assert [(pin.subject, pin.built) for pin in job.pins] == [("N1:1-72", False)]
    assert check(job, folder / "job-plan.json").figures == ()
    assert desk.state()["unsaved"] == [False, False]
    assert not list(folder.glob(".*desk*"))


def test_the_faults_of_a_cell_are_those_of_the_command_line(desk: Desk, folder: Path) -> None:
    state = act(desk, "cells", table="trunks", cells=[[0, "exposed_mm", "far"], [1, "cable", "no-such-cable"]])
    act(desk, "cells", table="joins", cells=[[0, "a", "N1:1-433"]])
    state = act(desk, "cells", table="pins", cells=[[0, "trunk", "N9"], [0, "loops", "1"]])
    assert state["board"]["passed"]
    act(desk, "save")
    with pytest.raises(InputError) as wrong:
        load_job(folder / "job.yaml")
    assert [each["text"]["en"] for each in state["faults"]] == [str(fault) for fault in wrong.value.faults]
    german = [each["text"]["de"].partition(": ")[2] for each in state["faults"]]
    assert "exposed_mm ist von der falschen Art; gefunden: 'far'; erlaubt: eine ganze Zahl" in german
    assert {"trunks[0].exposed_mm", "trunks[1].cable", "pins[0].trunk"} <= {each["where"] for each in state["faults"]}


def test_joins_of_a_table_come_into_the_job_when_one_is_changed(folder: Path) -> None:
    desk = Desk(copied(folder, "2x1728-shuffled-subunits"))
    before = desk.document.job
    assert before is not None
    act(desk, "cells", table="joins", cells=[[0, "name", "first"]])
    after = desk.document.job
    assert after is not None
    assert [join.a for join in after.joins] == [join.a for join in before.joins]
    assert after.joins[0].name == "first"
    assert desk.tables()["joins_of"] is None


def test_rows_are_pasted_and_taken_out(desk: Desk) -> None:
    cells = [
        [0, "a", "N1:1-144"],
        [0, "b", "S1:1-144"],
        [1, "a", "N1:145-432"],
        [1, "b", "S1:145-432"],
        [1, "name", "rest"],
    ]
    state = act(desk, "cells", table="joins", cells=cells)
    assert state["faults"] == []
    assert [row["name"] for row in desk.tables()["tables"]["joins"]["rows"]] == ["through", "rest"]
    state = act(desk, "rows", table="joins", rows=[1])
    assert state["board"]["splices"] == 144
    assert state["lost"] == 0


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("6000", 6000), ("6,000", 6000), ("6 000 mm", 6000), ("6\u202f000", 6000), ("12,5", 12.5), ("12.5", 12.5),
        ("1,234.5", 1234.5), ("1,2,3", "1,2,3"), ("far", "far"),
    ],
)  # fmt: skip
def test_a_comma_parts_thousands_or_is_that_of_a_decimal(cell: str, value: float | str) -> None:
    """A spreadsheet in German writes 12,5: it must not become 125."""
    assert number_of(cell) == value


def test_cells_are_read_in_the_words_of_either_language(desk: Desk, folder: Path) -> None:
    cells = [
        [0, "travel", "rechtsherum"],
        [1, "travel", "Linksherum"],
        [0, "divide_at", "Einführung"],
        [1, "idle", "coiled"],
    ]
    state = act(desk, "cells", table="trunks", cells=cells)
    assert state["faults"] == []
    job = desk.document.job
    assert job is not None
    assert [trunk.travel for trunk in job.trunks] == ["clockwise", "counterclockwise"]
    assert tuple(job.trunks[0].divide_at or ()) == ("port",)
    named = {column["key"]: column["names"] for column in desk.tables()["tables"]["trunks"]["columns"]}
    assert named["travel"] == ["travel", "Richtung"]


def test_a_changed_job_leaves_out_what_it_has_no_meaning_for(desk: Desk) -> None:
    state = act(desk, "head", key="enclosure", text="wall-1x6")
    assert state["lost"] > 0
    assert act(desk, "undo")["board"]["passed"]


def test_a_file_that_was_changed_meanwhile_is_not_written_over_unasked(desk: Desk, folder: Path) -> None:
    act(desk, "cells", table="joins", cells=[[0, "name", "mine"]])
    theirs = (folder / "job.yaml").read_text(encoding="utf-8").replace("2 x 432", "theirs")
    (folder / "job.yaml").write_text(theirs, encoding="utf-8")
    assert desk.state()["changed"] == ["job.yaml"]
    assert act(desk, "save")["answer"] == {"conflicts": ["job.yaml"]}
    assert (folder / "job.yaml").read_text(encoding="utf-8") == theirs
    state = act(desk, "reload")
    assert state["title"] == "theirs"
    assert state["unsaved"] == [False, False]
    act(desk, "undo")
    assert act(desk, "save", over=True)["answer"]["written"] == ["job.yaml"]
    assert "name: mine" in (folder / "job.yaml").read_text(encoding="utf-8").replace('"', "")


def test_what_a_desk_leaves_behind_is_offered_to_the_next_one(desk: Desk, folder: Path) -> None:
    act(desk, "move", leg="N1/3.2", stack="left", position=6)
    act(desk, "cells", table="joins", cells=[[0, "name", "east"]])
    desk.close()
    other = Desk(folder / "job.yaml")
    assert other.state()["left_behind"] == {"changed": False, "found": False}
    assert place(other.state(), "N1/3.2") != "left/6"
    state = act(other, "take_over")
    assert place(state, "N1/3.2") == "left/6"
    assert other.document.now.text == desk.document.now.text
    assert state["left_behind"] is None
    assert [path.name for path in folder.glob(".*desk*")] == [other.keeping.file.name]
    assert place(act(other, "undo"), "N1/3.2") != "left/6"


def test_a_request_that_was_made_of_a_state_that_is_gone_is_refused(desk: Desk) -> None:
    at = desk.state()["at"]
    act(desk, "move", leg="N1/3.2", stack="left", position=6)
    with pytest.raises(Wrong, match="stale"):
        desk.act({"at": at, "act": "undo"})


@pytest.mark.parametrize(
    "request_",
    [
        {"act": "nothing"}, {"act": "move", "leg": "N9/1"}, {"act": "move", "leg": "N1/1.1", "stack": "left", "position": 99},
        {"act": "move"}, {"act": "way", "trunk": "N1", "port": "x", "travel": "clockwise", "loops": 1},
        {"act": "cells", "table": "joins", "cells": [[0, "a"]]}, {"act": "rows", "table": "joins", "rows": ["x"]},
        {"act": "rule", "rule": "no_rule", "setting": {}}, {"act": "apply", "kind": "explain", "way": 0},
        {"act": "take", "kind": "solve"}, {"act": "end", "stack": "left", "end": "x"}, {"act": 3},
    ],
)  # fmt: skip
def test_a_request_that_is_none_changes_nothing(desk: Desk, request_: dict[str, Any]) -> None:
    before = desk.document.now
    with pytest.raises(Wrong):
        desk.act({"at": 1, **request_})
    assert desk.document.now is before


def test_cells_that_there_are_not_are_refused(desk: Desk) -> None:
    for cells in ([[0, "x", "1"]], [[7, "a", "1"]], [[-1, "a", "1"]]):
        with pytest.raises(InputError):
            act(desk, "cells", table="joins", cells=cells)
    with pytest.raises(InputError):
        act(desk, "divide", trunk="N1", subunit=1, of=5)


def test_a_job_with_errors_is_opened_and_its_plan_is_read_when_it_is_mended(folder: Path) -> None:
    file = folder / "job.yaml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("wall-2x6", "no-such-box"), encoding="utf-8")
    desk = Desk(file)
    state = desk.state()
    assert state["board"] is None
    assert [each["where"] for each in state["faults"]] == ["enclosure"]
    with pytest.raises(Wrong, match="faulty"):
        act(desk, "lock", leg="N1/1.1", on=True)
    state = act(desk, "head", key="enclosure", text="wall-2x6")
    assert state["board"]["passed"]
    assert state["unsaved"] == [True, False]
    assert desk.document.now.text == text


def test_a_table_that_somebody_made_is_opened_as_a_plan(folder: Path) -> None:
    rows = ["trunk,fibres,stack,position,port,travel,loops"]
    ways = {"N1": "bottom-left,clockwise,1", "S1": "bottom-right,counterclockwise,1"}
    for trunk, way in ways.items():
        for i, place in enumerate(("left,1", "left,2", "right,1", "right,2", "left,3", "left,4")):
            rows.append(f"{trunk},{72 * i + 1}-{72 * i + 72},{place},{way}")
    (folder / "plan.csv").write_text("\n".join(rows), encoding="utf-8")
    desk = Desk(folder / "job.yaml", folder / "plan.csv")
    state = desk.state()
    assert state["board"]["passed"]
    assert state["files"] == ["job.yaml", "job-plan.json"]
    assert state["unsaved"] == [False, True]
    act(desk, "save", over=True)
    job = desk.document.job
    assert job is not None
    assert check(job, folder / "job-plan.json").figures == ()


def test_a_plan_is_laid_by_hand_from_nothing(folder: Path) -> None:
    (folder / "job-plan.json").unlink()
    desk = Desk(folder / "job.yaml")
    state = desk.state()
    assert state["board"]["unplaced"] == 432
    act(desk, "divide", trunk="N1", subunit=1, of=2)
    act(desk, "move", leg="N1/1.1", stack="left", position=1)
    state = act(desk, "move", leg="N1/1.2", stack="left", position=2)
    assert state["board"]["unplaced"] == 288
    assert place(state, "S1/1.2") == "left/2"
    assert [each["inside"] for each in state["board"]["trunks"]] == [True, True]
    assert act(desk, "save")["answer"] == {"written": ["job-plan.json"]}


def test_faults_of_tables_are_said_in_german(folder: Path) -> None:
    """What a German desk shows of a table of joins, and of a plan that somebody made, holds no English sentence."""
    (folder / "plan.csv").write_text(
        "trunk,fibres,tray,travel\nN1,1-72,left/9,up\nS9,1-72,left/1,\nN1,1-72,left/1,\n", "utf-8"
    )
    file = folder / "job.yaml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("wall-2x6", "no-such-box"), encoding="utf-8")
    desk = Desk(file, folder / "plan.csv")
    with pytest.raises(InputError) as wrong:
        act(desk, "head", key="enclosure", text="wall-2x6")
    said = [spoken_fault(fault) for fault in wrong.value.faults]
    with pytest.raises(InputError):
        act(desk, "head", key="enclosure", text="wall-2x6")
    (folder / "joins.csv").write_text("a,b\nN1:1-7x2,S1:1-72\nN1:1-72,S1:1-72,more\n", encoding="utf-8")
    (folder / "of-table.yaml").write_text(text[: text.index("joins:")] + "joins: joins.csv\n", encoding="utf-8")
    said += [each["text"] for each in Desk(folder / "of-table.yaml").state()["faults"]]
    assert all(isinstance(each, dict) for each in said), said
    german = "\n".join(each["de"] for each in said if isinstance(each, dict))
    assert "das ist keine Richtung; gefunden: 'up'" in german
    assert "Stapel left hat diese Lage nicht; gefunden: '9'; erlaubt: 1 bis 6" in german
    assert "eine Zelle ohne Spaltennamen darüber; gefunden: 'more'" in german
    assert not [word for word in ("found", "allowed", " the ", "there is") if word in german]
    (folder / "plan.csv").write_text("trunk,fibres,tray\nN1,1-72,left/1\nS1,1-72,left/1\n", encoding="utf-8")
    legs = act(desk, "head", key="enclosure", text="wall-2x6")["board"]["legs"]
    assert {leg["fibres"]: leg["place"] for leg in legs if leg["trunk"] == "N1"}["1-72"] == "left/1"


def test_a_table_that_changes_beside_the_job_is_told_and_read_again(folder: Path) -> None:
    desk = Desk(copied(folder, "2x1728-shuffled-subunits"))
    assert desk.state()["changed_beside"] == []
    before = desk.state()["board"]["splices"]
    table = folder / "2x1728-shuffled-subunits.csv"
    table.write_text("\n".join(table.read_text(encoding="utf-8").splitlines()[:-1]), encoding="utf-8")
    assert desk.state()["changed_beside"] == [table.name]
    assert desk.state()["board"]["splices"] == before
    state = act(desk, "reread")
    assert state["board"]["splices"] < before
    assert state["changed_beside"] == []


def test_a_folder_that_cannot_be_written_is_told_at_once(desk: Desk, folder: Path) -> None:
    folder.rename(folder.with_name("elsewhere"))
    state = act(desk, "move", leg="N1/3.2", stack="left", position=6)
    assert "cannot be written" in state["unkept"]
    assert place(state, "N1/3.2") == "left/6"
    with pytest.raises(InputError):
        act(desk, "save", over=True)
    folder.with_name("elsewhere").rename(folder)
    assert act(desk, "undo")["unkept"] == ""


def test_what_is_in_service_is_not_moved_before_its_circuits_are_named(folder: Path) -> None:
    job = copied(folder, "2x576-half-built-wall-2x6")
    desk = Desk(job)
    known = desk.document.job
    assert known is not None
    built = [pin for pin in known.leg_pins if pin.built]
    for pin in built:
        leg = known.pinned_leg(pin)
        act(desk, "divide", trunk=leg.trunk, subunit=leg.subunit, of=leg.of)
        act(desk, "move", leg=str(leg), stack=pin.stack, position=pin.position)
    first = known.pinned_leg(built[0])
    move = {"leg": str(first), "stack": built[0].stack, "position": 6}
    before = desk.document.now
    with pytest.raises(Wrong, match="live") as warned:
        act(desk, "move", **move)
    assert str(built[0].leg) in warned.value.more["legs"]
    assert warned.value.more["circuits"] == {"through": 72}
    for change in (
        ("move", {"leg": str(first)}),
        ("divide", {"trunk": first.trunk, "subunit": first.subunit, "of": 1}),
        ("way", {"trunk": first.trunk, "port": "side", "travel": "clockwise", "loops": 2}),
    ):
        with pytest.raises(Wrong, match="live"):
            act(desk, change[0], **change[1])
    marks = [i for i, row in enumerate(desk.tables()["tables"]["pins"]["rows"]) if row["built"]]
    act(desk, "cells", table="pins", cells=[[i, "built", ""] for i in marks])
    with pytest.raises(Wrong, match="live"):
        act(desk, "move", **move)
    act(desk, "undo")
    assert desk.document.now == before
    assert place(act(desk, "move", live=True, **move), str(first)) == f"{built[0].stack}/6"


def test_a_place_says_its_own_kind_of_tray(folder: Path) -> None:
    for name in ("enclosures", "trays"):
        shutil.copytree(shipped() / "standard" / name, folder / name)
    desk = Desk(copied(folder, "mixed-trays-288-separated"))
    [stack] = desk.state()["board"]["stacks"]
    assert stack["kinds"] == ["ribbon-72", "single-36"]
    said = {place["position"]: (place["tray"], place["most"], place["sleeve_fibres"]) for place in stack["places"]}
    assert (said[1], said[5]) == (("ribbon-72", 144, 12), ("single-36", 72, 1))


def test_what_is_done_with_ribbons_is_decided_and_kept(folder: Path) -> None:
    desk = Desk(copied(folder, "2x864-16-against-12-decided-wall-2x10"))
    for leg in ("N1/1", "N1/2"):
        act(desk, "move", leg=leg, stack="left", position=1)
    trunk = next(each for each in desk.state()["board"]["trunks"] if len(each["own_ribbons"]) > 1)
    way = {key: trunk[key] for key in ("trunk", "port", "travel", "loops", "divide_at")}
    for word in trunk["own_ribbons"]:
        state = act(desk, "way", **way, ribbons=word)
        now = next(each for each in state["board"]["trunks"] if each["trunk"] == trunk["trunk"])
        assert now["ribbons"] == word
    act(desk, "save")
    plan = check(load_job(desk.document.job_disk.path), desk.document.plan_disk.path).plan
    assert next(row.ribbons for row in plan.trunks if row.trunk == trunk["trunk"]) == trunk["own_ribbons"][-1]


def test_both_ends_of_a_trunk_that_goes_through_have_a_way(folder: Path) -> None:
    desk = Desk(copied(folder, "288-through-tap-of-48-wall-2x6"))
    assert desk.document.job is not None
    leg = next(subunit.name for subunit in desk.document.job.subunits if subunit.trunk == "M1.in")
    state = act(desk, "move", leg=leg, stack="left", position=1)
    ways = {each["trunk"]: each["port"] for each in state["board"]["trunks"]}
    assert None not in {ways["M1.in"], ways["M1.out"]}
    assert state["board"]["through"][0]["window_mm"] > 0


def started_box(folder: Path) -> Path:
    """Write a job with a box and a cable as the starters make them."""
    (folder / "yard.yaml").write_text(
        new_hardware("enclosure", folder / "yard.yaml", {
            "size": "480x560x140", "stacks": "2", "trays": "6", "tray": "ribbon-72", "ring": "55", "guide": "50x80",
            "bottom": "3x50", "left": "1x50",
        }),
        encoding="utf-8",
    )  # fmt: skip
    job = folder / "yard-job.yaml"
    job.write_text(
        "schema: trayopt/job/2\nenclosure: yard.yaml  # measured by the crew\n"
        "trunks:\n  - {id: N1, cable: ribbon-432-3x144}\n  - {id: S1, cable: ribbon-432-3x144}\n"
        'joins: [{a: "N1:1-432", b: "S1:1-432"}]\n',
        encoding="utf-8",
    )
    return job


def cell(desk: Desk, kind: str, *at: str | int) -> dict[str, Any]:
    """Give a cell of the hardware."""
    part = next(each for each in desk.hardware() if each["kind"] == kind)
    rows = [row for table in part["tables"] for row in table["rows"]]
    found: dict[str, Any] = next(each for row in rows for each in row["cells"] if each["at"] == list(at))
    return found | {"file": part["file"]}


def test_an_assumed_value_is_corrected_in_its_file_and_comments_survive(folder: Path) -> None:
    desk = Desk(started_box(folder))
    before = (folder / "yard.yaml").read_text(encoding="utf-8")
    pitch = ("stacks", 0, "pitch_mm")
    found = cell(desk, "enclosure", *pitch)
    assert (found["text"], found["state"]) == ("11", "assumed")
    act(desk, "hardware", file=found["file"], at_key=list(pitch), text="12 mm")
    assert cell(desk, "enclosure", *pitch)["state"] == "measured"
    act(desk, "hardware", file=found["file"], at_key=["track", "guides", 0, "x_mm"], text="57")
    assert cell(desk, "enclosure", "track", "guides", 0, "y_mm")["state"] == "measured"
    assert cell(desk, "enclosure", "track", "guides", 1, "x_mm")["state"] == "assumed"
    act(desk, "hardware", file=found["file"], at_key=["size_mm"], text="485 x 560 x 140")
    act(desk, "hardware", file=found["file"], at_key=["stacks", 0, "base_z_mm"])
    assert (folder / "yard.yaml").read_text(encoding="utf-8") == before
    assert act(desk, "save")["answer"]["written"] == ["yard.yaml"]
    after = (folder / "yard.yaml").read_text(encoding="utf-8")
    changed = [line for line in after.splitlines() if line not in before.splitlines()]
    assert [line.split("#")[1].strip() for line in changed] == [
        "measured: width, height, depth inside", "measured", "measured", "measured",
    ]  # fmt: skip
    box = load_job(folder / "yard-job.yaml").enclosure
    assert (box.size_mm[0], box.stacks[0].pitch_mm, box.track.guides[0].x_mm) == (485, 12, 57)
    assert len(after.splitlines()) == len(before.splitlines())
    act(desk, "undo")
    assert desk.state()["unsaved_files"] == ["yard.yaml"]


def test_hardware_that_cannot_be_built_is_told_at_its_cell(folder: Path) -> None:
    desk = Desk(started_box(folder))
    file = cell(desk, "enclosure", "size_mm")["file"]
    state = act(desk, "hardware", file=file, at_key=["stacks", 0, "pitch_mm"], text="2")
    wrong = cell(desk, "enclosure", "stacks", 0, "pitch_mm")["wrong"]
    assert [each["text"] for each in state["faults"]] == wrong
    assert state["board"] is not None
    act(desk, "hardware", file=file, at_key=["stacks", 0, "pitch_mm"], text="5 cm")
    [said] = cell(desk, "enclosure", "stacks", 0, "pitch_mm")["wrong"]
    assert "found '5 cm'" in said["en"]
    assert "gefunden: '5 cm'" in said["de"]
    act(desk, "undo")
    act(desk, "undo")
    assert desk.state()["faults"] == []


def test_what_is_of_the_library_is_copied_beside_the_job_before_it_is_changed(folder: Path) -> None:
    desk = Desk(started_box(folder))
    tray = cell(desk, "tray", "inside_mm")
    before = Path(tray["file"]).read_bytes()
    act(desk, "hardware", file=tray["file"], at_key=["inside_mm"], text="950")
    cable = cell(desk, "cable", "diameter_mm")
    act(desk, "hardware", file=cable["file"], at_key=["diameter_mm"], text="23")
    written = ["ribbon-72.yaml", "yard.yaml", "ribbon-432-3x144.yaml", "yard-job.yaml"]
    assert act(desk, "save")["answer"]["written"] == written
    assert Path(tray["file"]).read_bytes() == before
    job = load_job(folder / "yard-job.yaml")
    assert {tray.inside_mm for tray in job.enclosure.trays} == {950}
    assert [trunk.cable.diameter_mm for trunk in job.trunks] == [23, 23]
    assert "enclosure: yard.yaml  # measured by the crew" in (folder / "yard-job.yaml").read_text(encoding="utf-8")
    assert not library_survey(files=[folder / "ribbon-72.yaml", folder / "yard.yaml"]).errors


def test_a_box_of_the_library_is_copied_with_the_tray_that_is_changed(desk: Desk, folder: Path) -> None:
    tray = cell(desk, "tray", "sleeves")
    act(desk, "hardware", file=tray["file"], at_key=["sleeves"], text="7")
    act(desk, "save")
    assert {path.name for path in folder.glob("*.yaml")} == {"job.yaml", "wall-2x6.yaml", "ribbon-72.yaml"}
    assert {tray.sleeves for tray in load_job(folder / "job.yaml").enclosure.trays} == {7}


def test_hardware_that_is_not_saved_is_kept_and_conflicts_are_told(folder: Path) -> None:
    job = started_box(folder)
    desk = Desk(job)
    file = cell(desk, "enclosure", "size_mm")["file"]
    act(desk, "hardware", file=file, at_key=["stacks", 0, "pitch_mm"], text="12")
    desk.close()
    other = Desk(job)
    act(other, "take_over")
    assert cell(other, "enclosure", "stacks", 0, "pitch_mm")["text"] == "12"
    yard = folder / "yard.yaml"
    yard.write_text(yard.read_text(encoding="utf-8") + "# theirs\n", encoding="utf-8")
    assert other.state()["changed_beside"] == ["yard.yaml"]
    assert act(other, "save")["answer"] == {"conflicts": ["yard.yaml"]}
    act(other, "reread")
    assert cell(other, "enclosure", "stacks", 0, "pitch_mm")["text"] == "11"
    act(other, "undo")
    assert cell(other, "enclosure", "stacks", 0, "pitch_mm")["text"] == "12"
    act(other, "save", over=True)
    assert "theirs" not in yard.read_text(encoding="utf-8")


def test_a_trunk_that_goes_through_and_ribbons_are_written_in_cells(desk: Desk, folder: Path) -> None:
    rows = [["id", "M1"], ["cable", "ribbon-288-6x48"], ["through", "true"], ["toward", "west, east"], ["cut", "2"]]
    rows += [
        ["ports", "bottom-left / bottom-right, side"],
        ["loops", "1 / 1, 2"],
        ["travel", "clockwise / either"],
    ]
    act(desk, "cells", table="trunks", cells=[[2, key, text] for key, text in [*rows, ["slack_mm", "12 000"]]])
    state = act(desk, "cells", table="trunks", cells=[[0, "ribbons", "as_they_are, split, 8"]])
    assert state["faults"] == []
    assert desk.tables()["tables"]["trunks"]["rows"][2] | {"idle": "", "exposed_mm": ""} == {
        "idle": "", "exposed_mm": "", "transition_mm": "", "divide_at": "", "ribbons": "", **dict(rows), "slack_mm": "12000",
        "travel": "clockwise, either",
    }  # fmt: skip
    act(desk, "save")
    job = load_job(folder / "job.yaml")
    assert [trunk.id for trunk in job.trunks] == ["N1", "S1", "M1.west", "M1.east"]
    assert job.trunks[0].ribbons == ("as_they_are", "split", 8)
    assert [trunk.loops for trunk in job.trunks[2:]] == [(1,), (1, 2)]
    assert [trunk.travel for trunk in job.trunks[2:]] == ["clockwise", "either"]
    assert job.trunks[3].ports == ("bottom-right", "side")


def test_ports_guides_and_stacks_are_added_and_taken_out(folder: Path) -> None:
    """A copy stands behind the entry that it is made of, with a name of its own; what cannot be built is told at its cell."""
    desk = Desk(started_box(folder))
    file = cell(desk, "enclosure", "size_mm")["file"]
    before = desk.document.job
    assert before is not None
    box = before.enclosure
    act(desk, "hardware", file=file, at_key=["ports", 0], entry="copy")
    act(desk, "hardware", file=file, at_key=["track", "guides", 0], entry="copy")
    act(desk, "hardware", file=file, at_key=["ports", 0, "seals", 0], entry="copy")
    assert desk.state()["faults"] == []
    act(desk, "save")
    made = load_job(folder / "yard-job.yaml").enclosure
    assert made.ports[1].id == f"{box.ports[0].id}-2"
    assert made.ports[1].x_mm == box.ports[0].x_mm + box.ports[0].bore_mm + 5
    assert [guide.id for guide in made.track.guides[:3]] == ["nw", "nw-2", box.track.guides[1].id]
    assert made.track.guides[1].x_mm == round((box.track.guides[0].x_mm + box.track.guides[1].x_mm) / 2)
    assert len(made.ports[0].seals) == len(box.ports[0].seals) + 1
    assert len(made.ports[1].seals) == len(box.ports[0].seals)
    with pytest.raises(InputError, match="no room for another stack like"):
        act(desk, "hardware", file=file, at_key=["stacks", 0], entry="copy")
    act(desk, "hardware", file=file, at_key=["stacks", 0], entry="out")
    act(desk, "hardware", file=file, at_key=["stacks", 0], entry="copy")
    state = desk.state()
    assert state["faults"] == []
    assert [each["stack"] for each in state["board"]["stacks"]] == [box.stacks[1].id, f"{box.stacks[1].id}-2"]
    act(desk, "hardware", file=file, at_key=["stacks", 1], entry="out")
    assert desk.state()["faults"] == []
    for key in (["ports", 99], ["ports"], ["stacks", -1], ["size_mm", 0], []):
        with pytest.raises(InputError):
            act(desk, "hardware", file=file, at_key=key, entry="copy")


def test_a_table_may_name_its_columns_as_the_page_does(folder: Path) -> None:
    """On the German page a position is called Lage; a table with that header is opened."""
    words = words_of("de")
    heads = [words("column.trunk"), "Fasern", words("column.stack"), words("column.position")]
    (folder / "plan.csv").write_text(f"{';'.join(heads)}\nN1;1-72;left;1\nS1;1-72;left;1\n", encoding="utf-8")
    desk = Desk(folder / "job.yaml", folder / "plan.csv", workers=1)
    assert place(desk.state(), "N1/1.1") == "left/1"
    desk.close()
