"""Reading XLSX: the visible sheets of a workbook, which openpyxl opens, and the damage that a spreadsheet did to single cells."""

from __future__ import annotations

import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any

from trayopt.domain.said import said
from trayopt.errors import Fault, InputError
from trayopt.formats.cells import MOST_COLUMNS, MOST_ROWS, Row, letters
from trayopt.formats.locate import Spot
from trayopt.formats.sheet_xml import SheetRow, TooWideError, Values, sheet_rows

MOST_UNPACKED = 100_000_000


def not_written(name: str) -> str:
    """Return the message that a workbook is not written because openpyxl is missing."""
    return f"{name} is not written: openpyxl is not installed; pip install trayopt[xlsx]"


@dataclass
class Sheet:
    """A visible sheet of a workbook."""

    name: str
    book: Workbook
    part: str
    merged: list[str] = field(default_factory=list)
    """Ranges of merged cells, such as ``A3:A8``; complete only after all rows are read."""

    def rows(self, *, beside: bool = False) -> Iterator[Row]:
        """Yield the rows that are not empty; with ``beside``, the addresses of their cells include the name of the sheet.

        Raises
        ------
        InputError
            If the sheet is too long, too wide, or damaged.
        """
        source = self.book.source
        self.merged.clear()
        try:
            for number, texts, wrong in self.book.rows(self.part, self.merged):
                if number > MOST_ROWS + 1:
                    raise _too_long(source, number)
                yield Row(source, number, texts, wrong=wrong, sheet=self.name if beside else "")
        except TooWideError as wide:
            if wide.row > MOST_ROWS + 1:
                raise _too_long(source, wide.row) from wide
            spot = Spot(source, where=f"{letters(wide.column)}{wide.row}")
            found, allowed = f"{wide.column + 1:,}", said("up to {most:,}", most=MOST_COLUMNS)
            raise InputError([spot.fault(said("too many columns"), found=found, allowed=allowed)]) from wide


class Workbook:
    """An open workbook.

    Parameters
    ----------
    raw, source
        The bytes of the file, and its name.

    Attributes
    ----------
    sheets
        The visible sheets, in their order.

    Raises
    ------
    InputError
        If openpyxl is missing, or the file is not a workbook, has no visible sheet, or is too large when unpacked.
    """

    def __init__(self, raw: bytes, source: str) -> None:
        self.source = source
        self._packed = _guarded(raw, source)
        book = _opened(raw, source)
        try:
            self._values = Values(
                [text.strip() for text in book.shared_strings],
                frozenset(book.wb._date_formats),  # noqa: SLF001 - it has no public name
                frozenset(book.wb._timedelta_formats),  # noqa: SLF001 - it has no public name
                book.wb.epoch,
            )
            parts = [(sheet, rel.target) for sheet, rel in book.parser.find_sheets() if "chartsheet" not in rel.Type]
            self.sheets = [
                Sheet(sheet.name, self, part)
                for sheet, part in parts
                if sheet.state == "visible" and part in book.valid_files
            ]
        except Exception as wrong:
            raise _unreadable(source, said("a damaged workbook, or none")) from wrong
        if not self.sheets:
            raise _unreadable(source, said("no visible sheet"))

    def rows(self, part: str, merged: list[str]) -> Iterator[SheetRow]:
        """Yield the rows of a sheet that are not empty, then the ranges of its merged cells."""
        try:
            with self._packed.open(part) as stream:
                yield from sheet_rows(stream, self._values, merged)
        except TooWideError:
            raise
        except Exception as wrong:
            raise _unreadable(self.source, said("a damaged sheet")) from wrong


def _opened(raw: bytes, source: str) -> Any:
    """Open a workbook and read what its sheets share; the sheets themselves are not read."""
    try:
        from openpyxl.reader.excel import ExcelReader
        from openpyxl.styles.stylesheet import apply_stylesheet
    except ImportError as missing:
        hint = said("{command}, or save the table as CSV", command="pip install trayopt[xlsx]")
        raise InputError(
            [Fault(source, 0, 0, said("openpyxl is needed to read XLSX and is not installed"), hint=hint)]
        ) from missing
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = ExcelReader(BytesIO(raw), read_only=True, data_only=True, keep_links=False)
            book.read_manifest()
            book.read_strings()
            book.read_workbook()
            apply_stylesheet(book.archive, book.wb)
    except Exception as wrong:
        raise _unreadable(source, said("a damaged workbook, or none")) from wrong
    return book


def _guarded(raw: bytes, source: str) -> zipfile.ZipFile:
    """Open the packed file, after checking that it is not too large when unpacked and has no document type."""
    try:
        packed = zipfile.ZipFile(BytesIO(raw))
        size = sum(item.file_size for item in packed.infolist())
        if size > MOST_UNPACKED:
            found = said("{megabytes:,} MB unpacked", megabytes=round(size / 1e6))
            allowed = said("up to {limit:g} MB", limit=MOST_UNPACKED / 1e6)
            raise InputError([Fault(source, 0, 0, said("the workbook is too large"), found, allowed)])
        # a workbook never has a document type; an attack by nested entities does
        typed = any(b"<!DOCTYPE" in packed.read(name) for name in packed.namelist() if name.endswith((".xml", ".rels")))
    except InputError:
        raise
    except Exception as wrong:
        raise _unreadable(source, said("a damaged file")) from wrong
    if typed:
        raise _unreadable(source, said("a damaged sheet: it has a document type"))
    return packed


def _too_long(source: str, number: int) -> InputError:
    spot = Spot(source, where=f"A{number}")
    return InputError([spot.fault(said("the table is too long"), allowed=said("up to {most:,} rows", most=MOST_ROWS))])


def _unreadable(source: str, found: str) -> InputError:
    hint = said("save it again as XLSX, or as CSV")
    return InputError([Fault(source, 0, 0, said("cannot be read as XLSX"), found, said("a workbook"), hint)])
