"""XLSX in: the rows of the first visible sheet, by openpyxl, with what a spreadsheet did to single cells."""

from __future__ import annotations

import warnings
import zipfile
from collections.abc import Iterator
from datetime import date, time, timedelta
from io import BytesIO
from typing import TYPE_CHECKING, Any

from trayopt.errors import Fault, InputError
from trayopt.formats.cells import AS_TEXT, MOST_COLUMNS, MOST_ROWS, RawCell
from trayopt.formats.locate import Spot

if TYPE_CHECKING:
    from openpyxl.workbook import Workbook

MOST_UNPACKED = 100_000_000


def not_written(name: str) -> str:
    """Say that a workbook is left out because openpyxl is missing, and what to install."""
    return f"{name} is not written: openpyxl is not installed; pip install trayopt[xlsx]"


def xlsx_rows(raw: bytes, source: str) -> Iterator[list[RawCell]]:
    """Give the rows of a workbook's first visible sheet.

    Raises
    ------
    InputError
        Where openpyxl is missing, the file is no workbook, or it unpacks to too much.
    """
    _guard(raw, source)
    values = _rows(_open(raw, source, values=True), source)
    formulas = _rows(_open(raw, source, values=False), source)
    for row, shown in enumerate(values, start=1):
        written = next(formulas, ())
        cells = [
            _cell(source, row, i, value, written[i] if i < len(written) else None) for i, value in enumerate(shown)
        ]
        while cells and not cells[-1].text and not cells[-1].wrong:
            cells.pop()
        if cells and row > MOST_ROWS + 1:
            raise InputError([cells[0].spot.fault("the table is too long", allowed=f"up to {MOST_ROWS:,} rows")])
        if len(cells) > MOST_COLUMNS:
            raise InputError(
                [cells[-1].spot.fault("too many columns", found=f"{len(cells):,}", allowed=f"up to {MOST_COLUMNS:,}")]
            )
        yield cells


def _guard(raw: bytes, source: str) -> None:
    try:
        with zipfile.ZipFile(BytesIO(raw)) as packed:
            size = sum(item.file_size for item in packed.infolist())
    except (zipfile.BadZipFile, ValueError, OSError) as wrong:
        raise _unreadable(source, "a damaged file") from wrong
    if size > MOST_UNPACKED:
        allowed = f"up to {MOST_UNPACKED / 1e6:g} MB"
        raise InputError([Fault(source, 0, 0, "the workbook is too large", f"{size / 1e6:,.0f} MB unpacked", allowed)])


def _open(raw: bytes, source: str, *, values: bool) -> Workbook:
    try:
        from openpyxl import load_workbook
    except ImportError as missing:
        hint = "pip install trayopt[xlsx], or save the table as CSV"
        raise InputError(
            [Fault(source, 0, 0, "openpyxl is needed to read XLSX and is not installed", hint=hint)]
        ) from missing
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return load_workbook(BytesIO(raw), read_only=True, data_only=values, keep_links=False)
    except Exception as wrong:
        raise _unreadable(source, "a damaged workbook, or none") from wrong


def _rows(book: Workbook, source: str) -> Iterator[tuple[Any, ...]]:
    sheets = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"]
    if not sheets:
        raise _unreadable(source, "no visible sheet")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            sheets[0].reset_dimensions()
            yield from sheets[0].iter_rows(values_only=True)
    except Exception as wrong:
        raise _unreadable(source, "a damaged sheet") from wrong
    finally:
        book.close()


def _cell(source: str, row: int, column: int, value: object, written: object) -> RawCell:
    spot = Spot(source, where=f"{_letters(column)}{row}")
    if isinstance(value, date | time | timedelta):
        return RawCell(str(value), spot, "the spreadsheet turned this cell into a date", AS_TEXT)
    if value is None:
        if isinstance(written, str) and written.startswith("="):
            return RawCell(
                written, spot, "a formula without a value", "open and save the file in a spreadsheet, or type the value"
            )
        return RawCell("", spot)
    if isinstance(value, bool):
        return RawCell(str(value).lower(), spot)
    if isinstance(value, float) and value.is_integer():
        return RawCell(str(int(value)), spot)
    text = str(value)
    if text in {"#REF!", "#N/A", "#VALUE!", "#NAME?", "#DIV/0!", "#NUM!", "#NULL!"}:
        return RawCell(text, spot, "an error of the spreadsheet", "type the value")
    return RawCell(text, spot)


def _letters(column: int) -> str:
    """Name a column, counted from 0, as spreadsheets do: A … Z, AA …."""
    text = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def _unreadable(source: str, found: str) -> InputError:
    return InputError(
        [Fault(source, 0, 0, "cannot be read as XLSX", found, "a workbook", "save it again as XLSX, or as CSV")]
    )
