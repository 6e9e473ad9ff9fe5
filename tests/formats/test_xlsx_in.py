"""Workbooks as programs write them: held to what they are when read as a whole, and to files that are made by hand."""

from __future__ import annotations

import datetime
import zipfile
from io import BytesIO
from typing import Any
from unittest.mock import Mock

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl.reader.excel import ExcelReader

from tests.workbooks import first_sheet
from trayopt.errors import InputError
from trayopt.formats import xlsx_in
from trayopt.formats.cells import MOST_COLUMNS, MOST_ROWS
from trayopt.formats.sheet_xml import sheet_rows
from trayopt.formats.tables_in import parse_table
from trayopt.formats.xlsx_in import Workbook

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACK = "http://schemas.openxmlformats.org/package/2006/relationships"
TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"
KINDS = "http://schemas.openxmlformats.org/package/2006/content-types"
BOOK = (
    f'<workbook xmlns="{MAIN}" xmlns:r="{REL}"><workbookPr {{}}/>'
    '<sheets><sheet name="s" sheetId="1" r:id="a"/></sheets></workbook>'
)
STYLES = (
    f'<styleSheet xmlns="{MAIN}"><numFmts><numFmt numFmtId="170" formatCode="[Red]0 &quot;days&quot;"/>'
    '<numFmt numFmtId="171" formatCode="[$-409]d\\-mmm;@"/><numFmt numFmtId="172" formatCode="[h]:mm"/></numFmts>'
    '<cellStyleXfs><xf numFmtId="14"/></cellStyleXfs>'
    '<cellXfs><xf numFmtId="0"/><xf numFmtId="14"/><xf numFmtId="170"/><xf numFmtId="171"/><xf numFmtId="172"/></cellXfs>'
    "</styleSheet>"
)
SHARED = (
    f'<sst xmlns="{MAIN}"><si><t xml:space="preserve"> left </t></si><si><r><t>1-</t></r><r><t>12</t></r></si>'
    '<si><t>漢字</t><rPh sb="0" eb="2"><t>かんじ</t></rPh></si></sst>'
)


def packed(sheet: str | bytes, book: str = BOOK.format("")) -> bytes:
    """Pack a workbook of one sheet."""

    def relations(*parts: tuple[str, str, str]) -> str:
        rows = "".join(f'<Relationship Id="{i}" Type="{REL}/{kind}" Target="{to}"/>' for i, kind, to in parts)
        return f'<Relationships xmlns="{PACK}">{rows}</Relationships>'

    made = BytesIO()
    with zipfile.ZipFile(made, "w") as out:
        out.writestr("_rels/.rels", relations(("x", "officeDocument", "xl/workbook.xml")))
        kinds = {
            "workbook.xml": "sheet.main",
            "worksheets/one.xml": "worksheet",
            "styles.xml": "styles",
            "t.xml": "sharedStrings",
        }
        rows = "".join(
            f'<Override PartName="/xl/{part}" ContentType="{TYPE}.{kind}+xml"/>' for part, kind in kinds.items()
        )
        out.writestr("[Content_Types].xml", f'<Types xmlns="{KINDS}">{rows}</Types>')
        out.writestr("xl/workbook.xml", book)
        parts = (
            ("a", "worksheet", "/xl/worksheets/one.xml"), ("b", "styles", "styles.xml"), ("c", "sharedStrings", "t.xml"),
        )  # fmt: skip
        out.writestr("xl/_rels/workbook.xml.rels", relations(*parts))
        out.writestr("xl/worksheets/one.xml", sheet)
        out.writestr("xl/styles.xml", STYLES)
        out.writestr("xl/t.xml", SHARED)
    return made.getvalue()


def sheet(data: str, more: str = "") -> str:
    """Write a sheet."""
    return f'<worksheet xmlns="{MAIN}"><sheetData>{data}</sheetData>{more}</worksheet>'


def texts(raw: bytes) -> dict[int, list[str]]:
    """Give the texts of the rows of the first sheet."""
    return {row.line: row.texts for row in Workbook(raw, "t").sheets[0].rows()}


def wrong(raw: bytes) -> dict[str, str]:
    """Give what makes cells unusable."""
    return {
        row.spot_of(i).where: said for row in Workbook(raw, "t").sheets[0].rows() for i, (said, _) in row.wrong.items()
    }


def refused(raw: bytes) -> str:
    """Give the sentence that a workbook is refused with."""
    with pytest.raises(InputError) as told:
        texts(raw)
    return str(told.value)


def test_every_kind_of_cell_is_read() -> None:
    raw = packed(
        sheet(
            '<row r="2"><c r="A2" t="s"><v>0</v></c><c r="C2" t="s"><v>1</v></c><c r="D2" t="s"><v>2</v></c></row>'
            '<row r="4"><c r="A4" t="inlineStr"><is><r><t>a</t></r><r><t>b </t></r></is></c><c r="B4" t="b"><v>1</v></c>'
            '<c r="C4"><v>12</v></c><c r="D4"><v>12.0</v></c><c r="E4"><v>1.5E1</v></c><c r="F4"><v>0.25</v></c></row>'
            '<row><c><v>7</v></c><c t="str"><f>A1</f><v>text</v></c><c><f>1+1</f><v>2</v></c></row>'
        )
    )
    assert texts(raw) == {
        2: ["left", "", "1-12", "漢字"],
        4: ["ab", "true", "12", "12", "15", "0.25"],
        5: ["7", "text", "2"],
    }


def test_dates_formulas_and_errors_are_unusable() -> None:
    raw = packed(
        sheet(
            '<row r="1"><c r="A1" s="1"><v>45303</v></c><c r="B1" s="2"><v>45303</v></c><c r="C1" s="3"><v>45303</v></c>'
            '<c r="D1" s="4"><v>0.5</v></c><c r="E1" t="d"><v>2024-01-12</v></c><c r="F1" s="1"/></row>'
            '<row r="2"><c r="A2"><f>SUM(B2)</f></c><c r="B2"><f t="shared" si="0"/><v></v></c><c r="C2" t="str"><f>IF(1,"")'
            '</f><v></v></c><c r="D2" t="e"><f>1/0</f><v>#DIV/0!</v></c><c r="E2" t="inlineStr"><is><t>#N/A</t></is></c></row>'
        )
    )
    assert texts(raw) == {
        1: ["2024-01-12 00:00:00", "45303", "2024-01-12 00:00:00", "12:00:00", "2024-01-12"],
        2: ["=SUM(B2)", "=", "", "#DIV/0!", "#N/A"],
    }
    assert {cell: said.split()[-1] for cell, said in wrong(raw).items()} == {
        "A1": "date", "C1": "date", "D1": "date", "E1": "date", "A2": "value", "B2": "value", "D2": "spreadsheet",
        "E2": "spreadsheet",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        ("<f>1+1</f><v>2</v>", "2"), ("<f>1+1</f>\n  <v> 2 </v>", "2"), ('<f t="shared" ref="A1:A9" si="0">1+1</f><v>2</v>', "2"),
        ('<f t="shared" si="0"/><v>2</v>', "2"), ("<f>A2&gt;1</f><v>2</v>", "2"), ("<f>A2>1</f><v>2</v>", "2"),
    ],
)  # fmt: skip
def test_formulas_that_have_a_value_are_values(cell: str, text: str) -> None:
    raw = packed(sheet(f'<row r="1"><c r="A1">{cell}</c></row>'))
    assert texts(raw) == {1: [text]}
    assert wrong(raw) == {}


@pytest.mark.parametrize(
    "cell",
    [
        "<f>1+1</f>", "<f>1+1</f><v></v>", "<f>1+1</f><v/>", "<f>1+1</f> <v></v>", '<f t="shared" si="0"/>',
        '<f t="shared" si="0"/><v/>', "<f>1<!-- + -->+1</f>", "<f><![CDATA[1+1]]></f>", "<f >1+1</f >",
    ],
)  # fmt: skip
def test_a_formula_without_a_value_is_found_however_it_is_written(cell: str) -> None:
    raw = packed(sheet(f'<row r="1"><c r="A1">{cell}</c><c r="B1"><f>1+1</f><v>2</v></c></row>'))
    assert {cell: said.split()[-1] for cell, said in wrong(raw).items()} == {"A1": "value"}


@pytest.mark.parametrize("more", ["", '<mergeCells><mergeCell ref="A1:A3"/></mergeCells>'])
def test_a_sheet_is_read_once_whatever_is_in_it(more: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Formulas without a value and merged cells once cost a second reading and a third."""
    raw = packed(sheet('<row r="1"><c r="A1"><f>1+1</f></c><c r="B1"><v>2</v></c></row>', more))
    opened, read = Mock(wraps=ExcelReader), Mock(wraps=sheet_rows)
    monkeypatch.setattr("openpyxl.reader.excel.ExcelReader", opened)
    monkeypatch.setattr(xlsx_in, "sheet_rows", read)
    assert texts(raw) == {1: ["=1+1", "2"]}
    assert (opened.call_count, read.call_count) == (1, 1)


def test_a_formula_without_a_value_is_found_where_cells_do_not_say_their_place() -> None:
    raw = packed(
        sheet(
            '<row><c><v>1</v></c><c><f>1+1</f></c></row><row r="4"><c r="C4"><v>2</v></c><c><f>A1</f></c><c t="str"><f>A1</f>'
            '<v></v></c></row><row><c r="AB5"><f>2&gt;1</f></c></row>'
        )
    )
    assert wrong(raw).keys() == {"B1", "D4", "AB5"}
    assert texts(raw)[5][27] == "=2>1"


def test_days_may_be_counted_from_1904() -> None:
    raw = packed(sheet('<row r="1"><c r="A1" s="1"><v>43841</v></c></row>'), BOOK.format('date1904="1"'))
    assert texts(raw) == {1: ["2024-01-12 00:00:00"]}


def test_names_may_have_a_prefix() -> None:
    raw = packed(
        f'<x:worksheet xmlns:x="{MAIN}"><x:sheetData><x:row r="1"><x:c r="A1" t="inlineStr"><x:is><x:t>here</x:t></x:is>'
        "</x:c></x:row></x:sheetData></x:worksheet>"
    )
    assert texts(raw) == {1: ["here"]}


def test_merged_cells_are_known_once_the_rows_are_read() -> None:
    raw = packed(sheet('<row r="1"><c r="A1"><v>1</v></c></row>', '<mergeCells><mergeCell ref="A1:A3"/></mergeCells>'))
    page = Workbook(raw, "t").sheets[0]
    assert len(list(page.rows())) == 1
    assert page.merged == ["A1:A3"]


@pytest.mark.parametrize(
    "text",
    [
        f'<!DOCTYPE a [<!ENTITY b "c">]>{sheet("")}',
        sheet('<row r="one"/>'),
        sheet('<row r="1"><c r="A1" t="s"><v>9</v></c></row>'),
        sheet('<row r="1"><c r="?1"><v>1</v></c></row>'),
        sheet('<row r="1"><c r="A1"><v>1</v></c></row>').replace("<v>1", "<v>one"),
        sheet("")[:-5],
        "",
    ],
)
def test_a_damaged_sheet_is_told(text: str) -> None:
    assert refused(packed(text)).startswith("t: cannot be read as XLSX; found a damaged sheet")


def test_a_document_type_is_refused_however_the_text_is_encoded() -> None:
    text = f'<?xml version="1.0" encoding="UTF-16"?><!DOCTYPE a [<!ENTITY b "c">]>{sheet("")}'
    assert refused(packed(text.encode("utf-16"))).startswith("t: cannot be read as XLSX; found a damaged sheet")


def test_rows_and_cells_may_stand_in_any_order() -> None:
    raw = packed(
        sheet(
            '<row r="3"><c r="C3"><v>3</v></c><c r="A3"><v>1</v></c></row>\n<row r="2"><c r="B2"><v>2</v></c>'
            "<c/><c><v>4</v></c></row>"
        )
    )
    assert texts(raw) == {3: ["1", "", "3"], 2: ["", "2", "", "4"]}


def test_what_stands_beside_the_rows_is_no_cell() -> None:
    more = '<extLst><ext><x:row xmlns:x="u"><x:c r="A9"><x:f>1</x:f><x:v>9</x:v></x:c></x:row></ext></extLst>'
    assert texts(packed(sheet('<row r="1"><c r="A1"><v>1</v></c></row>', more))) == {1: ["1"]}


def test_text_that_is_spoken_is_left_out_of_a_cell() -> None:
    run = '<r>\n<t xml:space="preserve"> 字</t>\n</r>'
    cell = f'<c r="A1" t="inlineStr"><is><t>漢</t><rPh sb="0" eb="1"><t>かん</t></rPh>{run}</is></c>'
    assert texts(packed(sheet(f'<row r="1">{cell}<c><v>2</v></c></row>'))) == {1: ["漢 字", "2"]}


def test_a_number_beyond_all_dates_is_an_error_where_it_is_shown_as_a_date() -> None:
    raw = packed(sheet('<row r="1"><c r="A1" s="1"><v>1e12</v></c></row>'))
    assert texts(raw) == {1: ["#VALUE!"]}
    assert wrong(raw) == {"A1": "an error of the spreadsheet"}


def test_many_cells_at_the_far_end_of_short_rows_cost_no_room() -> None:
    raw = packed(sheet('<row><c r="XFD1"><v>1</v></c></row>' * 100_000))
    assert refused(raw) == f"t:XFD1: too many columns; found 16,384; allowed: up to {MOST_COLUMNS:,}"


def test_a_part_that_is_no_sheet_has_no_rows() -> None:
    with pytest.raises(InputError, match="the table is empty"):
        parse_table(packed("<table/>"), "t")


def test_a_number_in_a_style_that_the_workbook_does_not_have_is_a_number() -> None:
    raw = packed(sheet('<row r="1"><c r="A1" s="99"><v>45303</v></c></row>'))
    assert texts(raw) == {1: ["45303"]}
    assert wrong(raw) == {}


def test_a_cell_far_from_all_others_costs_no_room() -> None:
    """A reader that holds the whole rectangle would need more memory than any machine has."""
    far = sheet('<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>')
    assert refused(packed(far)) == f"t:A1048576: the table is too long; allowed: up to {MOST_ROWS:,} rows"


def test_a_row_beyond_the_most_columns_is_refused_at_its_cell() -> None:
    raw = packed(sheet('<row r="3"><c r="ALM3"><v>1</v></c></row>'))
    assert refused(raw) == f"t:ALM3: too many columns; found {MOST_COLUMNS + 1:,}; allowed: up to {MOST_COLUMNS:,}"


_values = st.one_of(
    st.none(),
    st.integers(-(10**9), 10**9),
    st.floats(allow_nan=False, allow_infinity=False, width=32),
    st.booleans(),
    st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=12),
    st.dates(datetime.date(1950, 1, 1), datetime.date(2100, 1, 1)),
    st.times().map(lambda time: time.replace(microsecond=0)),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(_values, max_size=6), max_size=6))
def test_rows_are_those_of_the_workbook_as_a_whole(rows: list[list[Any]]) -> None:
    book = openpyxl.Workbook()
    page = first_sheet(book)
    for at, row in enumerate(rows, start=1):
        for column, value in enumerate(row, start=1):
            cell = page.cell(at, column)
            cell.value = value
            if isinstance(value, str) and value:
                cell.data_type = "s"
    made = BytesIO()
    book.save(made)
    again = first_sheet(openpyxl.load_workbook(BytesIO(made.getvalue()), data_only=True))
    want = {}
    for number, values in enumerate(again.iter_rows(values_only=True), start=1):
        said = [_said(value) for value in values]
        while said and not said[-1]:
            said.pop()
        if said:
            want[number] = said
    assert texts(made.getvalue()) == want


def _said(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()
