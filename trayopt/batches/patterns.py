"""Patterns of joins, by which a sweep says in one word how the trunks of a mix are joined."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import combinations
from typing import NamedTuple

from trayopt.domain.cable import Cable
from trayopt.domain.ranges import Run


class End(NamedTuple):
    """A trunk's id and its cable."""

    trunk: str
    cable: Cable

    @property
    def fibres(self) -> int:
        """Number of fibres in the cable."""
        return self.cable.fibres

    def subunits(self) -> list[tuple[int, int]]:
        """Return first and last fibre of each subunit."""
        found: list[tuple[int, int]] = []
        for group in self.cable.subunits:
            for _ in range(group.count):
                first = found[-1][1] + 1 if found else 1
                found.append((first, first + group.ribbons * group.ribbon_fibres - 1))
        return found


Runs = list[tuple[int, int]]
Pairs = Iterator[tuple[Run, Run]]


def joins(pattern: str, ends: Sequence[End]) -> list[dict[str, str]]:
    """Return the joins of a pattern as a job file writes them; an empty list if there are too few trunks."""
    return [{"a": str(a), "b": str(b)} for a, b in PATTERNS[pattern](ends)]


def _in_order(end: End, count: int) -> Runs:
    del end
    return [(1, count)]


def _halves_swapped(end: End, count: int) -> Runs:
    del end
    half = count // 2
    return [(half + 1, count), (1, half)] if half else [(1, count)]


def _subunits_reversed(end: End, count: int) -> Runs:
    del count
    return end.subunits()[::-1]


def _odd_then_even(end: End, count: int) -> Runs:
    del count
    subunits = end.subunits()
    return subunits[::2] + subunits[1::2]


def _shared_out(order: Callable[[End, int], Runs]) -> Callable[[Sequence[End]], Pairs]:
    """Make a pattern that joins the first trunk to each of the others in turn; ``order`` gives the order of their fibres."""

    def join(ends: Sequence[End]) -> Pairs:
        if not ends:
            return
        lead, *others = ends
        first = 1
        for other in others:
            count = min(other.fibres, lead.fibres - first + 1)
            if count > 0:
                yield from _aligned(lead, [(first, first + count - 1)], other, order(other, count))
            first += count

    return join


def _pairs(ends: Sequence[End]) -> Pairs:
    for a, b in zip(ends[::2], ends[1::2], strict=False):
        yield from _aligned(a, [(1, a.fibres)], b, [(1, b.fibres)])


def _ring(ends: Sequence[End]) -> Pairs:
    """Join the second half of each trunk to the first half of the next trunk, and of the last trunk to the first."""
    if len(ends) > 1:
        for a, b in zip(ends, [*ends[1:], ends[0]], strict=True):
            yield from _aligned(a, [(a.fibres // 2 + 1, a.fibres)], b, [(1, b.fibres // 2)])


def _mesh(ends: Sequence[End]) -> Pairs:
    """Join every two trunks: each trunk gives an equal share of whole ribbons to each of the others."""
    used = [0] * len(ends)
    for i, j in combinations(range(len(ends)), 2):
        share = min(_share(ends[i], len(ends) - 1), _share(ends[j], len(ends) - 1))
        if share:
            a, b = ends[i], ends[j]
            yield Run(a.trunk, used[i] + 1, used[i] + share), Run(b.trunk, used[j] + 1, used[j] + share)
            used[i] += share
            used[j] += share


def _share(end: End, others: int) -> int:
    ribbon = end.cable.subunits[0].ribbon_fibres
    return end.fibres // others // ribbon * ribbon


def _aligned(a: End, a_runs: Runs, b: End, b_runs: Runs) -> Pairs:
    """Join two sequences of runs fibre by fibre, cut at the edges of both, up to the end of the shorter sequence."""
    left, right = list(a_runs), list(b_runs)
    while left and right:
        (a_first, a_last), (b_first, b_last) = left.pop(0), right.pop(0)
        count = min(a_last - a_first, b_last - b_first) + 1
        yield Run(a.trunk, a_first, a_first + count - 1), Run(b.trunk, b_first, b_first + count - 1)
        if a_first + count <= a_last:
            left.insert(0, (a_first + count, a_last))
        if b_first + count <= b_last:
            right.insert(0, (b_first + count, b_last))


PATTERNS: dict[str, Callable[[Sequence[End]], Pairs]] = {
    "through": _shared_out(_in_order),
    "pairs": _pairs,
    "halves_swapped": _shared_out(_halves_swapped),
    "subunits_reversed": _shared_out(_subunits_reversed),
    "odd_then_even": _shared_out(_odd_then_even),
    "ring": _ring,
    "mesh": _mesh,
}
"""Every word that a sweep may use for joins."""
