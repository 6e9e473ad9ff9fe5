"""Remarks of a review: the rows, what was found, what is allowed, and how to mend it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, Literal, NamedTuple, overload

from trayopt.domain.finding import Finding
from trayopt.domain.job import Job
from trayopt.formats.cells import CellFault
from trayopt.review.handmade import Entry, Handmade, Line, Unread, row_of_sheet
from trayopt.rules.own_limits import OwnLimits
from trayopt.rules.registry import BY_ID
from trayopt.track.laid import Laid

RemarkLevel = Literal["damage", "always", "must", "figure", "unplaced", "clash", "open", "unread", "prefer"]
FAILING: frozenset[str] = frozenset({"damage", "always", "must", "figure", "unplaced", "clash"})
LEVEL_WORDS: dict[str, str] = {
    "damage": "cannot be read",
    "always": "always holds",
    "must": "must",
    "figure": "figure is wrong",
    "unplaced": "has no tray",
    "clash": "rows clash",
    "open": "left open",
    "unread": "not read",
    "prefer": "preferred",
}


class Remark(NamedTuple):
    """A remark; ``cells`` holds addresses in the table, or paths in a plan document."""

    rule: str
    level: RemarkLevel
    subject: str
    lines: tuple[Line, ...]
    cells: tuple[str, ...]
    found: str
    allowed: str
    mend: str

    @property
    def fails(self) -> bool:
        """Whether the remark makes the plan fail."""
        return self.level in FAILING

    @property
    def rows(self) -> str:
        """The rows as text: ``rows 2, 5-7``, or paths in a plan document."""
        if any(line.path for line in self.lines):
            return _first([str(line) for line in self.lines], 6)
        return rows_text([line.number for line in self.lines])

    @property
    def beside(self) -> str:
        """The cells as text, without the paths of a plan document that ``rows`` gives."""
        paths = {str(line) for line in self.lines if line.path}
        return _first([cell for cell in self.cells if cell not in paths], 8)

    def as_dict(self) -> dict[str, Any]:
        """Return the remark as plain data."""
        return {
            "rule": self.rule,
            "level": self.level,
            "subject": self.subject,
            "rows": [line.number for line in self.lines if not line.path],
            "cells": list(self.cells),
            "because": self.found,
            "found": self.found,
            "allowed": self.allowed,
            "mend": self.mend,
        }


def _first(names: list[str], most: int) -> str:
    """Write the first of some names, and how many more there are."""
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more:,} more" if more > 0 else "")


def rows_text(numbers: Iterable[int]) -> str:
    """Write row numbers as ``row 4`` or ``rows 2, 5-7``; empty if there are none."""
    runs: list[list[int]] = []
    for number in sorted(set(numbers)):
        if runs and runs[-1][1] + 1 == number:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    texts = [str(first) if first == last else f"{first}-{last}" for first, last in runs]
    return "" if not texts else f"row{'s' * (len(texts) > 1 or '-' in texts[0])} {', '.join(texts)}"


def unread(item: Unread) -> Remark:
    """Make a remark on a row, cell or column that is not part of the plan."""
    return Remark(
        "table", "unread", item.subject, (item.line,), (item.cell,), item.found, "what is read of a table", item.mend
    )


def damage(item: CellFault) -> Remark:
    """Make a remark on a cell that cannot be read; its cells are that cell and the cell that contradicts it."""
    _, number, column, message, found, allowed, hint, where = item.fault()
    if found:
        message = f"{message}: {found}"
    row = item.row
    cell = f"{number}:{column}" if number else where
    lines = (Line(row.line, path=row_of_sheet(row.line, row.sheet)),)
    return Remark("table", "damage", cell, lines, (cell, *item.beside), message, allowed, hint)


class Later(NamedTuple):
    """A remark that is made when it is asked for, and its level."""

    level: RemarkLevel
    make: Callable[[], Remark]


class Remarks(Sequence[Remark]):
    """The remarks on a table with cells that cannot be read: there may be 100,000, and each is made when it is asked for."""

    def __init__(self, cells: Sequence[CellFault], others: Sequence[Remark | Later]) -> None:
        self._items: list[CellFault | Remark | Later] = [*cells, *others]
        self._cells = len(cells)

    def __len__(self) -> int:
        """Count the remarks."""
        return len(self._items)

    @overload
    def __getitem__(self, index: int) -> Remark: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[Remark]: ...
    def __getitem__(self, index: int | slice) -> Remark | Sequence[Remark]:
        """Return a remark, or several."""
        if isinstance(index, slice):
            return [self[i] for i in range(*index.indices(len(self)))]
        item = self._items[index]
        if isinstance(item, CellFault):
            item = self._items[index] = damage(item)
        elif isinstance(item, Later):
            item = self._items[index] = item.make()
        return item

    @property
    def failing(self) -> int:
        """Count the remarks on the rest of the table that make the plan fail; none is made for that."""
        return sum(not isinstance(item, CellFault) and item.level in FAILING for item in self._items[self._cells :])


def of_finding(job: Job, made: Handmade, laid: Laid, finding: Finding) -> Remark:
    """Make a remark on a broken rule, with its rows and the cells to change in them."""
    from trayopt.review.advice import advice

    lines, cells = where(job, made, laid, finding)
    return Remark(
        finding.rule,
        finding.level,
        finding.subject,
        lines,
        cells,
        finding.because,
        f"{BY_ID[finding.rule].say(job, finding.subject)}",
        advice(job, laid, finding),
    )


def where(job: Job, made: Handmade, laid: Laid, finding: Finding) -> tuple[tuple[Line, ...], tuple[str, ...]]:
    """Return the rows of a broken rule, and the cells to change in them."""
    from trayopt.review.odd import odd_entries, side_columns, way_keys

    rule = BY_ID[finding.rule]
    entries, ways = _about(job, made, laid, finding)
    lines: dict[Line, None] = {}
    cells: dict[str, None] = {}
    columns, both = rule.cells, made.sides
    for entry in odd_entries(job, finding, entries):
        for line in entry.lines:
            lines[line] = None
            cells[line.cell(*side_columns(columns, entry.run.trunk, line, both))] = None
    for trunk in ways:
        for key, decided in made.ways.get(trunk, {}).items():
            keys = way_keys(job, laid, trunk) if isinstance(rule, OwnLimits) else rule.way_cells
            if key in keys:
                lines[decided.line] = None
                cells[decided.line.cell(key, f"from {key}", f"to {key}")] = None
    cells.pop("", None)
    return tuple(sorted(lines, key=lambda line: line.number)), tuple(cells)


def _about(job: Job, made: Handmade, laid: Laid, finding: Finding) -> tuple[list[Entry], list[str]]:
    """Return the entries that a finding concerns, and the trunks whose ways it concerns."""
    kind, subject = BY_ID[finding.rule].subject, finding.subject
    if kind in {"tray place", "stack", "subunit", "leg"}:
        return made.about(kind, subject), []
    if kind == "trunk":
        return [] if BY_ID[finding.rule].ways_only else made.about(kind, subject), [subject]
    if kind == "pair of trunks":
        return [], subject.split("+")
    if kind == "port":
        return [], [trunk for trunk, way in laid.ways.items() if way.port == subject]
    if kind == "guide":
        return [], list(dict.fromkeys(item.trunk for item, _ in laid.passes(subject)))
    if kind == "pair of joins":
        names = set(subject.split("+"))
        sides = [run for join in job.joins if join.name in names for run in (join.a, join.b)]
        return [
            entry
            for entry in made.placed
            if any(
                r.trunk == entry.run.trunk and r.first <= entry.run.last and r.last >= entry.run.first for r in sides
            )
        ], []
    if kind == "pin":
        if ":" not in subject:
            return [], [subject]
        pinned = next(pin.leg for pin in job.leg_pins if pin.subject == subject)
        return [
            entry
            for entry in made.placed
            if entry.run.trunk == pinned.trunk and entry.run.first <= pinned.last and entry.run.last >= pinned.first
        ], []
    return [], []
