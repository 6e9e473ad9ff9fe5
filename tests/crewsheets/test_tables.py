"""CSV and XLSX: every cell comes back as it was, and no name becomes a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook

from tests.crewsheets.plans import half, hostile, straight, worked
from tests.workbooks import first_sheet
from trayopt.crewsheets.tables import Column, Table, csv_text, guarded, sheet_name, shown, unguarded, xlsx_bytes
from trayopt.crewsheets.words import words_of
from trayopt.crewsheets.write import Options, Sheets
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan

CASES: dict[str, Callable[[], tuple[Job, Plan]]] = {
    "worked": worked,
    "half": half,
    "hostile": hostile,
    "1728": lambda: straight("2x1728-wall-3x8"),
}
WORDS = words_of("en")
DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%", "＝", "＋", "－", "＠")


@pytest.mark.parametrize("first", DANGEROUS)
def test_each_character_that_may_begin_a_formula_is_guarded(first: str) -> None:
    text = f"{first}SUM(A1)"
    assert guarded(text) == f"'{text}"
    assert unguarded(guarded(text)) == text
    assert guarded(f"'{text}") == f"''{text}"
    assert guarded(f"N1 {first}") == f"N1 {first}"


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("units", ["metric", "feet"])
def test_csv_reads_back(case: str, units: str) -> None:
    made = Sheets(*CASES[case](), Options(units=units))  # type: ignore[arg-type]
    for table in made.tables.values():
        text = csv_text(table, WORDS, units)  # type: ignore[arg-type]
        read = list(csv.reader(io.StringIO(text, newline="")))
        assert len(read) == len(table.rows) + 1
        assert [unguarded(head) for head in read[0]] == [column.header(WORDS, units) for column in table.columns]  # type: ignore[arg-type]
        for row, cells in zip(read[1:], table.rows, strict=True):
            for text, cell, column in zip(row, cells, table.columns, strict=True):
                assert unguarded(text) == (cell if isinstance(cell, str) else shown(cell, column, units))  # type: ignore[arg-type]
                assert not text.startswith(DANGEROUS) or not isinstance(cell, str)


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("language", ["en", "de"])
def test_xlsx_reads_back(case: str, language: str) -> None:
    made = Sheets(*CASES[case](), Options(language=language))
    words = words_of(language)
    book = load_workbook(io.BytesIO(made.files()["lists.xlsx"]))
    assert book.sheetnames == [sheet_name(words(f"list.{name}")) for name in made.tables]
    for sheet, table in zip(book.worksheets, made.tables.values(), strict=True):
        rows = list(sheet.iter_rows())
        heads = [column.header(words, "metric") for column in table.columns]
        assert [cell.value for cell in rows[0]] == [*heads, made.safety[table.id]]
        assert len(rows) == len(table.rows) + 1
        for row, cells in zip(rows[1:], table.rows, strict=True):
            for at, cell in enumerate(cells):
                found = row[at] if at < len(row) else None
                assert (found.value if found else None) == (None if cell == "" else cell)
                assert found is None or found.data_type != "f"


def test_formulas_are_text_in_the_workbook_and_stay_it_when_edited() -> None:
    table = Table("strip", (Column("trunk"), Column("strip", "cut")), [("=1+1", 5), ("@x", 6), ("plain", 7)])
    sheet = first_sheet(load_workbook(io.BytesIO(xlsx_bytes([table], WORDS, "metric") or b"")))
    assert [sheet.cell(row, 1).value for row in (2, 3, 4)] == ["=1+1", "@x", "plain"]
    assert [sheet.cell(row, 1).data_type for row in (2, 3, 4)] == ["s", "s", "s"]
    assert [sheet.cell(row, 1).quotePrefix for row in (2, 3, 4)] == [True, True, False]
    assert sheet.cell(2, 2).value == 5


@given(st.text(max_size=30))
def test_guarding_is_undone_and_never_leaves_a_formula(text: str) -> None:
    assert unguarded(guarded(text)) == text
    assert not guarded(text).startswith(DANGEROUS)


@given(st.lists(st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=20), min_size=1, max_size=4))
def test_any_text_survives_csv(texts: list[str]) -> None:
    table = Table("strip", tuple(Column("trunk") for _ in texts), [tuple(texts)])
    (_, row) = csv.reader(io.StringIO(csv_text(table, WORDS, "metric"), newline=""))
    assert [unguarded(cell) for cell in row] == [cell.replace("\ufffe", "�").replace("\uffff", "�") for cell in texts]


def test_control_characters_do_not_break_a_workbook() -> None:
    table = Table("strip", (Column("trunk"),), [("a\x01\x1fb",)])
    sheet = first_sheet(load_workbook(io.BytesIO(xlsx_bytes([table], WORDS, "metric") or b"")))
    assert sheet.cell(2, 1).value == "a��b"


def test_no_cell_of_a_csv_looks_like_a_date() -> None:
    from trayopt.formats.tables_in import looks_like_date

    for table in Sheets(*straight("2x1728-wall-3x8"), Options()).tables.values():
        assert not [cell for row in table.rows for cell in row if isinstance(cell, str) and looks_like_date(cell)]


def test_negative_lengths_stay_numbers() -> None:
    table = Table("strip", (Column("transition", "length"),), [(-150,)])
    assert csv_text(table, WORDS, "metric").splitlines()[1] == "-150"


def test_feet_never_shorten_a_cut() -> None:
    assert shown(2230, Column("cut", "cut"), "feet") == "7 ft 3 7/8 in"
    assert shown(2230, Column("entrance_mark", "length"), "feet") == "7 ft 3 3/4 in"


def test_names_of_sheets_fit_a_workbook() -> None:
    for language in ("en", "de"):
        words = words_of(language)
        names = [
            sheet_name(text) for key, text in words.entries.items() if key.startswith("list.") and key != "list.and"
        ]
        assert len(set(names)) == len(names)
        assert all(0 < len(name) <= 31 for name in names)
    assert sheet_name("a/b:c[d]" + "x" * 40) == ("a b c d " + "x" * 40)[:31]
