"""Rows by the fibres that they name, so that the rows of a run are found without reading all rows."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable
from itertools import accumulate
from typing import Generic, TypeVar

from trayopt.domain.ranges import Run

T = TypeVar("T")


class ByFibre(Generic[T]):
    """Items by the fibres of their run; runs may overlap.

    Parameters
    ----------
    items
        The items, whose order is kept.
    run_of
        Returns the run of an item.
    """

    def __init__(self, items: Iterable[T], run_of: Callable[[T], Run]) -> None:
        by_trunk: dict[str, list[tuple[int, int, int, T]]] = {}
        for number, item in enumerate(items):
            trunk, first, last = run_of(item)
            by_trunk.setdefault(trunk, []).append((first, last, number, item))
        self._sorted = {trunk: sorted(some, key=lambda each: each[:3]) for trunk, some in by_trunk.items()}
        self._first = {trunk: [first for first, *_ in some] for trunk, some in self._sorted.items()}
        self._reach = {trunk: list(accumulate((each[1] for each in some), max)) for trunk, some in self._sorted.items()}
        """For each item in order of its first fibre, the greatest last fibre up to there."""

    def over(self, run: Run) -> list[T]:
        """Return the items with a fibre of a run, in their own order."""
        some = self._sorted.get(run.trunk, [])
        if not some:
            return []
        start, end = bisect_left(self._reach[run.trunk], run.first), bisect_right(self._first[run.trunk], run.last)
        found = [(number, item) for _, last, number, item in some[start:end] if last >= run.first]
        return [item for _, item in sorted(found, key=lambda pair: pair[0])]

    def before(self, run: Run) -> T | None:
        """Return the item that ends last of those before a run that no item touches; None if there is none."""
        end = bisect_left(self._first.get(run.trunk, []), run.first)
        if not end:
            return None
        at = bisect_left(self._reach[run.trunk], self._reach[run.trunk][end - 1])
        return self._sorted[run.trunk][at][3]
