"""Tables: CSV and XLSX by header name, and what spreadsheets do to cells."""

from __future__ import annotations

import csv
import datetime
import sys
import zipfile
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.expected import refusal
from tests.workbooks import first_sheet
from trayopt.errors import InputError
from trayopt.formats import tables_in, xlsx_in
from trayopt.formats.tables_in import Table, looks_like_date, parse_table, read_table


def rows(table: Table) -> list[dict[str, str]]:
    return [{name: cell.text for name, cell in row.cells.items()} for row in table.rows]


def workbook(*lines: list[Any], path: Path | None = None) -> bytes:
    book = openpyxl.Workbook()
    for line in lines:
        first_sheet(book).append(line)
    made = BytesIO()
    book.save(made)
    if path is not None:
        path.write_bytes(made.getvalue())
    return made.getvalue()


def fault(raw: bytes | str, *columns: str) -> str:
    with pytest.raises(InputError) as wrong:
        parse_table(raw.encode() if isinstance(raw, str) else raw, "t", columns)
    return str(wrong.value)


@pytest.mark.parametrize(
    "text",
    [
        "a,b,name\nN1:1-12,S1:1-12,east\n",
        "\ufeffName;B;A\r\neast;S1:1-12;N1:1-12\r\n",
        "b\ta\tNAME\nS1:1-12\tN1:1-12\teast\n",
        'sep=|\n"a"|" b "|name\n"N1:1-12"|S1:1-12|east\n',
        "\n\na,b,name\n,,\nN1:1-12,S1:1-12,east\n\n",
    ],
)
def test_csv_is_read_by_header_whatever_its_separator_order_and_case(text: str, tmp_path: Path) -> None:
    path = tmp_path / "joins.csv"
    path.write_text(text, encoding="utf-8", newline="")
    table = read_table(path, ("a", "b"), ("name",))
    assert rows(table) == [{"a": "N1:1-12", "b": "S1:1-12", "name": "east"}]
    assert table.faults == []


def test_cells_know_their_line_and_column() -> None:
    table = parse_table(b'a,b\n"x,\ny",z\n', "t")
    assert [(row.get("a").spot.line, row.get("a").spot.column) for row in table.rows] == [(2, 1)]
    assert (table.rows[0].get("b").spot.line, table.rows[0].get("b").spot.column) == (3, 4)
    assert table.rows[0].get("none").text == ""


def test_other_columns_are_kept_and_short_rows_filled() -> None:
    table = parse_table(b"a,extra,b\n1,2,3\n4\n", "t", ("a", "b"))
    assert rows(table) == [{"a": "1", "extra": "2", "b": "3"}, {"a": "4"}]
    assert table.rows[1].get("b").text == ""


def test_wrong_headers_are_told() -> None:
    assert fault("", "a") == "t:1:1: the table is empty; allowed: a row of headers and rows under it"
    assert fault("aa,b\n", "a", "b") == "t:1:1: there is no column 'a'; found aa, b; allowed: a, b"
    assert fault("a,b,A\n", "a") == "t:1:5: the header 'a' is given twice; rename one of the columns"
    assert "did you mean 'nmae'?" in fault("nmae\n", "name")


def test_a_cell_too_many_is_told() -> None:
    (wrong,) = parse_table(b"a,b\n1,2,3\n", "t").faults
    assert str(wrong) == (
        "t:2:5: a cell without a header over it; found '3'; put a text that holds the separator in quotes"
    )


def test_broken_quotes_are_told() -> None:
    assert fault('a,b\n"x,1\n').startswith("t:2:1: this is not valid CSV: ")


def test_too_many_rows_and_columns_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tables_in, "MOST_ROWS", 3)
    monkeypatch.setattr(tables_in, "MOST_COLUMNS", 4)
    assert fault("a\n" + "1\n" * 4) == "t:5:1: the table is too long; allowed: up to 3 rows"
    assert fault("a,b,c,d,e\n") == "t:1:1: too many columns; found 5; allowed: up to 4"


def test_a_table_that_is_too_large_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tables_in, "MOST_BYTES", 1000)
    (tmp_path / "t.csv").write_text("a\n" * 1000)
    with pytest.raises(InputError, match="the file is too large"):
        read_table(tmp_path / "t.csv")


def test_an_old_workbook_is_told() -> None:
    assert "an old or a protected workbook" in fault(b"\xd0\xcf\x11\xe0rest")


@pytest.mark.parametrize(
    "text",
    [
        "12-Jan",
        "Jan-12",
        "1. Jan 2024",
        "2024-01-12",
        "2024-01-12 00:00:00",
        "01/12/2024",
        "1.12.24",
        "Mai 5",
        "12. Okt",
        "01. Dez",
        "12. Mrz",
        "1. März 2024",
    ],
)
def test_dates_that_were_runs_are_known(text: str) -> None:
    assert looks_like_date(text)


@pytest.mark.parametrize("text", ["1-12", "N1:1-12", "12", "left/3", "march"])
def test_runs_are_no_dates(text: str) -> None:
    assert not looks_like_date(text)


def test_xlsx_is_read_by_header_with_numbers_as_text(tmp_path: Path) -> None:
    path = tmp_path / "joins.xlsx"
    workbook(
        [None], ["Name", "A", "B", "when"], ["east", 12.0, 1.5, datetime.date(2024, 1, 12)], [], [7, True], path=path
    )
    table = read_table(path, ("a", "b"), ("name",))
    assert rows(table)[0] == {"name": "east", "a": "12", "b": "1.5", "when": "2024-01-12 00:00:00"}
    assert rows(table)[1] == {"name": "7", "a": "true"}
    assert table.faults == []
    assert str(table.rows[0].get("b").spot.fault("m")) == f"{path}:C3: m"


def test_a_date_a_formula_and_an_error_are_told_with_their_cell() -> None:
    raw = workbook(["a", "b"], [datetime.datetime(2024, 1, 12), "=1+1"], ["#REF!", datetime.time(12, 24)])
    assert [str(wrong) for wrong in parse_table(raw, "t", ("a", "b")).faults] == [
        "t:A2: the spreadsheet turned this cell into a date; found '2024-01-12 00:00:00'; "
        "format the column as text and type the cell again",
        "t:B2: a formula without a value; found '=1+1'; open and save the file in a spreadsheet, or type the value",
        "t:A3: an error of the spreadsheet; found '#REF!'; type the value",
        "t:B3: the spreadsheet turned this cell into a date; found '12:24:00'; "
        "format the column as text and type the cell again",
    ]


def test_only_the_first_visible_sheet_is_read() -> None:
    book = openpyxl.Workbook()
    first_sheet(book).append(["hidden"])
    first_sheet(book).sheet_state = "hidden"
    book.create_sheet("second").append(["seen"])
    made = BytesIO()
    book.save(made)
    assert parse_table(made.getvalue(), "t").columns == ("seen",)


def test_a_damaged_workbook_is_told() -> None:
    raw = workbook(["a"], [1])
    assert "cannot be read as XLSX; found a damaged file" in fault(raw[:200])
    packed = BytesIO()
    with zipfile.ZipFile(packed, "w") as other:
        other.writestr("x", "y")
    assert "a damaged workbook, or none" in fault(packed.getvalue())


def test_a_zip_bomb_is_refused_by_its_unpacked_size() -> None:
    packed = BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as bomb:
        bomb.writestr("xl/worksheets/sheet1.xml", b"0" * (xlsx_in.MOST_UNPACKED + 1))
    assert fault(packed.getvalue()) == "t: the workbook is too large; found 100 MB unpacked; allowed: up to 100 MB"


def test_missing_openpyxl_is_told_with_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    raw = workbook(["a"])
    for name in [name for name in sys.modules if name.partition(".")[0] == "openpyxl"]:
        monkeypatch.setitem(sys.modules, name, None)
    assert fault(raw) == (
        "t: openpyxl is needed to read XLSX and is not installed; pip install trayopt[xlsx], or save the table as CSV"
    )


@settings(max_examples=200)
@given(st.binary(max_size=80))
def test_any_bytes_are_read_or_refused(raw: bytes) -> None:
    assert refusal(lambda: parse_table(raw, "t", ("a",))) != ()


SAMPLE = workbook(["a", "b"], ["x", 1])


@settings(max_examples=30)
@given(st.data())
def test_mangled_workbooks_are_read_or_refused(data: st.DataObject) -> None:
    raw = bytearray(SAMPLE)
    for _ in range(data.draw(st.integers(1, 5))):
        raw[data.draw(st.integers(4, len(raw) - 1))] = data.draw(st.integers(0, 255))
    assert refusal(lambda: parse_table(bytes(raw), "t", ("a",))) != ()


@settings(max_examples=200, deadline=None)
@given(
    st.lists(
        st.sampled_from(["a,b", "a,b\n", "b, c\n", '"', '""', '"a\n', 'b"\n', "\n", "\r\n", "\r", ","]), max_size=12
    )
)
def test_a_line_that_is_said_again_is_read_as_it_would_be_alone(parts: list[str]) -> None:
    """Lines inside of quotes are no records, though a line like them was one."""
    text = "a,b\n" + "".join(parts)
    lines = list(StringIO(text, newline=""))
    want: list[Any] = []
    reader, done = csv.reader(lines, strict=True), 0
    try:
        for record in reader:
            want.append((done + 1, [cell.strip() for cell in record], "".join(lines[done : reader.line_num])))
            done = reader.line_num
    except csv.Error:
        want.append("no CSV")
    found: list[Any] = []
    try:
        found.extend((row.line, row.texts, row.raw) for row in tables_in._csv_rows(text, "t"))
    except InputError:
        found.append("no CSV")
    assert found == want
