"""Cells and rows of a table, each with its place, and how many of them a table may have."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from trayopt.formats.locate import Spot

MOST_ROWS = 100_000
MOST_COLUMNS = 1_000
AS_TEXT = "format the column as text and type the cell again"


class Cell:
    """The text of one cell, its row, and its column, counted from 0; a number is written without a needless ``.0``."""

    __slots__ = ("column", "row", "text")

    def __init__(self, text: str, row: Row, column: int = 0) -> None:
        self.text, self.row, self.column = text, row, column

    def part(self, text: str) -> Cell:
        """Give a part of its text, which stands where it stands."""
        return Cell(text, self.row, self.column)

    @property
    def spot(self) -> Spot:
        """Where it stands."""
        return self.row.spot_of(self.column)


class Row:
    """One row that is not empty: the texts of its cells, and where they stand; places are counted only when asked for.

    Parameters
    ----------
    source, line
        The file, and the line on which the row begins (of a workbook, the row's number).
    texts
        Its cells, stray spaces taken off.
    raw, separator
        The row as it stands in CSV; None for a workbook.
    wrong
        By column, what makes a cell unusable, and what to do.
    sheet
        The sheet of a workbook that its cells are named with; empty where that is the sheet of the table itself.
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
        self.raw, self.separator, self.wrong = raw, separator, wrong or {}
        self.columns: Mapping[str, int] = {}
        """Headers (lower case), filled in once they are known."""

    @property
    def spot(self) -> Spot:
        """Where it begins."""
        return self.spot_of(0)

    @property
    def cells(self) -> dict[str, Cell]:
        """Its cells by header."""
        return {name: self.at(i) for name, i in self.columns.items() if i < len(self.texts)}

    def spot_of(self, column: int) -> Spot:
        """Give the place of a cell."""
        return Spot(self.source, *self.mark_of(column))

    def mark_of(self, column: int) -> tuple[int, int, str]:
        """Give the place of a cell inside its file: line and column of text, or its address in a workbook."""
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
        """What rows have in common that say the same in every cell."""
        return tuple(self.texts) if self.raw is None else self.raw

    def at(self, column: int) -> Cell:
        """Give the cell of a column, counted from 0; an empty one where the row ends before it."""
        return Cell(self.texts[column] if column < len(self.texts) else "", self, column)

    def get(self, header: str) -> Cell:
        """Give the cell under a header; an empty one at the row's place where there is none."""
        column = self.columns.get(header.lower())
        return Cell("", self) if column is None or column >= len(self.texts) else self.at(column)

    @property
    def empty(self) -> bool:
        """Whether nothing stands in it."""
        return not any(self.texts) and not self.wrong


@cache
def letters(column: int) -> str:
    """Name a column, counted from 0, as spreadsheets do: A … Z, AA …."""
    text = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def _marks(raw: str, separator: str, line: int) -> list[tuple[int, int]]:
    """Line and column at which each cell of a record begins."""
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
