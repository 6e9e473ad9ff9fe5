"""Reads what rows say alike once: most rows of a long table differ in a few cells only."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from operator import itemgetter
from typing import Generic, TypeVar

from trayopt.formats.cells import Row
from trayopt.review.cells import Cells, Telling
from trayopt.review.handmade import Line

T = TypeVar("T")


class Alike(Generic[T]):
    """A reader of some cells of a row, which keeps what it read by the texts of the cells.

    What is wrong with a cell is told of every row, at its own place. What does not depend on the cells alone is read again.

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
        self._known: dict[object, tuple[T, list[Telling]]] = {}

    def __call__(self, row: Row, line: Line) -> T:
        """Read a row."""
        if row.wrong:
            return self._read(row, line)
        key = self._key(row.texts)
        known = self._known.get(key)
        if known is not None:
            for telling in known[1]:
                self._cells.tell(row, telling)
            return known[0]
        before = len(self._cells.tellings)
        value = self._read(row, line)
        told = self._cells.tellings[before:]
        shared = [telling for telling in told if telling is not None]
        if len(shared) == len(told):
            self._known[key] = value, shared
        return value
