"""Reading jobs: defaults, references, tables, mappings."""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import trayopt
from tests.expected import refusal
from tests.library.jobs import faults, job, mapping
from tests.workbooks import first_sheet
from trayopt import load_job
from trayopt.domain.pins import LegPin, TrunkPin
from trayopt.domain.ranges import Run
from trayopt.errors import Fault, InputError
from trayopt.formats.locate import Located
from trayopt.library.find import Library, shipped
from trayopt.library.job import read_located
from trayopt.library.resolve import Resolver
from trayopt.library.soundness import of_job
from trayopt.rules.registry import fill

STANDARD = sorted((shipped() / "standard").glob("*.yaml"))
TRAY = """kind: tray
id: small
fibres: 24
sleeves: 2
sleeve_fibres: 12
entrance_legs: 4
height_mm: 8
size_mm: [100, 200]
inside_mm: 800
min_radius_mm: 30
"""


def test_defaults_are_those_of_the_contract() -> None:
    read = job()
    trunk = read.trunks[0]
    assert (trunk.ports, trunk.travel, trunk.loops, trunk.exposed_mm) == ("any", "either", (1, 2), None)
    assert (trunk.transition_mm, trunk.divide_at, trunk.idle) == (0, ("tray", "port"), "coiled")
    assert read.tubes.id == "mesh-set"
    assert read.joins[0].name == "0"
    assert read.title == ""
    assert read.rules["reach"].parameters == {"bench_mm": 2000}
    assert read.rules["opposite_travel"].weight == 3


INLINE = {
    "id": "own", "construction": "ribbon", "diameter_mm": 20, "ribbon_mm": [3.22, 0.36],
    "subunits": [{"count": 2, "ribbons": 12, "ribbon_fibres": 12, "diameter_mm": 8, "least_radius_mm": 50}],
}  # fmt: skip
"""A cable as it stands in a job: two tubes of twelve flat ribbons of 12."""


@pytest.mark.parametrize(
    ("construction", "tubes"),
    [
        ("ribbon", True),
        ("central_tube", True),
        ("loose_tube", True),
        ("slotted_core", False),
        ("partly_bonded_ribbon", False),
    ],
)
def test_whether_a_cable_has_tubes_follows_from_its_construction(construction: str, tubes: bool) -> None:
    def read(**cable: Any) -> Any:
        trunks = [{"id": "N1", "cable": {**INLINE, "construction": construction, **cable}}]
        return job(trunks=trunks, joins=[]).trunks[0]

    assert read().cable.tubes is tubes
    assert read().divide_at == (("tray", "port") if tubes else ("port",))
    assert read(tubes=not tubes).divide_at == (("port",) if tubes else ("tray", "port"))


@pytest.mark.parametrize(
    ("given", "read"),
    [
        ("tray", ("tray",)),
        ("port", ("port",)),
        (["port"], ("port",)),
        (["port", "tray"], ("tray", "port")),
    ],
)
def test_where_a_trunk_is_divided_is_a_word_or_a_list(given: Any, read: tuple[str, ...]) -> None:
    trunks = [{"id": "N1", "cable": "ribbon-288-2x144", "divide_at": given}, mapping()["trunks"][1]]
    found = job(trunks=trunks)
    assert found.trunks[0].divide_at == read
    assert found.plain()["trunks"][0]["divide_at"] == list(read)


def test_a_construction_that_is_a_mapping_is_a_fault_of_its_own() -> None:
    told = faults(trunks=[{"id": "N1", "cable": {**INLINE, "construction": {"a": 1}}}], joins=[])
    assert len(told) == 1
    assert "construction is not allowed; found a mapping (a)" in told[0]


def test_a_guide_without_a_width_is_square_and_the_widest_sets_the_allowance(tmp_path: Path) -> None:
    def allowance(change: Callable[[str], str], **rules: Any) -> float:
        folder = odd(tmp_path / str(len(list(tmp_path.iterdir()))), change)
        read = load_job(mapping(enclosure="odd", rules=rules), library=[folder])
        return read.rules["exposed"].parameters["allowance_mm"]

    def without(text: str) -> str:
        return text.replace(", width_mm: 50", "")

    # 50 mm: pi x 50 = 157.08; the square root of 4000 is 63.25, pi x 63.25 = 198.69; one guide of 80 mm: 251.33
    assert allowance(lambda text: text) == 158
    assert allowance(without) == 199
    assert allowance(lambda text: text.replace("width_mm: 50", "width_mm: 80", 1)) == 252
    assert allowance(without, exposed={"allowance_mm": 100}) == 100
    assert allowance(without, exposed={"least_mm": 2000}) == 199


FORMER = {**mapping(), "schema": "trayopt/job/1"}


def test_a_job_of_format_1_is_read_with_a_note() -> None:
    told: list[Fault] = []
    load_job(FORMER, warn=told.append)
    (note,) = told
    assert note.message == "the job is written in format 1"
    assert "write schema: trayopt/job/2 to let the plan decide" in note.hint
    told.clear()
    load_job(mapping(), warn=told.append)
    assert told == []


def test_the_note_stands_where_the_schema_does(tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(
        "title: old\nschema: trayopt/job/1\nenclosure: wall-2x6\ntrunks: [{id: N1, cable: ribbon-288-2x144}]\n"
    )
    told: list[Fault] = []
    read = load_job(path, warn=told.append)
    assert [(fault.source, fault.line, fault.column) for fault in told] == [(str(path), 2, 9), (str(path), 1, 1)]
    assert told[1].message == "the job has no joins: nothing is spliced, and no tray is needed"
    assert read.plain()["schema"] == "trayopt/job/2"


@pytest.mark.parametrize(
    ("cable", "given", "read"),
    [
        ("ribbon-288-2x144", None, ("tray",)),
        ("ribbon-288-2x144", "port", ("port",)),
        ("ribbon-288-2x144", ["port", "tray"], ("tray", "port")),
        ("partly-bonded-288-2x144", None, ("port",)),
        ("partly-bonded-288-2x144", "port", ("port",)),
    ],
)
def test_where_a_trunk_of_format_1_is_divided(cable: str, given: Any, read: tuple[str, ...]) -> None:
    trunk = {"id": "N1", "cable": cable} | ({} if given is None else {"divide_at": given})
    assert load_job({**FORMER, "trunks": [trunk, FORMER["trunks"][1]]}).trunks[0].divide_at == read


def test_rules_of_format_1_are_read_by_todays_names() -> None:
    rules = load_job({**FORMER, "rules": {"base_outward": {"level": "prefer", "weight": 4}}}).rules
    assert (rules["no_empty_below"].level, rules["no_empty_below"].weight) == ("prefer", 4)
    assert "base_outward" not in rules


@pytest.mark.parametrize("path", STANDARD, ids=lambda path: path.stem)
def test_every_standard_job_is_read(path: Path) -> None:
    read = load_job(path)
    assert read.title
    assert read.splices > 0


def test_a_job_is_the_same_from_file_mapping_and_standard_input(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(
        "enclosure: wall-2x6\ntrunks:\n  - {id: N1, cable: ribbon-288-2x144}\n  - {id: S1, cable: ribbon-288-2x144}\n"
        'joins: [{a: "N1:1-288", b: "S1:1-288"}]\n'
    )
    stdin = io.TextIOWrapper(io.BytesIO(path.read_bytes()))
    monkeypatch.setattr(sys, "stdin", stdin)
    assert load_job("-").digest == load_job(path).digest == load_job(str(path)).digest == job().digest


def test_pins_are_told_apart_by_what_they_name() -> None:
    read = job(pins=[{"leg": "N1:1-72", "stack": "left"}, {"trunk": "S1", "loops": 1, "built": True}])
    assert read.pins == (LegPin(leg=Run("N1", 1, 72), stack="left"), TrunkPin(trunk="S1", loops=1, built=True))


def test_joins_come_from_csv_and_xlsx_relative_to_the_job(tmp_path: Path) -> None:
    lines: list[list[str | None]] = [
        ["name", "b", "a"],
        ["east", "S1:1-144", "N1:1-144"],
        [None, "S1:145-288", "N1:145-288"],
    ]
    (tmp_path / "j.csv").write_text("\n".join(";".join(cell or "" for cell in line) for line in lines))
    book = openpyxl.Workbook()
    for line in lines:
        first_sheet(book).append(line)
    book.save(tmp_path / "j.xlsx")
    for name in ("j.csv", "j.xlsx"):
        path = tmp_path / "job.yaml"
        path.write_text(
            "enclosure: wall-2x6\n"
            "trunks: [{id: N1, cable: ribbon-288-2x144}, {id: S1, cable: ribbon-288-2x144}]\n"
            f"joins: {name}\n"
        )
        read = load_job(path)
        assert [(str(join.a), str(join.b), join.name) for join in read.joins] == [
            ("N1:1-144", "S1:1-144", "east"),
            ("N1:145-288", "S1:145-288", "1"),
        ]


def test_faults_of_an_xlsx_name_their_cell(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    first_sheet(book).append(["a", "b"])
    first_sheet(book).append(["N1:1-500", "S1:1-288"])
    book.save(tmp_path / "j.xlsx")
    told = faults(joins=str(tmp_path / "j.xlsx"))
    assert told == [
        f"{tmp_path}/j.xlsx:A2: the run goes beyond the cable of trunk N1; found N1:1-500; allowed: fibres 1-288",
        f"{tmp_path}/j.xlsx:B2: the sides of join 0 are not equally long; found 500 fibres in a, 288 in b; "
        "allowed: as many in a as in b",
    ]


def test_references_are_ids_paths_or_objects(tmp_path: Path) -> None:
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts" / "small.yaml").write_text(TRAY)
    box = (
        (shipped() / "enclosures" / "wall-2x6.yaml")
        .read_text(encoding="utf-8")
        .replace("tray: ribbon-72", "tray: small.yaml")
    )
    (tmp_path / "parts" / "box.yaml").write_text(box, encoding="utf-8")
    path = tmp_path / "jobs" / "job.yaml"
    path.parent.mkdir()
    path.write_text(
        "enclosure: ../parts/box.yaml\n"
        "tubes: {id: own, tubes: [{bore_mm: 6, diameter_mm: 8}]}\n"
        "trunks: [{id: N1, cable: ribbon-288-2x144}]\n"
    )
    read = load_job(path)
    assert {stack.tray.id for stack in read.enclosure.stacks} == {"small"}
    assert read.tubes.id == "own"


def test_folders_of_the_user_come_first_and_the_last_before_the_first(tmp_path: Path) -> None:
    for name, inside in (("one", 801), ("two", 802)):
        (tmp_path / name / "trays").mkdir(parents=True)
        (tmp_path / name / "trays" / "ribbon-72.yaml").write_text(
            TRAY.replace("800", str(inside)).replace("small", "ribbon-72")
        )
    (tmp_path / "two" / "cables").mkdir()
    (tmp_path / "two" / "deep" / "down").mkdir(parents=True)
    cable = (shipped() / "cables" / "ribbon-288-2x144.yaml").read_text(encoding="utf-8")
    (tmp_path / "two" / "deep" / "down" / "own.yaml").write_text(
        cable.replace("ribbon-288-2x144", "own"), encoding="utf-8"
    )
    (tmp_path / "one" / "own.yaml").write_text("kind: tubes\nid: own\ntubes: [{bore_mm: 6, diameter_mm: 8}]\n")
    changed = mapping(trunks=[{"id": "N1", "cable": "own"}], joins=[], tubes="own")
    read = load_job(changed, library=[tmp_path / "one", tmp_path / "two"])
    assert {stack.tray.inside_mm for stack in read.enclosure.stacks} == {802}
    assert (read.trunks[0].cable.fibres, read.tubes.id) == (288, "own")
    other = load_job(changed, library=[tmp_path / "two", tmp_path / "one"])
    assert {stack.tray.inside_mm for stack in other.enclosure.stacks} == {801}


def test_a_folder_that_is_none_is_told() -> None:
    with pytest.raises(
        InputError, match="nowhere: there is no such folder; name a folder that is there with --library"
    ):
        load_job(mapping(), library=[Path("nowhere")])


def test_a_pipe_in_place_of_a_reference_does_not_hang(tmp_path: Path) -> None:
    import os

    os.mkfifo(tmp_path / "pipe.yaml")
    assert faults(enclosure=str(tmp_path / "pipe.yaml")) == [
        f"<job>:enclosure: the enclosure '{tmp_path}/pipe.yaml': cannot be read: it is a pipe or a device; "
        "name a regular file, or - for standard input"
    ]


def test_faults_of_a_mapping_name_the_path_inside() -> None:
    told = faults(trunks=[{"id": "N1", "cable": "ribbon-288-2x144", "loops": [17]}], joins=[{"a": "N2:1", "b": "N1:1"}])
    assert told == [
        "<job>:joins[0].a: there is no such trunk; found 'N2'; allowed: N1",
        "<job>:trunks[0].loops[0]: loops[0] is out of range; found 17; allowed: at most 9",
    ]


def test_strange_mappings_are_told() -> None:
    itself: dict[str, Any] = {}
    itself["enclosure"] = itself
    with pytest.raises(InputError, match="nested more than 100 deep"):
        load_job(itself)
    with pytest.raises(InputError, match="a key is not text: 5"):
        load_job({5: 6})  # type: ignore[dict-item]
    assert "a set" in faults(joins={1, 2})[0]


def test_public_names_are_loaded_when_they_are_used() -> None:
    assert trayopt.load_job is load_job
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = trayopt.nothing


VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**20), 10**20),
    st.floats(),
    st.text(max_size=8),
    st.sampled_from(["N1:1-72", "S1:1-288", "left", "wall-2x6", "x.yaml", "must", "N1", "tray_fibres"]),
    st.lists(st.integers(0, 5), max_size=3),
    st.dictionaries(
        st.sampled_from(["id", "cable", "a", "b", "leg", "trunk", "level", "x"]), st.text(max_size=5), max_size=3
    ),
)


@settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_bent_jobs_are_read_or_refused(data: st.DataObject) -> None:
    bent: Any = mapping(
        pins=[
            {"leg": "N1:1-72", "stack": "left", "position": 1, "built": True},
            {"trunk": "S1", "loops": 1, "divide_at": "tray", "built": True},
        ],
        trunks=[
            {"id": "N1", "cable": {**INLINE, "tubes": True}, "divide_at": ["tray", "port"]},
            {"id": "S1", "cable": "ribbon-288-2x144", "divide_at": "tray"},
        ],
        rules={"reach": {"bench_mm": 1800}, "tray_pair": "off"},
        apart=[{"joins": ["0", "1"], "scope": "tray"}],
        tubes={"id": "own", "tubes": [{"bore_mm": 6, "diameter_mm": 8}]},
        title="t",
    )
    for _ in range(data.draw(st.integers(1, 3))):
        bent = _bend(bent, data)
    if not isinstance(bent, dict):
        return
    found = refusal(lambda: load_job(bent))
    assert found != ()
    assert all(str(fault).isprintable() for fault in found or ())


def _bend(value: Any, data: st.DataObject) -> Any:
    """Replace one value somewhere inside, or drop or add a key."""
    if isinstance(value, dict) and value and data.draw(st.integers(0, 5)):
        key = data.draw(st.sampled_from(sorted(value)))
        return {**value, key: _bend(value[key], data)}
    if isinstance(value, list) and value and data.draw(st.integers(0, 5)):
        at = data.draw(st.integers(0, len(value) - 1))
        return [*value[:at], _bend(value[at], data), *value[at + 1 :]]
    if isinstance(value, dict) and value and data.draw(st.booleans()):
        key = data.draw(st.sampled_from(sorted(value)))
        return {name: inner for name, inner in value.items() if name != key}
    return data.draw(VALUES)


def test_jobs_that_share_a_resolver_share_no_faults(tmp_path: Path) -> None:
    (tmp_path / "bad.yaml").write_text("kind: cable\nid: bad\n")
    shared = Resolver(Library())
    told = []
    for cable in ("bad.yaml", "ribbon-288-2x144", "bad.yaml"):
        located = Located.plain(mapping(trunks=[{"id": "N1", "cable": cable}], joins=[]), cable)
        told.append(refusal(lambda located=located: read_located(located, tmp_path, shared, fill_rules=fill)))  # type: ignore[misc]
    assert told[1] is None
    assert told[0] == told[2]
    assert {fault.source for fault in told[0] or ()} == {f"{tmp_path}/bad.yaml"}


def odd(tmp_path: Path, change: Callable[[str], str]) -> Path:
    """Write a library with one box, a changed copy of wall-2x6 under a name of its own, and give its folder."""
    text = (shipped() / "enclosures" / "wall-2x6.yaml").read_text(encoding="utf-8")
    (tmp_path / "enclosures").mkdir(parents=True)
    path = tmp_path / "enclosures" / "odd.yaml"
    path.write_text(change(text.replace("id: wall-2x6", "id: odd")), encoding="utf-8")
    return tmp_path


def test_what_cannot_be_built_is_told_at_its_place_in_the_library(tmp_path: Path) -> None:
    folder = odd(tmp_path, lambda text: text.replace("at_mm: [", "at_mm: [9", 1))
    with pytest.raises(InputError) as wrong:
        load_job(mapping(enclosure="odd"), library=[folder])
    (fault,) = [fault for fault in wrong.value.faults if "outside of the box" in fault.message]
    assert (fault.source, fault.line > 0) == (str(folder / "enclosures" / "odd.yaml"), True)
    # Boxes of the library that the job does not use are not its affair.
    assert load_job(mapping(), library=[folder]).enclosure.id == "wall-2x6"


def test_what_is_unusual_is_told_once_and_the_job_is_read(tmp_path: Path) -> None:
    folder = odd(tmp_path, lambda text: re.sub(r"seals: \[.*\]", "seals: []", text, count=1))
    told: list[Fault] = []
    read = load_job(mapping(enclosure="odd"), library=[folder], warn=told.append)
    assert [fault.message for fault in told] == [
        f"port {read.enclosure.ports[0].id} has no seals: no trunk can enter there as long as seals must close round it"
    ]
    assert told[0].line > 0
    assert [remark.message for _, remark in of_job(read)] == [told[0].message]
