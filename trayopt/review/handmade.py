"""A hand-made plan as it was read: rows with the places of their cells, and their decisions."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from trayopt.domain.base import AS_THEY_ARE, SPLIT, DivideAt, RibbonWord, Travel
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.ranges import Run
from trayopt.domain.said import said
from trayopt.errors import Fault
from trayopt.formats.cells import Cell, CellFault, Row
from trayopt.formats.locate import Spot, printable
from trayopt.review.by_fibre import ByFibre
from trayopt.track.laid import Claim

if TYPE_CHECKING:
    from trayopt.domain.decision import Decision, GoesBy, RunAt
    from trayopt.review.columns import Shape
    from trayopt.solver.model.decisions import Given


class Spots(Mapping[str, Spot]):
    """The places of a row's cells by column; each is counted only when it is asked for."""

    __slots__ = ("_at", "_row")

    def __init__(self, row: Row, at: Mapping[str, Sequence[int]]) -> None:
        self._row, self._at = row, at

    def __getitem__(self, column: str) -> Spot:
        """Return the place of a column's cell; if several headers mean the column, the place of the first filled cell."""
        return self.cell(column).spot

    def cell(self, column: str) -> Cell:
        """Return a column's cell; if several headers mean the column, the first filled cell."""
        places = self._at[column]
        texts = self._row.texts
        return self._row.at(next((i for i in places if i < len(texts) and texts[i]), places[0]))

    def __iter__(self) -> Iterator[str]:
        """Iterate over the columns."""
        return iter(self._at)

    def __len__(self) -> int:
        """Count the columns."""
        return len(self._at)


NOWHERE = Spots(Row("", 0, []), {})
"""The places of a row without cells, as in a plan document."""


class Line:
    """A row: its number in the file, and the places of its cells by column. Rows with equal number and path are equal.

    ``path`` is the path of a row in a plan document, such as ``legs[3]``, or names a row on another sheet of a workbook. It is
    empty for a table.
    """

    __slots__ = ("number", "path", "spots")

    def __init__(self, number: int, spots: Spots = NOWHERE, path: str = "") -> None:
        self.number, self.spots, self.path = number, spots, path

    def __eq__(self, other: object) -> bool:
        """Whether both are the same row."""
        return isinstance(other, Line) and (self.number, self.path) == (other.number, other.path)

    def __hash__(self) -> int:
        """Return the number of the row, which is the same for equal rows."""
        return self.number

    def __str__(self) -> str:
        """Write as ``row 12``."""
        return str(self.words)

    @property
    def words(self) -> str:
        """Say it as ``row 12``, or as the path in a plan document."""
        return self.path or said("row {number}", number=self.number)

    def cell(self, *columns: str) -> str:
        """Return the address of the cell in the first of these columns that exists: ``C12`` in a workbook, ``12:5`` in CSV."""
        for column in columns:
            spot = self.spots.get(column)
            if spot is not None:
                return spot.where or f"{spot.line}:{spot.column}"
        return self.path


def row_of_sheet(number: int, sheet: str) -> str:
    """Write the place of a row on another sheet; empty if the row is on the sheet of the table."""
    return f"row {number} of sheet '{printable(sheet)}'" if sheet else ""


class Entry(NamedTuple):
    """A run of a trunk's fibres in some rows, with its tray, or without one if the rows leave it open."""

    run: Run
    place: Place | None
    end: str | None
    lines: tuple[Line, ...]
    built: bool = False
    cut: int | None = None
    leg: bool = True
    """Whether the rows name the run as one leg, and not only the place of its fibres."""

    @property
    def claim(self) -> Claim | None:
        """The claim of the entry; None if its tray is open."""
        return None if self.place is None else Claim(*self.run, self.place, self.end)


class Unread(NamedTuple):
    """A row, cell or column that is not read: its place, what it is, and what to do if it was meant to be read."""

    line: Line
    cell: str
    subject: str
    found: str
    mend: str


class Decided(NamedTuple):
    """A value that the table decides, and its row."""

    value: str | int
    line: Line


class SpliceRow(NamedTuple):
    """A row of a list of splices: two runs of equal length, spliced in order, in a sleeve of a tray."""

    a: Run
    b: Run | None
    place: Place | None
    sleeve: int | None
    line: Line


@dataclass
class Handmade:
    """Everything that a table says. ``damage`` lists its wrong cells, and ``lost`` the rows that cannot be read because of it."""

    job: Job
    source: str
    shape: Shape
    entries: list[Entry] = field(default_factory=list)
    runs: list[Entry] = field(default_factory=list)
    """The runs of a table of splice runs, as written; they decide where fibres lie, but not how subunits are divided."""
    ways: dict[str, dict[str, Decided]] = field(default_factory=dict)
    splices: list[SpliceRow] = field(default_factory=list)
    damage: list[CellFault] = field(default_factory=list)
    """Cells that cannot be read, in the order of the file."""
    lost: list[int] = field(default_factory=list)
    """Numbers of rows that could not be read well enough to say where fibres lie."""
    lost_ways: set[str] = field(default_factory=set)
    """Trunks with a part of the way that could not be read."""
    unread: list[Unread] = field(default_factory=list)
    """Rows, cells and columns that are not empty but not part of the plan."""
    columns: str = ""
    """How the columns were read, in words."""
    passed_over: list[str] = field(default_factory=list)
    """Columns that are not empty and are not read."""
    head: int = 0
    """The number of the row of headers; 0 for a plan document."""
    notes: list[str] = field(default_factory=list)
    """Notes on the file as a whole, such as its encoding."""
    gone: list[Fault] = field(default_factory=list)
    """Names that the job does not have any more, if that is not damage."""
    gone_runs: list[RunAt] = field(default_factory=list)
    """Runs in trays that the job does not have any more: runs of a missing trunk, or of missing fibres."""
    lines: list[Line] = field(default_factory=list)
    raw: bytes = b""
    """The file, CSV as UTF-8; empty for a plan document."""
    separator: str = ","
    """The separator between cells of CSV."""
    sheet: str = ""
    """The sheet of the workbook that was read."""
    beside: list[Handmade] = field(default_factory=list)
    """For a workbook of legs, the lists of splices on its other sheets."""
    _about: dict[str, dict[str, list[Entry]]] = field(default_factory=dict, init=False, repr=False, compare=False)
    """Entries that have a tray, by kind of subject and by subject."""

    @cached_property
    def placed(self) -> list[Entry]:
        """Entries that have a tray."""
        return [entry for entry in self.entries if entry.place is not None]

    @cached_property
    def by_fibre(self) -> ByFibre[Entry]:
        """The rows as written, by fibre."""
        return ByFibre(self.runs or self.entries, lambda entry: entry.run)

    def about(self, kind: str, subject: str) -> list[Entry]:
        """Return the entries that have a tray and concern a tray place, a stack, a trunk, a subunit or a leg."""
        if kind not in self._about:
            found: dict[str, list[Entry]] = {}
            for entry in self.placed:
                for name in self._subjects(kind, entry):
                    found.setdefault(name, []).append(entry)
            self._about[kind] = found
        return self._about[kind].get(subject, [])

    def _subjects(self, kind: str, entry: Entry) -> Iterable[str]:
        """Name the subjects of a kind that an entry concerns."""
        if kind == "tray place":
            return (str(entry.place),)
        if kind == "stack":
            return () if entry.place is None else (entry.place.stack,)
        trunk = self.job.trunk_by_id[entry.run.trunk]
        if kind == "trunk":
            return (trunk.id,)
        one = trunk.subunit_of(entry.run.first)
        if kind == "subunit":
            return [trunk.units[i - 1].name for i in range(one.number, trunk.subunit_of(entry.run.last).number + 1)]
        leg = one.leg_of_run(entry.run.first, entry.run.last)
        return {str(entry.run), str(leg or entry.run)}

    @property
    def faults(self) -> list[Fault]:
        """The damage, with its places and sentences."""
        return [item.fault() for item in self.damage]

    @property
    def lists(self) -> list[Handmade]:
        """The lists of splices: the table itself if it is a list of splices, and the lists on other sheets."""
        return [self, *self.beside] if self.runs else self.beside

    @cached_property
    def sides(self) -> dict[Line, tuple[str, str]]:
        """The trunks of both sides of each row of splices."""
        return {row.line: (row.a.trunk, "" if row.b is None else row.b.trunk) for row in self.splices}

    @property
    def claims(self) -> list[Claim]:
        """Claims of all entries that have a tray."""
        return [entry.claim for entry in self.placed if entry.claim is not None]

    def way(self, trunk: str) -> GoesBy:
        """Return what is decided about a trunk's way, place of division and ribbon work."""
        from trayopt.domain.decision import GoesBy

        decided = self.ways.get(trunk, {})
        port, travel, loops = (decided[key].value if key in decided else None for key in ("port", "travel", "loops"))
        as_travel: Travel | None = None
        if travel is not None:
            as_travel = "clockwise" if travel == "clockwise" else "counterclockwise"
        as_loops = None if loops is None else int(loops)
        as_port = None if port is None else str(port)
        return GoesBy(trunk, as_port, as_travel, as_loops, self.divide_at.get(trunk), self.ribbons.get(trunk))

    @property
    def divide_at(self) -> dict[str, DivideAt]:
        """The place of division of each trunk for which the table gives it."""
        told = {trunk: decided["divide_at"].value for trunk, decided in self.ways.items() if "divide_at" in decided}
        return {trunk: "tray" if value == "tray" else "port" for trunk, value in told.items()}

    @property
    def ribbons(self) -> dict[str, RibbonWord]:
        """The ribbon work of each trunk for which the table gives it."""
        told = {trunk: decided["ribbons"].value for trunk, decided in self.ways.items() if "ribbons" in decided}
        words: dict[str | int, RibbonWord] = {AS_THEY_ARE: AS_THEY_ARE, SPLIT: SPLIT}
        return {trunk: value if isinstance(value, int) else words[value] for trunk, value in told.items()}

    def given(self) -> Given:
        """Return the decisions of the table, for a comparison with a plan."""
        from trayopt.solver.model.decisions import Given

        return Given(
            (*(_run_at(entry, entry.place) for entry in self.placed if entry.place is not None), *self.gone_runs),
            {trunk: self.way(trunk) for trunk in self.ways},
            self.ends(),
        )

    def ends(self) -> dict[str, str]:
        """Return the end of each stack for which the table gives one; the first row counts."""
        found: dict[str, str] = {}
        for entry in self.placed:
            if entry.place is not None and entry.end is not None:
                found.setdefault(entry.place.stack, entry.end)
        return found

    def facts(self) -> list[tuple[tuple[Line, ...], list[Decision]]]:
        """Return the decisions, each group with the rows that make it."""
        by_lines: dict[tuple[Line, ...], list[Decision]] = {}
        for entry in self.runs or self.entries:
            if entry.place is not None and self._binds(entry, entry.place):
                by_lines.setdefault(entry.lines, []).extend([_run_at(entry, entry.place), *_end(entry)])
        found = list(by_lines.items())
        for trunk, decided in self.ways.items():
            lines = tuple(dict.fromkeys(item.line for item in decided.values()))
            found.append((lines, [self.way(trunk)]))
        return found

    def _binds(self, entry: Entry, place: Place) -> bool:
        """Whether a row decides anything: the place of spliced fibres, or of an idle leg that is parked."""
        from trayopt.solver.model.decisions import parked_leg, spliced_in

        item = _run_at(entry, place)
        if spliced_in(self.job, item):
            return True
        return self.divide_at.get(entry.run.trunk) != "port" and parked_leg(self.job, item) is not None

    def built(self) -> list[Entry]:
        """Entries that are marked as built."""
        return [entry for entry in self.placed if entry.built]


def _run_at(entry: Entry, place: Place) -> RunAt:
    from trayopt.domain.decision import RunAt

    return RunAt(*entry.run, place, entry.leg)


def _end(entry: Entry) -> Iterable[Decision]:
    from trayopt.domain.decision import EntersAt

    if entry.end is not None and entry.place is not None:
        yield EntersAt(entry.place.stack, entry.end)
