"""The cells of a sheet, read from its XML in one pass: values, formulas without a value, and ranges of merged cells.

openpyxl opens the workbook. Its own reader of cells takes three times as long, and gives either the value or the formula of
a cell. The elements are those of ECMA-376-1, section 18.3.1.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from functools import lru_cache
from typing import IO, Any, NamedTuple
from xml.parsers.expat import ParserCreate

from trayopt.domain.said import said
from trayopt.formats.cells import AS_TEXT, MOST_COLUMNS

CHUNK = 1 << 16
DATE = said("the spreadsheet turned this cell into a date"), AS_TEXT
NO_VALUE = said("a formula without a value"), said("open and save the file in a spreadsheet, or type the value")
ERROR = said("an error of the spreadsheet"), said("type the value")
ERRORS = {"#REF!", "#N/A", "#VALUE!", "#NAME?", "#DIV/0!", "#NUM!", "#NULL!"}
_BEYOND = "#VALUE!"
"""The text of a number that is formatted as a date and lies beyond all dates."""


class DoctypeError(ValueError):
    """The XML has a document type. A workbook never has a document type; an attack by nested entities does."""


class TooWideError(ValueError):
    """A cell lies beyond the last allowed column."""

    def __init__(self, row: int, column: int) -> None:
        super().__init__(row, column)
        self.row, self.column = row, column


class SheetRow(NamedTuple):
    """A row: its number, the texts of its cells up to the last filled cell, and the faults of unusable cells by column."""

    number: int
    texts: list[str]
    wrong: dict[int, tuple[str, str]]


class Values(NamedTuple):
    """What all sheets of a workbook share: texts, styles that show a number as a date or a span of time, and the first day."""

    texts: Sequence[str]
    dates: frozenset[int]
    spans: frozenset[int]
    epoch: datetime

    def moment(self, number: str, style: int) -> str:
        """Write a number of days as the date, time or span of time that it means; ``#VALUE!`` if it means none."""
        from openpyxl.utils.datetime import from_excel

        try:
            return str(from_excel(float(number), self.epoch, timedelta=style in self.spans))
        except (OverflowError, ValueError):
            return _BEYOND


class _Names(dict[str, str]):
    """Cache of the names of elements without their prefix."""

    def __missing__(self, name: str) -> str:
        local = self[name] = name.rpartition(":")[2]
        return local


class _Columns(dict[str, int]):
    """Cache of the numbers of columns, counted from 0, by their letters."""

    def __missing__(self, letters: str) -> int:
        if not (letters.isascii() and letters.isupper() and letters.isalpha() and len(letters) < 4):
            raise ValueError(letters)
        number = 0
        for letter in letters:
            number = 26 * number + ord(letter) - ord("A") + 1
        self[letters] = number - 1
        return number - 1


def sheet_rows(stream: IO[bytes], values: Values, merged: list[str]) -> Iterator[SheetRow]:
    """Yield the rows of a sheet that are not empty.

    Parameters
    ----------
    stream
        The XML of the sheet.
    values
        Values that the sheet shares with other sheets.
    merged
        List that takes up the ranges of merged cells, such as ``A3:A8``. The XML has them after all rows.

    Raises
    ------
    DoctypeError, TooWideError, ValueError, IndexError, xml.parsers.expat.ExpatError
        If the sheet is damaged, or a cell lies beyond the last allowed column.
    """
    reader = _Reader(values, merged)
    more = True
    while more:
        chunk = stream.read(CHUNK)
        more = bool(chunk)
        reader.parser.Parse(chunk, not more)
        yield from reader.rows
        reader.rows.clear()


class _Reader:
    """Handler of the elements of a sheet. A row or cell without a number follows the row or cell before it.

    Text is kept only from the last start of an element, so that text between cells costs nothing.
    """

    def __init__(self, values: Values, merged: list[str]) -> None:
        self.values, self.merged = values, merged
        self.rows: list[SheetRow] = []
        self.names, self.columns = _Names(), _Columns()
        self.heard: list[str] = []
        self.texts: list[str] = []
        self.wrong: dict[int, tuple[str, str]] = {}
        self.row = 0
        self.column = -1
        self.kind, self.style = "n", ""
        self.value = ""
        self.formula: str | None = None
        self.parser = ParserCreate()
        self.parser.buffer_text = True
        self.parser.StartDoctypeDeclHandler = self.refuse
        self.parser.StartElementHandler = self.outside

    def refuse(self, *_: object) -> None:
        raise DoctypeError

    def outside(self, name: str, attributes: dict[str, str]) -> None:
        """Handle the start of an element before or after the rows."""
        local = self.names[name]
        if local == "sheetData":
            self.parser.StartElementHandler, self.parser.EndElementHandler = self.start, self.end
            self.parser.CharacterDataHandler = self.heard.append
        elif local == "mergeCell":
            self.merged.append(attributes.get("ref", ""))

    def start(self, name: str, attributes: dict[str, str]) -> None:
        local = self.names[name]
        if local == "c":
            at = attributes.get("r")
            self.column = self.column + 1 if at is None else self.columns[at.rstrip("0123456789")]
            self.kind, self.style = attributes.get("t", "n"), attributes.get("s", "")
        elif local == "row":
            said = attributes.get("r")
            self.row, self.column = self.row + 1 if said is None else _row(said), -1
        elif local == "rPh":  # a phonetic reading of the text, which is not part of it
            self.parser.StartElementHandler, self.parser.EndElementHandler = None, self.spoken
        else:
            self.heard.clear()

    def spoken(self, name: str) -> None:
        if self.names[name] == "rPh":
            self.parser.StartElementHandler, self.parser.EndElementHandler = self.start, self.end

    def end(self, name: str) -> None:
        local = self.names[name]
        if local == "v":
            if self.kind != "inlineStr":
                self.value = "".join(self.heard)
        elif local == "c":
            if self.value or self.formula is not None:
                self.cell()
        elif local == "t":
            self.value += "".join(self.heard)
        elif local == "row":
            if self.texts:
                self.rows.append(SheetRow(self.row, self.texts, self.wrong))
                self.texts, self.wrong = [], {}
        elif local == "f":
            self.formula = "".join(self.heard)
        elif local == "sheetData":
            self.parser.StartElementHandler = self.outside
            self.parser.EndElementHandler = self.parser.CharacterDataHandler = None

    def cell(self) -> None:
        """Take over the cell whose element has ended."""
        value, kind, column = self.value, self.kind, self.column
        if kind == "inlineStr" or kind == "str":
            text = value.strip()
        elif self.formula is not None and not value.strip():
            text, self.wrong[column] = f"={self.formula}", NO_VALUE
        elif kind == "s":
            text = self.values.texts[int(value)]
        elif kind == "n":
            style = int(self.style) if self.style else 0
            if style in self.values.dates:
                text, self.wrong[column] = self.values.moment(value, style), DATE
            else:
                text = _number(value)
        elif kind == "b":
            text = "true" if int(value) else "false"
        elif kind == "d":
            text, self.wrong[column] = _from_iso(value), DATE
        else:
            text = value.strip()
        self.value, self.formula = "", None
        if not text:
            return
        if column >= MOST_COLUMNS:
            raise TooWideError(self.row, column)
        if text in ERRORS:
            self.wrong[column] = ERROR
        texts = self.texts
        if column == len(texts):
            texts.append(text)
        elif column < len(texts):
            texts[column] = text
        else:
            texts.extend([""] * (column - len(texts)))
            texts.append(text)


def _row(said: str) -> int:
    number = float(said)
    if not number.is_integer():
        raise ValueError(said)
    return int(number)


@lru_cache(maxsize=100_000)
def _number(said: str) -> str:
    """Write a number as a person sees it: without a needless ``.0``."""
    if said.isascii() and said.isdigit():
        return str(int(said))
    if not any(sign in said for sign in ".eE"):
        return str(int(said))
    number = float(said)
    return str(int(number)) if number.is_integer() else str(number)


def _from_iso(said: str) -> str:
    from openpyxl.utils import datetime as dates

    read: Any = dates.from_ISO8601
    return str(read(said))
