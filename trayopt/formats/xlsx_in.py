"""XLSX in: the visible sheets of a workbook, with what a spreadsheet did to single cells; read without any library."""

from __future__ import annotations

import posixpath
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from io import BytesIO
from xml.parsers import expat

from trayopt.errors import Fault, InputError
from trayopt.formats.cells import MOST_COLUMNS, MOST_ROWS, Row, letters
from trayopt.formats.locate import Spot
from trayopt.formats.sheet_xml import DamagedError, TooWideError, date_styles, shared_texts, sheet_rows, tags

MOST_UNPACKED = 100_000_000
_WRONG = (
    zipfile.BadZipFile, zlib.error, expat.ExpatError, DamagedError, KeyError, IndexError, ValueError, EOFError, OSError,
    NotImplementedError, RuntimeError, StopIteration,
)  # fmt: skip
"""What comes of a file that is damaged, protected or no workbook at all."""


def not_written(name: str) -> str:
    """Say that a workbook is left out because openpyxl is missing, and what to install."""
    return f"{name} is not written: openpyxl is not installed; pip install trayopt[xlsx]"


@dataclass
class Sheet:
    """A visible sheet of a workbook."""

    name: str
    book: Workbook
    part: str
    merged: list[str] = field(default_factory=list)
    """Ranges of merged cells, such as ``A3:A8``; filled in once all rows are read."""

    def rows(self) -> Iterator[Row]:
        """Give the rows that are not empty.

        Raises
        ------
        InputError
            Where it is too long or too wide, or damaged.
        """
        source, book = self.book.source, self.book
        self.merged.clear()
        try:
            with book.packed.open(self.part) as stream:
                for number, texts, wrong in sheet_rows(
                    stream, book.shared, book.dates, self.merged, from_1904=book.from_1904
                ):
                    if number > MOST_ROWS + 1:
                        spot = Spot(source, where=f"A{number}")
                        raise InputError([spot.fault("the table is too long", allowed=f"up to {MOST_ROWS:,} rows")])
                    yield Row(source, number, texts, wrong=wrong)
        except TooWideError as wide:
            number, column = wide.args
            spot = Spot(source, where=f"{letters(column)}{number}")
            allowed = f"up to {MOST_COLUMNS:,}"
            raise InputError([spot.fault("too many columns", found=f"{column + 1:,}", allowed=allowed)]) from wide
        except _WRONG as wrong:
            raise _unreadable(source, "a damaged sheet") from wrong


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
    shared, dates, from_1904
        What all sheets share: texts, which cell styles are dates, and from when on days are counted.

    Raises
    ------
    InputError
        Where the file is no workbook, has no visible sheet, or unpacks to too much.
    """

    def __init__(self, raw: bytes, source: str) -> None:
        self.source = source
        self.packed = _guarded(raw, source)
        try:
            main = next(part for kind, part in self._related("").values() if kind == "officeDocument")
            related = self._related(main)
            found = tags(self.packed.read(main))
            self.from_1904 = any(tag.name == "workbookPr" and tag.values.get("date1904") in _YES for tag in found)
            self.sheets = [
                Sheet(tag.values.get("name", ""), self, related[tag.values["id"]][1])
                for tag in found
                if tag.name == "sheet"
                and tag.values.get("state", "visible") == "visible"
                and related[tag.values["id"]][0] == "worksheet"
            ]
            shared = dict(related.values())
            self.dates = date_styles(self.packed.read(shared["styles"])) if "styles" in shared else []
            self.shared: Sequence[str] = ()
            if "sharedStrings" in shared:
                with self.packed.open(shared["sharedStrings"]) as stream:
                    self.shared = shared_texts(stream)
        except _WRONG as wrong:
            raise _unreadable(source, "a damaged workbook, or none") from wrong
        if not self.sheets:
            raise _unreadable(source, "no visible sheet")

    def _related(self, part: str) -> dict[str, tuple[str, str]]:
        """Give the parts that a part of the workbook refers to, by their ids: what each is, and its name."""
        folder, name = posixpath.split(part)
        found = {}
        for tag in tags(self.packed.read(posixpath.join(folder, "_rels", f"{name}.rels"))):
            if tag.name == "Relationship" and tag.values.get("TargetMode") != "External":
                target = posixpath.normpath(posixpath.join("/", folder, tag.values["Target"])).lstrip("/")
                found[tag.values["Id"]] = tag.values["Type"].rpartition("/")[2], target
        return found


_YES = {"1", "true"}


def _guarded(raw: bytes, source: str) -> zipfile.ZipFile:
    """Open the packed file, if it does not unpack to too much."""
    try:
        packed = zipfile.ZipFile(BytesIO(raw))
    except (zipfile.BadZipFile, ValueError, OSError) as wrong:
        raise _unreadable(source, "a damaged file") from wrong
    size = sum(item.file_size for item in packed.infolist())
    if size > MOST_UNPACKED:
        allowed = f"up to {MOST_UNPACKED / 1e6:g} MB"
        raise InputError([Fault(source, 0, 0, "the workbook is too large", f"{size / 1e6:,.0f} MB unpacked", allowed)])
    return packed


def _unreadable(source: str, found: str) -> InputError:
    return InputError(
        [Fault(source, 0, 0, "cannot be read as XLSX", found, "a workbook", "save it again as XLSX, or as CSV")]
    )
