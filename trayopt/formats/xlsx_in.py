"""XLSX in: the rows of the first visible sheet, by openpyxl, with what a spreadsheet did to single cells."""

from __future__ import annotations

import re
import warnings
import zipfile
from collections.abc import Iterator, Sequence
from datetime import date, time, timedelta
from io import BytesIO
from typing import TYPE_CHECKING, Any

from trayopt.errors import Fault, InputError
from trayopt.formats.cells import AS_TEXT, MOST_COLUMNS, MOST_ROWS, Row, letters
from trayopt.formats.locate import Spot

if TYPE_CHECKING:
    from openpyxl.workbook import Workbook

MOST_UNPACKED = 100_000_000
_ERRORS = {"#REF!", "#N/A", "#VALUE!", "#NAME?", "#DIV/0!", "#NUM!", "#NULL!"}
_FORMULA = re.compile(rb"<(\w+:)?f[\s>/]")


def not_written(name: str) -> str:
    """Say that a workbook is left out because openpyxl is missing, and what to install."""
    return f"{name} is not written: openpyxl is not installed; pip install trayopt[xlsx]"


def xlsx_rows(raw: bytes, source: str) -> Iterator[Row]:
    """Give the rows of a workbook's first visible sheet.

    Raises
    ------
    InputError
        Where openpyxl is missing, the file is no workbook, or it unpacks to too much.
    """
    _guard(raw, source)
    values = _rows(_open(raw, source, values=True), source)
    formulas = _rows(_open(raw, source, values=False), source) if _has_formulas(raw) else iter(())
    for number, shown in enumerate(values, start=1):
        written = next(formulas, ())
        wrong: dict[int, tuple[str, str]] = {}
        texts = [
            value.strip() if type(value) is str and value[:1] != "#" else _text(i, value, written, wrong)
            for i, value in enumerate(shown)
        ]
        while texts and not texts[-1]:
            texts.pop()
        if texts and number > MOST_ROWS + 1:
            spot = Spot(source, where=f"A{number}")
            raise InputError([spot.fault("the table is too long", allowed=f"up to {MOST_ROWS:,} rows")])
        if len(texts) > MOST_COLUMNS:
            spot = Spot(source, where=f"{letters(len(texts) - 1)}{number}")
            raise InputError(
                [spot.fault("too many columns", found=f"{len(texts):,}", allowed=f"up to {MOST_COLUMNS:,}")]
            )
        yield Row(source, number, texts, wrong=wrong)


def _has_formulas(raw: bytes) -> bool:
    """Whether a sheet holds formulas, so that cells without a value have to be looked at again."""
    with zipfile.ZipFile(BytesIO(raw)) as packed:
        sheets = [name for name in packed.namelist() if name.startswith("xl/worksheets/")]
        return any(_FORMULA.search(packed.read(name)) for name in sheets)


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


def _text(column: int, value: object, written: Sequence[object], wrong: dict[int, tuple[str, str]]) -> str:
    """Write a value as the text that a person sees in its cell, and note what makes it unusable."""
    if value is None:
        formula = written[column] if column < len(written) else None
        if not isinstance(formula, str) or not formula.startswith("="):
            return ""
        wrong[column] = "a formula without a value", "open and save the file in a spreadsheet, or type the value"
        return formula
    if isinstance(value, date | time | timedelta):
        wrong[column] = "the spreadsheet turned this cell into a date", AS_TEXT
        return str(value)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    text = str(value).strip()
    if text in _ERRORS:
        wrong[column] = "an error of the spreadsheet", "type the value"
    return text


def _unreadable(source: str, found: str) -> InputError:
    return InputError(
        [Fault(source, 0, 0, "cannot be read as XLSX", found, "a workbook", "save it again as XLSX, or as CSV")]
    )
