"""Measured marks: what was measured governs, the legs between follow in straight lines, doubts are told."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.crewsheets.plans import book, replanned, straight, worked
from trayopt.crewsheets.lengths import eighths, feet, read_length
from trayopt.crewsheets.marks import Marks, corrections, read_measured
from trayopt.crewsheets.settings import MaterialSettings, Settings
from trayopt.crewsheets.tables import csv_text
from trayopt.crewsheets.write import Options, Sheets
from trayopt.domain.base import remade
from trayopt.errors import InputError


def test_without_measuring_marks_are_the_plans() -> None:
    opened = book(worked())
    marks = Marks(opened, {})
    assert {name: (mark.entrance, mark.cut, mark.correction) for name, mark in marks.of.items()} == {
        leg.leg: (leg.entrance_mark_mm, leg.cut_mm, 0) for leg in opened.all_legs
    }
    assert marks.strip == {trunk: way.strip_mm for trunk, way in opened.ways.items()}


def test_first_and_last_leg_correct_the_rest_in_a_straight_line() -> None:
    assert corrections([100, 110, 120, 130, 140], [120, None, None, None, 140]) == [20, 15, 10, 5, 0]


def test_one_measured_leg_corrects_all_alike() -> None:
    assert corrections([100, 110, 120], [None, 117, None]) == [7, 7, 7]


def test_beyond_the_measured_legs_the_nearest_correction_holds() -> None:
    assert corrections([1, 2, 3, 4, 5], [None, 12, None, 24, None]) == [10, 10, 15, 20, 20]


def test_half_a_millimetre_makes_a_leg_longer_not_shorter() -> None:
    assert corrections([0, 0, 0], [0, None, 1]) == [0, 1, 1]
    assert corrections([0, 0, 0], [0, None, -1]) == [0, 0, -1]
    assert corrections([0, 0, 0, 0], [0, None, None, 1]) == [0, 0, 1, 1]


@given(st.lists(st.tuples(st.integers(0, 9000), st.one_of(st.none(), st.integers(0, 9000))), min_size=1, max_size=40))
def test_measured_legs_get_what_was_measured_and_others_lie_between(legs: list[tuple[int, int | None]]) -> None:
    computed, measured = [leg[0] for leg in legs], [leg[1] for leg in legs]
    found = corrections(computed, measured)
    known = [value - computed[i] for i, value in enumerate(measured) if value is not None]
    for i, value in enumerate(measured):
        if value is not None:
            assert computed[i] + found[i] == value
    assert all(min(known, default=0) <= shift <= max(known, default=0) for shift in found)


def test_measured_marks_shift_every_mark_the_cut_and_the_strip() -> None:
    opened = book(worked())
    plain, moved = Marks(opened, {}), Marks(opened, {"P/1": 1930 + 75, "P/2": 1941 + 85})
    first, last = moved.of["P/1"], moved.of["P/2"]
    assert (first.entrance, first.tube_end, first.ribbon) == (2005, 2035, 2350 + 75)
    # 75 + 2350 + 2 × 122 for one loop = 2669, 85 + 2361 + 244 = 2690, up to 50: 2700; strip stays the least of 3000.
    assert (first.cut, last.cut) == (2700, 2700)
    assert plain.of["Q/1.1"] == moved.of["Q/1.1"]
    assert moved.strip["P"] == 3000


def test_a_correction_beyond_the_allowance_is_a_doubt() -> None:
    # 122 mm (a lay at the outer edge of a guide 38.7 mm wide) a turn and once more: 244 mm with one loop.
    opened = book(worked())
    assert not Marks(opened, {"P/1": 1930 + 244, "P/2": 1941}).of["P/1"].doubt
    assert Marks(opened, {"P/1": 1930 + 245, "P/2": 1941}).of["P/1"].doubt
    assert not Marks(opened, {"P/1": 1930 - 244, "P/2": 1941}).of["P/1"].doubt
    assert Marks(opened, {"P/1": 1930 - 245, "P/2": 1941}).of["P/1"].doubt, "too short is as doubtful as too long"
    made = Sheets(*worked(), Options(), measured={"P/1": 1930 + 500})
    assert any("P/1" in line for line in made.warnings())


def test_a_tube_has_one_end_before_its_first_entrance() -> None:
    """Q's tube is opened for left/1 (2075) and left/2 (2086): it ends 150 mm before the first of them, whatever is measured."""
    marks = Marks(book(worked()), {})
    one, two = marks.of["Q/1.1"], marks.of["Q/1.2"]
    assert one.tube_end == two.tube_end == 2075 - 150
    # Protection from there to 30 mm past each tie-down.
    assert (one.protection, two.protection) == (150 + 30, 150 + 11 + 30)
    # A tube of one leg ends past its tie-down.
    assert (marks.of["P/1"].tube_end, marks.of["P/1"].protection) == (1930 + 30, 0)
    moved = Marks(book(worked()), {"Q/1.1": 2075 + 40, "Q/1.2": 2086 - 20})
    assert moved.of["Q/1.1"].tube_end == moved.of["Q/1.2"].tube_end == 2066 - 150
    assert (moved.of["Q/1.1"].protection, moved.of["Q/1.2"].protection) == (150 + 49 + 30, 150 + 30)
    own = Settings(materials=MaterialSettings(parting_mm=300))
    assert Marks(book(worked(), own), {}).of["Q/1.1"].tube_end == 2075 - 300


def test_legs_divided_at_the_port_have_an_end_each() -> None:
    opened = book(straight("2x864-wall-3x8-port"))
    marks = Marks(opened, {})
    for leg in opened.all_legs:
        mark = marks.of[leg.leg]
        assert (mark.tube_end, mark.protection) == (mark.entrance + 30, 0)


@pytest.mark.parametrize(("allowance", "safe"), [(121, False), (122, True), (200, True)])
def test_lengths_are_safe_before_a_trial_route_where_the_allowance_covers_the_outer_lay(
    allowance: int, *, safe: bool
) -> None:
    """Hand-worked: π × √1500 = 121.7, so that 122 mm a turn cover a lay at the outer edge."""
    job, plan = worked()
    setting = job.rules["exposed"]
    changed = remade(setting, parameters={**setting.parameters, "allowance_mm": allowance})
    pair = replanned(remade(job, rules={**job.rules, "exposed": changed}), plan, job)
    for language, word in (("en", "cut before a trial route: "), ("de", "or einem Probelauf ")):
        made = Sheets(*pair, Options(language=language))
        assert made.marks.safe is safe
        strip = [step for step in made.steps if step.phase == "strip"]
        assert word in strip[0].lines[-1]
        assert f"{allowance} mm" in strip[0].lines[-1]
        assert ("122 mm" in strip[0].lines[-1]) is True
        assert strip[0].lines[-1] in made.page()
        assert len(set(made.tables["strip"].column("trial"))) == 1
    assert ("Do not cut before a trial route" in Sheets(*pair, Options()).page()) is not safe
    assert Sheets(*pair, Options()).tables["strip"].column("trial") == ["safe" if safe else "try the route first"] * 2


def test_the_strip_list_tells_what_measuring_changed() -> None:
    made = Sheets(*straight("2x432-wall-2x6"), Options(), measured={"N1/1.1": 3000})
    table = made.tables["strip"]
    strip, note = table.column("strip")[0], table.column("note")[0]
    assert strip == max(mark.cut for name, mark in made.marks.of.items() if name.startswith("N1"))
    assert note.startswith("was ")


def test_the_filled_in_mark_list_reads_back(tmp_path: Path) -> None:
    for language in ("en", "de"):
        for units, lengths in (("metric", ["2005", "2026 mm"]), ("feet", ["6 ft 7 in", "6 ft 7 3/4 in"])):
            made = Sheets(*worked(), Options(language=language, units=units))  # type: ignore[arg-type]
            table = made.tables["marks"]
            at = [column.key for column in table.columns].index("measured")
            rows = [list(row) for row in table.rows]
            rows[0][at], rows[1][at] = lengths
            filled = type(table)(table.id, table.columns, [tuple(row) for row in rows], table.keys)
            path = tmp_path / "marks.csv"
            path.write_text(csv_text(filled, made.tell.words, made.tell.units), encoding="utf-8")
            expected = {"P/1": 2005, "P/2": 2026} if units == "metric" else {"P/1": 2007, "P/2": 2026}
            assert read_measured(str(path), made.book) == expected


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("leg,measured_mm\nP/9,100\n", "no leg 'P/9'"),
        ("leg,measured_mm\nQ/1,100\n", "it is divided"),
        ("leg,measured_mm\nP/1,100\nP/1,101\n", "measured twice"),
        ("leg,measured_mm\nP/1,-5\n", "is not a length"),
        ("leg,measured_mm\nP/1,0\n", "is not a length"),
        ("leg,measured_mm\nP/1,long\n", "is not a length"),
        ("leg,other\nP/1,5\n", "there is no column 'measured'"),
    ],
)
def test_wrong_measurements_are_told_with_their_line(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "m.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as wrong:
        read_measured(str(path), book(worked()))
    assert told in str(wrong.value)
    assert all(fault.line for fault in wrong.value.faults)


def test_feet_and_inches() -> None:
    # 25.4 mm an inch: 2230 mm are 87.795 in, 7 ft 3 6/8 in to the nearest eighth, 7 ft 3 7/8 in upwards.
    assert feet(2230) == "7 ft 3 3/4 in"
    assert feet(2230, up=True) == "7 ft 3 7/8 in"
    assert feet(0) == "0 ft 0 in"
    assert feet(-150) == "-0 ft 5 7/8 in"
    assert feet(3048) == feet(3048, up=True) == "10 ft 0 in"


@given(st.integers(0, 200_000))
def test_upwards_is_never_shorter_and_never_an_eighth_too_long(mm: int) -> None:
    assert 0 <= eighths(mm, up=True) * 254 - mm * 80 < 254
    assert abs(eighths(mm) * 254 - mm * 80) <= 127


@given(st.integers(0, 200_000))
def test_feet_read_back_to_the_nearest_eighth(mm: int) -> None:
    read = read_length(feet(mm))
    assert read is not None
    assert abs(read - mm) <= 2


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("2230", 2230),
        (" 2230 mm", 2230),
        ("7'", 2134),
        ("7' 3\"", 2210),
        ("3 1/2 in", 89),
        ("1/2 in", 13),
        ("1 ft", 305),
        ("3.98 m", 3980),
        ("3,98 m", 3980),
        ("5 m", 5000),
    ],
)
def test_lengths_as_people_write_them(text: str, mm: int) -> None:
    assert read_length(text) == mm


@pytest.mark.parametrize(
    "text", ["", "-5", "12,5", "1/0 in", "seven", "1 2 3", "3,140", "3.140", "3.9801 m", "2001 cm"]
)
def test_what_is_no_length(text: str) -> None:
    assert read_length(text) is None
