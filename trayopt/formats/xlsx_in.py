"""XLSX in: the visible sheets of a workbook, by openpyxl, with what a spreadsheet did to single cells."""

from __future__ import annotations

import re
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, time, timedelta
from io import BytesIO
from typing import TYPE_CHECKING, Any
from xml.parsers.expat import ExpatError

from trayopt.errors import Fault, InputError
from trayopt.formats.cells import AS_TEXT, MOST_COLUMNS, MOST_ROWS, Row, letters
from trayopt.formats.locate import Spot
from trayopt.formats.xlsx_formulas import formulas_without_value

if TYPE_CHECKING:
    from openpyxl import Workbook as Book

MOST_UNPACKED = 100_000_000
DATE = "the spreadsheet turned this cell into a date", AS_TEXT
NO_VALUE = "a formula without a value", "open and save the file in a spreadsheet, or type the value"
ERROR = "an error of the spreadsheet", "type the value"
ERRORS = {"#REF!", "#N/A", "#VALUE!", "#NAME?", "#DIV/0!", "#NUM!", "#NULL!"}
_MERGED = re.compile(rb"<(\w+:)?mergeCell\s")


def not_written(name: str) -> str:
    """Say that a workbook is left out because openpyxl is missing, and what to install."""
    return f"{name} is not written: openpyxl is not installed; pip install trayopt[xlsx]"


@dataclass
class Sheet:
    """A visible sheet of a workbook."""

    name: str
    book: Workbook
    merged: list[str] = field(default_factory=list)
    """Ranges of merged cells, such as ``A3:A8``; filled in once all rows are read."""

    def rows(self, *, beside: bool = False) -> Iterator[Row]:
        """Give the rows that are not empty; their cells are named with the sheet where it is read beside another one.

        Raises
        ------
        InputError
            Where it is too long or too wide, or damaged.
        """
        source = self.book.source
        for number, (texts, wrong) in enumerate(self._texts(), start=1):
            while texts and not texts[-1]:
                texts.pop()
            if not texts:
                continue
            if number > MOST_ROWS + 1:
                spot = Spot(source, where=f"A{number}")
                raise InputError([spot.fault("the table is too long", allowed=f"up to {MOST_ROWS:,} rows")])
            if len(texts) > MOST_COLUMNS:
                spot = Spot(source, where=f"{letters(len(texts) - 1)}{number}")
                allowed = f"up to {MOST_COLUMNS:,}"
                raise InputError([spot.fault("too many columns", found=f"{len(texts):,}", allowed=allowed)])
            yield Row(source, number, texts, wrong=wrong, sheet=self.name if beside else "")
        self.merged[:] = self.book.merged_in(self.name)

    def _texts(self) -> Iterator[tuple[list[str], dict[int, tuple[str, str]]]]:
        """Give the texts of all rows, and by column what makes a cell unusable."""
        unvalued = self.book.open_formulas(self.name)
        for number, values in enumerate(self.book.cells(self.name), start=1):
            wrong: dict[int, tuple[str, str]] = {}
            texts = [  # there are millions of cells, most of them words or whole numbers
                value.strip()
                if type(value) is str and value[:1] != "#"
                else str(value)
                if type(value) is int
                else _text(i, value, wrong)
                for i, value in enumerate(values)
            ]
            for i, formula in unvalued.get(number, {}).items():
                if i < len(values) and values[i] is None:
                    texts[i], wrong[i] = formula, NO_VALUE
            yield texts, wrong


class Workbook:
    """A workbook, opened.

    Parameters
    ----------
    raw, source
        The bytes of the file, and its name.

    Attributes
    ----------
    sheets
        Its visible sheets, in their order.

    Raises
    ------
    InputError
        Where openpyxl is missing, the file is no workbook, has no visible sheet, or unpacks to too much.
    """

    def __init__(self, raw: bytes, source: str) -> None:
        self.raw, self.source = raw, source
        parts = _sheet_parts(raw, source)
        self._parts = parts
        self._has_merged = any(_MERGED.search(part) for part in parts.values())
        self._book = self._open()
        pages = self._book.worksheets
        self.sheets = [Sheet(page.title, self) for page in pages if page.sheet_state == "visible"]
        if not self.sheets:
            raise _unreadable(source, "no visible sheet")

    def cells(self, sheet: str) -> Iterator[tuple[Any, ...]]:
        """Give the rows of a sheet, with the values of its cells."""
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                page: Any = self._book[sheet]
                page.reset_dimensions()
                yield from page.iter_rows(values_only=True)
        except Exception as wrong:
            raise _unreadable(self.source, "a damaged sheet") from wrong

    def open_formulas(self, sheet: str) -> dict[int, dict[int, str]]:
        """Give the formulas of a sheet that have no value, by row and by column, counted from 0."""
        page: Any = self._book[sheet]
        try:
            return formulas_without_value(self._parts.get(page._worksheet_path, b""))  # noqa: SLF001 - it has no public name
        except (ExpatError, ValueError) as wrong:
            raise _unreadable(self.source, "a damaged sheet") from wrong

    def merged_in(self, sheet: str) -> list[str]:
        """Give the ranges of the merged cells of a sheet; they are known of a workbook alone that is read as a whole."""
        if not self._has_merged:
            return []
        return [str(ref) for ref in self._open(whole=True)[sheet].merged_cells.ranges]

    def _open(self, *, whole: bool = False) -> Book:
        try:
            from openpyxl import load_workbook
        except ImportError as missing:
            hint = "pip install trayopt[xlsx], or save the table as CSV"
            raise InputError(
                [Fault(self.source, 0, 0, "openpyxl is needed to read XLSX and is not installed", hint=hint)]
            ) from missing
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                return load_workbook(BytesIO(self.raw), read_only=not whole, data_only=True, keep_links=False)
        except Exception as wrong:
            raise _unreadable(self.source, "a damaged workbook, or none") from wrong


def _sheet_parts(raw: bytes, source: str) -> dict[str, bytes]:
    """Unpack the sheets, if the file does not unpack to too much and is written without a document type."""
    try:
        with zipfile.ZipFile(BytesIO(raw)) as packed:
            size = sum(item.file_size for item in packed.infolist())
            if size > MOST_UNPACKED:
                found, allowed = f"{size / 1e6:,.0f} MB unpacked", f"up to {MOST_UNPACKED / 1e6:g} MB"
                raise InputError([Fault(source, 0, 0, "the workbook is too large", found, allowed)])
            parts = {name: packed.read(name) for name in packed.namelist() if name.endswith((".xml", ".rels"))}
    except InputError:
        raise
    except Exception as wrong:
        raise _unreadable(source, "a damaged file") from wrong
    sheets = {name: part for name, part in parts.items() if name.startswith("xl/worksheets/")}
    if any(b"<!DOCTYPE" in part for part in parts.values()):  # a workbook has none, a bomb of entities has
        raise _unreadable(source, "a damaged sheet: it has a document type")
    return sheets


def _text(column: int, value: object, wrong: dict[int, tuple[str, str]]) -> str:
    """Write a value as the text that a person sees in its cell, and note what makes it unusable."""
    if value is None:
        return ""
    if isinstance(value, date | time | timedelta):
        wrong[column] = DATE
        return str(value)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    text = str(value).strip()
    if text in ERRORS:
        wrong[column] = ERROR
    return text


def _unreadable(source: str, found: str) -> InputError:
    return InputError(
        [Fault(source, 0, 0, "cannot be read as XLSX", found, "a workbook", "save it again as XLSX, or as CSV")]
    )
