"""Reads what rows say alike once: most rows of a long table differ in a few cells only."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from operator import itemgetter
from typing import Generic, TypeVar

from trayopt.formats.cells import Row
from trayopt.review.cells import Cells
from trayopt.review.handmade import Line

T = TypeVar("T")


class Alike(Generic[T]):
    """A reader of some cells of a row, which keeps what it read by the texts of the cells.

    What was told of a cell, as wrong or as gone, is told of every row: such cells are read again.

    Parameters
    ----------
    cells
        Where is told what is wrong with a cell.
    columns
        The columns, counted from 0, on which the answer depends; of every row they are there.
    read
        The reader.
    """

    def __init__(self, cells: Cells, columns: Sequence[int], read: Callable[[Row, Line], T]) -> None:
        self._cells, self._read = cells, read
        self._key: Callable[[list[str]], object] = itemgetter(*columns) if columns else len
        self._known: dict[object, T] = {}

    def __call__(self, row: Row, line: Line) -> T:
        """Read a row."""
        if row.wrong:
            return self._read(row, line)
        key = self._key(row.texts)
        if key in self._known:
            return self._known[key]
        before = self._cells.tellings
        value = self._read(row, line)
        if self._cells.tellings == before:
            self._known[key] = value
        return value
