"""Reading equal cells once, since most rows of a long table differ only in a few cells."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from operator import itemgetter
from typing import Generic, NamedTuple, TypeVar

from trayopt.formats.cells import Row, Telling
from trayopt.review.cells import Cells
from trayopt.review.handmade import Line

T = TypeVar("T")


class Again(NamedTuple):
    """A row that repeats an earlier row: its faults, and the trunks that an empty cell below it may mean."""

    tellings: list[Telling]
    last: dict[str, str]


class Alike(Generic[T]):
    """A reader of some cells of a row that keeps its results by the texts of these cells.

    A fault of a cell is reported for every row, at its own place. A result that depends on more than the cells is not kept.

    Parameters
    ----------
    cells
        The reader of single cells, which reports faults.
    columns
        The columns, counted from 0, on which the result depends; every row must have them.
    read
        The function that reads a row.
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
