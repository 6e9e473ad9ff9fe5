"""Workbooks: what spreadsheets do to cells, the sheet that comes back, and empty tables to send out."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook, load_workbook

from tests.build import job_of
from tests.strategies import worked_example
from tests.workbooks import first_sheet
from trayopt.api import sheets
from trayopt.crewsheets.lengths import Units
from trayopt.domain.assignment import Assignment
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.errors import InputError
from trayopt.formats.tables_in import parse_loose_table
from trayopt.review.cautions import TABLE
from trayopt.review.columns import is_read
from trayopt.review.complete import completed_plan
from trayopt.review.desk import Review, review_table
from trayopt.review.gaps import unplaced_remarks
from trayopt.review.handmade import Handmade
from trayopt.review.marked import marked_workbook
from trayopt.review.reading import parse_handmade, read_handmade
from trayopt.review.sheet_out import columns_of, empty_rows, write_plan, write_table
from trayopt.track.laid import Laid

HEAD = ["Trunk", "Fibres", "Stack", "Position", "Port", "Travel", "Loops", "Remarks"]


def book(good: str, change: Callable[[Any], None] | None = None) -> bytes:
    """Make a workbook of the good table, with one thing done to its sheet."""
    made = Workbook()
    sheet: Any = made.active
    sheet.append(HEAD)
    for line in good.splitlines()[1:]:
        cells: list[Any] = [cell or None for cell in line.split(",")]
        for i in (3, 6):
            cells[i] = int(cells[i]) if cells[i] else None
        sheet.append([*cells, "from the site"])
    if change is not None:
        change(sheet)
    stream = BytesIO()
    made.save(stream)
    return stream.getvalue()


def put(cell: str, value: Any) -> Callable[[Any], None]:
    """Make a change that writes one cell."""

    def change(sheet: Any) -> None:
        sheet[cell] = value

    return change


def test_a_good_workbook_passes(quay: Job, good: str) -> None:
    review = review_table(quay, parse_handmade(quay, book(good), "good.xlsx"))
    assert review.passed
    assert review.remarks == ()


def test_numbers_as_text_are_numbers(quay: Job, good: str) -> None:
    def change(sheet: Any) -> None:
        sheet["D2"] = "1"
        sheet["D3"] = " 2 "
        sheet["G2"] = "1"

    made = parse_handmade(quay, book(good, change), "text.xlsx")
    assert made.faults == []
    assert [str(entry.place) for entry in made.entries[:2]] == ["left/1", "left/2"]


@pytest.mark.parametrize(
    ("change", "cell", "words"),
    [
        (put("B2", datetime(2024, 1, 12)), "B2", "turned this cell into a date"),
        (put("B3", "Jan-72"), "B3", "turned this cell into a date"),
        (put("D4", 1.5), "D4", "not a whole number"),
        (put("D4", "1,0"), "D4", "has a comma"),
        (put("C4", "rihgt"), "C4", "no such stack"),
        (put("D5", 9), "D5", "no such position"),
        (put("A6", None), "A6", "trunk is missing"),
        (put("B7", "=1+1"), "B7", "formula without a value"),
        (put("B7", "#REF!"), "B7", "error of the spreadsheet"),
        (put("E6", "front door"), "E6", "no such port"),
        (put("F6", "round"), "F6", "not a direction of travel"),
        (put("B9", "1-24"), "B9", "this row repeats row 8"),
        (lambda sheet: sheet.merge_cells("A2:A5"), "A2", "merged cells"),
        (lambda sheet: sheet.merge_cells("C8:C10"), "C8", "merged cells"),
    ],
)  # fmt: skip
def test_damage_is_told_with_the_address_of_its_cell(
    quay: Job, good: str, change: Callable[[Any], None], cell: str, words: str
) -> None:
    made = parse_handmade(quay, book(good, change), "damaged.xlsx")
    assert any(fault.where == cell and words in fault.message for fault in made.faults), made.faults
    review = review_table(quay, made)
    assert review.damaged
    assert not review.passed


def test_dates_in_other_columns_are_no_damage(quay: Job, good: str) -> None:
    assert parse_handmade(quay, book(good, put("H3", datetime(2024, 5, 1))), "dated.xlsx").faults == []


def test_the_sheet_comes_back_with_its_findings(quay: Job, good: str) -> None:
    review = review_table(quay, parse_handmade(quay, book(good, put("D3", 3)), "bad.xlsx"))
    back = load_workbook(BytesIO(marked_workbook(review)))
    sheet: Any = back.worksheets[0]
    assert [cell.value for cell in sheet[1]] == [*HEAD, "findings", TABLE]
    assert sheet["H3"].value == "from the site"
    assert "whole_legs" in sheet["I3"].value
    assert "To mend: " in sheet["I3"].value
    assert sheet["I12"].value is None
    assert sheet["D3"].fill.fgColor.rgb.endswith("F8B4B4")
    listed = back["findings"]
    assert [row[2].value for row in listed.iter_rows(min_row=2)] == [remark.rule for remark in review.remarks]


def test_a_sheet_that_came_back_can_be_mended_and_sent_again(quay: Job, good: str) -> None:
    review = review_table(quay, parse_handmade(quay, book(good, put("D3", 3)), "bad.xlsx"))
    back = load_workbook(BytesIO(marked_workbook(review)))
    sheet: Any = back.worksheets[0]
    sheet["D3"] = 2
    stream = BytesIO()
    back.save(stream)
    again = review_table(quay, parse_handmade(quay, stream.getvalue(), "again.xlsx"))
    assert again.passed
    final: Any = load_workbook(BytesIO(marked_workbook(again))).worksheets[0]
    assert [cell.value for cell in final[1]] == [*HEAD, "findings", TABLE]
    assert final["I3"].value is None


def test_a_csv_table_comes_back_as_a_workbook_row_by_row(quay: Job, good: str) -> None:
    text = good.replace("QUAY,73-144,left,2", '"QUAY",73-144,left,3').replace("\nEAST", "\n\nEAST", 1)
    review = review_table(quay, parse_handmade(quay, text.encode(), "bad.csv"))
    sheet: Any = load_workbook(BytesIO(marked_workbook(review))).worksheets[0]
    assert sheet["B3"].value == "73-144"
    assert "whole_legs" in sheet["H3"].value
    assert sheet["D3"].fill.fgColor.rgb.endswith("F8B4B4")
    assert sheet["A7"].value == "EAST"


@pytest.mark.parametrize("name", ["empty.csv", "empty.xlsx"])
def test_an_empty_table_is_read_as_a_plan_that_decides_nothing(quay: Job, tmp_path: Path, name: str) -> None:
    write_table(tmp_path / name, quay, empty_rows(quay))
    made = read_handmade(quay, tmp_path / name)
    assert made.faults == []
    assert made.placed == []
    assert [str(entry.run) for entry in made.entries] == ["QUAY:1-144", "QUAY:145-288", "EAST:1-144", "WEST:1-144"]
    review = review_table(quay, made, complete_s=60)
    assert not review.passed
    assert review.completion is not None
    assert review.completion.assignment is not None


def test_an_empty_workbook_offers_what_the_box_has(quay: Job, tmp_path: Path) -> None:
    write_table(tmp_path / "empty.xlsx", quay, empty_rows(quay))
    back = load_workbook(tmp_path / "empty.xlsx")
    assert back.sheetnames == ["plan", "lists", "notes"]
    sheet: Any = back["plan"]
    assert [cell.value for cell in sheet[1]] == list(columns_of(quay))
    assert sheet["B150"].number_format == "@"
    ranges = {str(rule.sqref).split(":")[0]: rule.formula1 for rule in sheet.data_validations.dataValidation}
    assert ranges["C2"] == "lists!$B$2:$B$3"
    assert ranges["D2"] == "lists!$C$2:$C$7"
    lists: Any = back["lists"]
    assert [lists.cell(row, 2).value for row in (1, 2, 3)] == ["stack", "left", "right"]
    notes = [str(row[0].value or "") for row in back["notes"].iter_rows()]
    assert any("QUAY: 288 fibres in subunits of 2 x 12 ribbons of 12" in line for line in notes)


def test_a_table_is_csv_or_xlsx(quay: Job, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="CSV or XLSX"):
        write_table(tmp_path / "plan.ods", quay, empty_rows(quay))


@pytest.mark.parametrize("name", ["plan.csv", "plan.xlsx"])
def test_a_plan_as_a_table_carries_the_line_of_safety_and_is_read_as_before(
    quay: Job, good: str, tmp_path: Path, name: str
) -> None:
    report = review_table(quay, parse_handmade(quay, good.encode(), "good.csv")).report
    assert report is not None
    write_plan(tmp_path / name, quay, report.plan)
    made = read_handmade(quay, tmp_path / name)
    heads = parse_loose_table((tmp_path / name).read_bytes(), name, is_read).head.texts
    assert heads[:-1] == list(columns_of(quay))
    assert heads[-1].startswith("Safety: ")
    assert (made.faults, made.unread, made.passed_over) == ([], [], [])
    assert review_table(quay, made).passed


def test_one_splice_without_a_tray_is_told_in_the_singular() -> None:
    data = worked_example()
    one = {side: data["joins"][0][side].partition("-")[0] for side in ("a", "b")}
    job = job_of({**data, "joins": [one]})
    [remark] = unplaced_remarks(job, Handmade(job, "t", "legs"), Laid(job, Assignment({}, {}, {}, {})))
    assert remark.found.startswith("1 splice of ")
    assert remark.found.endswith("has no tray that holds both sides")


def test_splices_that_no_tray_holds_are_not_sent_to_one(quay: Job) -> None:
    remarks = unplaced_remarks(quay, Handmade(quay, "t", "legs"), Laid(quay, Assignment({}, {}, {}, {})))
    most = max(tray.fibres for stack in quay.enclosure.stacks for tray in stack.kinds)
    told = {
        remark.mend.partition(";")[0].rpartition(" the ")[2]
        for remark in remarks
        if int(remark.found.split()[0].replace(",", "")) > most
    }
    assert told == {"same trays, leg by leg"}


def back_of(job: Job, raw: bytes, name: str) -> tuple[Any, Any]:
    """Give the sheet that comes back, and the review that it shows."""
    review = review_table(job, parse_handmade(job, raw, name))
    return load_workbook(BytesIO(marked_workbook(review))).worksheets[0], review


@pytest.mark.parametrize("mark", ["sep=;\n", "\n\n", ""])
def test_a_mark_of_the_separator_costs_no_data(quay: Job, good: str, mark: str) -> None:
    raw = mark + good.replace("73-144,left,2", "73-144,left,4").replace(",", ";")
    sheet, review = back_of(quay, raw.encode(), "plan.csv")
    first = len(mark.splitlines()) + 1
    for number, line in enumerate(good.replace("73-144,left,2", "73-144,left,4").splitlines(), start=first):
        cells = [sheet.cell(number, i).value or "" for i in range(1, 8)]
        assert cells == line.split(",")
    assert [sheet.cell(first, column).value for column in (8, 9)] == ["findings", TABLE]
    marked = {number for number in range(1, sheet.max_row + 1) if sheet.cell(number, 8).value} - {first}
    assert marked == {line.number for remark in review.remarks for line in remark.lines}
    assert sheet.cell(first + 2, 4).fill.fgColor.rgb.endswith("F8B4B4")
    if mark.startswith("sep="):
        assert [cell.value for cell in sheet[1] if cell.value is not None] == [mark.strip()]


@pytest.mark.parametrize("cell", ["I4", "I5", "K3", "J14", "Z20"])
def test_stray_cells_beside_the_table_stay(quay: Job, good: str, cell: str) -> None:
    def change(sheet: Any) -> None:
        sheet["D3"] = 4
        sheet[cell] = "a note of the site"

    sheet, _ = back_of(quay, book(good, change), "stray.xlsx")
    assert sheet[cell].value == "a note of the site"
    (column,) = [item.column for item in sheet[1] if item.value == "findings"]
    assert column == sheet[cell].column + 1
    assert any(sheet.cell(row, column).value for row in range(2, sheet.max_row + 1))


def test_cells_of_a_csv_are_looked_up_once(quay: Job, good: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The places of a row are read as often as there are rows, not rows times findings."""
    raw = good + "".join(f"WEST,{first}-{first + 1},left,9,,,\n" for first in range(1, 140))
    review = review_table(quay, parse_handmade(quay, raw.encode(), "plan.csv"))
    assert len(review.remarks) > 100
    reads = 0

    class Counting(list[Any]):
        def __iter__(self) -> Any:
            nonlocal reads
            reads += 1
            return super().__iter__()

    monkeypatch.setattr(review.made, "lines", Counting(review.made.lines))
    marked_workbook(review)
    assert reads <= 3


@pytest.mark.parametrize("separator", [";", "\t", ","])
def test_a_table_below_a_title_comes_back_in_its_own_columns(quay: Job, good: str, separator: str) -> None:
    title = "Splice plan, quay, second issue, checked; not released"
    rows = [line.replace(",", separator) for line in good.replace("right,2", "rihgt,2").splitlines()]
    text = "\n".join([f'"{title}"', *rows])
    review = review_table(quay, parse_handmade(quay, text.encode(), "titled.csv"))
    sheet = load_workbook(BytesIO(marked_workbook(review))).worksheets[0]
    assert sheet["A1"].value == title
    head = [cell.value for cell in sheet[2]]
    assert head == [*good.splitlines()[0].split(","), "findings", TABLE]
    wrong = [cell for row in sheet.iter_rows(min_row=3) for cell in row if cell.value == "rihgt"]
    assert wrong
    assert {cell.fill.fgColor.rgb for cell in wrong} == {"00F8B4B4"}
    assert all("no such stack" in str(sheet.cell(cell.row, len(head) - 1).value) for cell in wrong)


def test_a_csv_table_is_marked_as_the_same_workbook_is(quay: Job, good: str) -> None:
    text = good.replace("left,1", "left,99").replace("73-144,left,2", "73-144,left,3")
    made = [parse_handmade(quay, text.encode(), "plan.csv"), parse_handmade(quay, book(text), "plan.xlsx")]
    coloured, said = [], []
    for one in made:
        sheet = load_workbook(BytesIO(marked_workbook(review_table(quay, one)))).worksheets[0]
        cells = [cell for row in sheet.iter_rows(min_row=2) for cell in row]
        coloured.append({(cell.coordinate, cell.fill.fgColor.rgb) for cell in cells if cell.fill.fill_type})
        column = next(cell.column for cell in sheet[1] if cell.value == "findings")
        said.append([sheet.cell(row, column).value for row in range(2, sheet.max_row + 1)])
    assert coloured[0]
    assert coloured[0] == coloured[1]
    assert said[0] == said[1]


def test_our_own_workbook_of_lists_is_read_by_the_sheet_that_says_where_legs_lie(quay: Job, good: str) -> None:
    """Its first sheets are steps and strips, which hold no plan."""
    plan, raw = own_lists(quay, good)
    made = parse_handmade(quay, raw, "lists.xlsx")
    assert made.sheet == "Marks on the legs"
    assert any("'Marks on the legs' is read; not read: 'Steps'" in note for note in made.notes)
    assert {(str(entry.run), str(entry.place)) for entry in made.placed} == {
        (f"{leg.trunk}:{leg.fibres}", f"{leg.stack}/{leg.position}") for leg in plan.legs if leg.stack is not None
    }


def strip_changed(raw: bytes, change: Callable[[Any], None]) -> bytes:
    """Change the sheet of our own workbook that tells the ways of trunks."""
    made = load_workbook(BytesIO(raw))
    change(made["Jacket to strip"])
    stream = BytesIO()
    made.save(stream)
    return stream.getvalue()


def test_our_own_workbook_of_lists_is_read_with_the_ways_that_another_of_its_sheets_tells(quay: Job, good: str) -> None:
    """Without them ways are open, and the lengths of another way are not those that the list says."""
    plan, raw = own_lists(quay, good)
    review = review_table(quay, parse_handmade(quay, raw, "lists.xlsx"))
    told = {trunk: {key: decided.value for key, decided in way.items()} for trunk, way in review.made.ways.items()}
    assert told == {
        row.trunk: {"port": row.port, "travel": row.travel, "loops": row.loops, "divide_at": row.divide_at}
        for row in plan.trunks
        if row.port is not None
    }
    assert review.passed
    assert any("ways of trunks are read on 'Jacket to strip'" in note for note in review.made.notes)


@pytest.mark.parametrize("units", ["metric", "feet"])
@pytest.mark.parametrize("language", ["en", "de"])
def test_our_own_workbook_of_lists_is_one_plan_of_which_no_column_is_warned_about(
    quay: Job, good: str, language: str, units: Units
) -> None:
    plan = completed_plan(review_table(quay, parse_handmade(quay, good.encode(), "plan.csv")))
    assert plan is not None
    raw = sheets(quay, plan, language=language, units=units).workbook
    assert raw is not None
    review = review_table(quay, parse_handmade(quay, raw, "lists.xlsx"))
    assert review.passed
    assert review.completion is None
    assert [remark for remark in review.remarks if remark.level in {"unread", "open"}] == []
    assert review.goals["unplaced"] == 0
    assert [sum(row.a.count for row in listed.splices) for listed in review.made.beside] == [
        sum(j.a.count for j in quay.joins)
    ] * 2


def own_lists(job: Job, table: str) -> tuple[Plan, bytes]:
    """Give the plan of a table, and the lists of our own sheets for it."""
    plan = completed_plan(review_table(job, parse_handmade(job, table.encode(), "plan.csv")))
    assert plan is not None
    raw = sheets(job, plan).workbook
    assert raw is not None
    return plan, raw


def test_splices_on_another_sheet_of_our_own_workbook_are_held_to_the_legs_and_to_the_joins(
    quay: Job, good: str
) -> None:
    _, raw = own_lists(quay, good)

    def changed(change: Callable[[Any], None], name: str = "Splices by sleeve") -> Review:
        book = load_workbook(BytesIO(raw))
        change(book[name])
        stream = BytesIO()
        book.save(stream)
        return review_table(quay, parse_handmade(quay, stream.getvalue(), "lists.xlsx"))

    page = load_workbook(BytesIO(raw))["Splices by sleeve"]
    tray = "right/2" if page["B2"].value != "right/2" else "right/1"
    moved = changed(put("B2", tray))
    told = [(item.fault().where, item.beside) for item in moved.made.damage]
    assert {where for where, _ in told} == {"Splices by sleeve!B2"}
    assert all(also[0].startswith("D") for _, also in told)
    sleeve = changed(lambda sheet: put("C2", sheet["C3"].value)(sheet))
    assert [(remark.rule, remark.fails) for remark in sleeve.remarks if remark.fails] == [("sleeve", True)]
    assert all(
        cell.startswith("Splices by sleeve!C") for remark in sleeve.remarks if remark.fails for cell in remark.cells
    )
    gone = changed(lambda sheet: sheet.delete_rows(2), "Splices by fibre")
    [missing] = [remark for remark in gone.remarks if remark.fails]
    assert missing.found.startswith("1 splice of")
    assert missing.found.endswith("is in no row of sheet 'Splices by fibre'")
    assert gone.unplaced == 1


def test_trays_of_legs_that_the_marks_leave_out_are_those_of_their_splices(quay: Job, good: str) -> None:
    _, raw = own_lists(quay, good)
    book = load_workbook(BytesIO(raw))
    book["Marks on the legs"].delete_rows(2)
    stream = BytesIO()
    book.save(stream)
    made = parse_handmade(quay, stream.getvalue(), "lists.xlsx")
    whole = parse_handmade(quay, raw, "lists.xlsx")
    assert {(entry.run, entry.place) for entry in made.placed} == {(entry.run, entry.place) for entry in whole.placed}
    assert review_table(quay, made).passed


def test_what_is_wrong_on_another_sheet_is_told_there_and_not_marked_on_the_one_that_is_read(
    quay: Job, good: str
) -> None:
    _, raw = own_lists(quay, good)
    review = review_table(quay, parse_handmade(quay, strip_changed(raw, put("C3", "nowhere")), "lists.xlsx"))
    [fault] = review.made.faults
    assert fault.where == "Jacket to strip!C3"
    [remark] = [remark for remark in review.remarks if remark.level == "damage"]
    assert remark.rows == "row 3 of sheet 'Jacket to strip'"
    assert remark.cells == ("Jacket to strip!C3",)
    marked = load_workbook(BytesIO(marked_workbook(review)))["Marks on the legs"]
    said = {row: [cell.value for cell in marked[row]] for row in (1, 3)}
    assert said[3][said[1].index("findings")] is None


def test_findings_are_written_on_the_sheet_that_was_read(quay: Job, good: str) -> None:
    book = Workbook()
    first_sheet(book).append(["Cover", "of a plan"])
    page = book.create_sheet("legs")
    for line in good.replace("73-144,left,2", "73-144,left,3").splitlines():
        page.append(line.split(","))
    stream = BytesIO()
    book.save(stream)
    review = review_table(quay, parse_handmade(quay, stream.getvalue(), "plan.xlsx"))
    assert review.made.sheet == "legs"
    assert not review.passed
    back = load_workbook(BytesIO(marked_workbook(review)))
    assert "findings" in [cell.value for cell in back["legs"][1]]
    assert [cell.value for cell in back.worksheets[0][1]] == ["Cover", "of a plan"]
