"""Fibre runs: ``N1:1-432`` in joins and pins, ``1-72`` in plans."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import NamedTuple

from trayopt.domain.said import said

_RUN = re.compile(r"^(?P<trunk>[^\s:/+][^:/+]*):(?P<first>[0-9]{1,6})(?:-(?P<last>[0-9]{1,6}))?$")
_SPAN = re.compile(r"^(?P<first>[0-9]{1,6})(?:-(?P<last>[0-9]{1,6}))?$")


class Run(NamedTuple):
    """Fibres first … last of a trunk, both included, counted from 1."""

    trunk: str
    first: int
    last: int

    @property
    def count(self) -> int:  # type: ignore[override]
        """Number of fibres."""
        return self.last - self.first + 1

    def __str__(self) -> str:
        """Write as in files: ``N1:1-72``; a single fibre as ``N1:7``."""
        return f"{self.trunk}:{span(self.first, self.last)}"


def parse_run(text: str) -> Run:
    """Read ``trunk:first-last`` or ``trunk:fibre``; raise ValueError, with what is allowed, for any other text."""
    match = _RUN.match(text)
    if not match:
        raise ValueError(said("a run is written trunk:first-last, such as N1:1-432"))
    first = int(match["first"])
    last = int(match["last"]) if match["last"] else first
    _in_order(first, last)
    return Run(match["trunk"], first, last)


def parse_span(text: str) -> tuple[int, int]:
    """Read ``first-last`` or a single number; raise ValueError, with what is allowed, for any other text."""
    match = _SPAN.match(text)
    if not match:
        raise ValueError(said("fibres are written first-last, such as 1-72"))
    first = int(match["first"])
    last = int(match["last"]) if match["last"] else first
    _in_order(first, last)
    return first, last


def joined(runs: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Merge runs (first, last) that touch or overlap, and return the merged runs in order."""
    found: list[tuple[int, int]] = []
    for first, last in sorted(runs):
        if found and first <= found[-1][1] + 1:
            found[-1] = (found[-1][0], max(found[-1][1], last))
        else:
            found.append((first, last))
    return found


def span(first: int, last: int) -> str:
    """Write ``first-last``, or a single number if both are the same."""
    return str(first) if first == last else f"{first}-{last}"


def _in_order(first: int, last: int) -> None:
    if first < 1:
        raise ValueError(said("fibres are counted from 1"))
    if last < first:
        raise ValueError(said("the first fibre of a run is not above its last"))
