"""Cells and rows of a table, each with its place, and the limits on their number."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from types import MappingProxyType
from typing import Any, NamedTuple

from trayopt.domain.said import said
from trayopt.errors import Fault
from trayopt.formats.locate import Spot, describe, printable

MOST_ROWS = 100_000
MOST_COLUMNS = 1_000
Words = str | Callable[[], str]
"""A text, or what makes it when it is asked for: a long table may have 100,000 faults, of which few are shown."""
_NOTHING: Mapping[Any, Any] = MappingProxyType({})
AS_TEXT = said("format the column as text and type the cell again")


class Cell:
    """One cell: its text, its row, and its column, counted from 0. A whole number is written without ``.0``."""

    __slots__ = ("column", "row", "text")

    def __init__(self, text: str, row: Row, column: int = 0) -> None:
        self.text, self.row, self.column = text, row, column

    def part(self, text: str) -> Cell:
        """Return a cell with a part of this cell's text, at the same place."""
        return Cell(text, self.row, self.column)

    @property
    def spot(self) -> Spot:
        """The place of the cell."""
        return self.row.spot_of(self.column)


class Row:
    """One row: the texts of its cells and their places. Places are counted only when they are asked for.

    Parameters
    ----------
    source, line
        The file, and the line on which the row begins (in a workbook, the number of the row).
    texts
        The texts of its cells, without spaces around them.
    raw, separator
        The row as it is written in CSV (None for a workbook), and the character between its cells.
    wrong
        For each column with an unusable cell: what is wrong with the cell, and what to do.
    sheet
        The name of the sheet, to be written before the address of a cell; empty for the sheet that is the table itself.
    """

    __slots__ = ("columns", "line", "raw", "separator", "sheet", "source", "texts", "wrong")

    def __init__(
        self,
        source: str,
        line: int,
        texts: list[str],
        raw: str | None = None,
        separator: str = ",",
        wrong: Mapping[int, tuple[str, str]] | None = None,
        sheet: str = "",
    ) -> None:
        self.source, self.line, self.texts, self.sheet = source, line, texts, sheet
        self.raw, self.separator, self.wrong = raw, separator, wrong or _NOTHING
        self.columns: Mapping[str, int] = _NOTHING
        """The column of each header (in lower case), filled in once the headers are known."""

    @property
    def spot(self) -> Spot:
        """The place of the first cell."""
        return self.spot_of(0)

    @property
    def cells(self) -> dict[str, Cell]:
        """The cells by header."""
        return {name: self.at(i) for name, i in self.columns.items() if i < len(self.texts)}

    def spot_of(self, column: int) -> Spot:
        """Return the place of a cell."""
        return Spot(self.source, *self.mark_of(column))

    def mark_of(self, column: int) -> tuple[int, int, str]:
        """Return the place of a cell inside its file: line and column of text, or its address in a workbook."""
        if self.raw is None:
            address = f"{letters(column)}{self.line}"
            return 0, 0, f"{self.sheet}!{address}" if self.sheet else address
        if '"' not in self.raw:
            before = self.raw.split(self.separator, column)[:column]
            return self.line, 1 + len(before) + sum(map(len, before)), ""
        marks = _marks(self.raw, self.separator, self.line)
        return *marks[min(column, len(marks) - 1)], ""

    @property
    def said(self) -> object:
        """A value that is equal for rows with the same text in every cell."""
        return tuple(self.texts) if self.raw is None else self.raw

    def at(self, column: int) -> Cell:
        """Return the cell of a column, counted from 0; an empty cell if the row is too short."""
        return Cell(self.texts[column] if column < len(self.texts) else "", self, column)

    def get(self, header: str) -> Cell:
        """Return the cell under a header; an empty cell at the place of the row if there is none."""
        column = self.columns.get(header.lower())
        return Cell("", self) if column is None or column >= len(self.texts) else self.at(column)

    @property
    def empty(self) -> bool:
        """Whether every cell of the row is empty."""
        return not any(self.texts) and not self.wrong


class Telling(NamedTuple):
    """What is wrong with a cell, without its row, so that equal rows can share it.

    Parameters
    ----------
    column
        The column of the cell, counted from 0.
    text
        The text of the cell; None if it is not to be repeated.
    message, allowed, hint
        What is wrong, what is allowed, what to do.
    near
        Names of which the cell may mean one; the nearest is suggested before the hint.
    beside
        The column of another cell that contradicts this one, or its address if it is in another row.
    other
        The text of that cell.
    """

    column: int
    text: str | None
    message: Words
    allowed: Words = ""
    hint: str = ""
    near: tuple[str, ...] = ()
    beside: int | str | None = None
    other: str = ""


class CellFault(NamedTuple):
    """A fault of a cell. Its place and its sentences are made only when they are asked for: a long table may have 100,000."""

    row: Row
    telling: Telling

    @property
    def beside(self) -> tuple[str, ...]:
        """The address of the cell that contradicts this one."""
        beside = self.telling.beside
        if isinstance(beside, int):
            line, column, where = self.row.mark_of(beside)
            return (where or f"{line}:{column}",)
        return () if beside is None else (beside,)

    def fault(self) -> Fault:
        """Return the fault with its place and its sentences; text from the table is made printable."""
        column, text, words, means, hint, near, beside, other = self.telling
        message = words if isinstance(words, str) else words()
        allowed = means if isinstance(means, str) else means()
        found = "" if text is None else describe(text)
        if beside is not None:
            message = said("two cells contradict each other: {message}", message=message)
            both = said("{one} against {other}", one=found, other=describe(other))
            found = said("{found} in {at}", found=both, at=self.beside[0])
        if near and text:
            from trayopt.formats.validate import did_you_mean

            hint = did_you_mean(text, near) or hint
        line, char, where = self.row.mark_of(column)
        message, allowed, hint = (_shown(each) for each in (message, allowed, hint))
        return Fault(self.row.source, line, char, message, found, allowed, hint, where)


def _shown(text: str) -> str:
    """Give a text without control characters; one that has none stays as it was said."""
    return text if text.isprintable() else printable(text)


@cache
def letters(column: int) -> str:
    """Return the letters by which spreadsheets name a column, counted from 0: A … Z, AA …."""
    text = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def _marks(raw: str, separator: str, line: int) -> list[tuple[int, int]]:
    """Return the line and the column at which each cell of a record begins."""
    column = 1
    marks = [(line, column)]
    quoted = False
    for char in raw:
        column += 1
        if char == '"':
            quoted = not quoted
        elif char == "\n":
            line, column = line + 1, 1
        elif char == separator and not quoted:
            marks.append((line, column))
    return marks
