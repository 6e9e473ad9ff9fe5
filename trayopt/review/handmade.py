"""A hand-made plan as it was read: rows with the places of their cells, and what they decide."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from trayopt.domain.base import AS_THEY_ARE, SPLIT, DivideAt, RibbonWord, Travel
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.ranges import Run
from trayopt.errors import Fault
from trayopt.formats.cells import Row
from trayopt.formats.locate import Spot, printable
from trayopt.track.laid import Claim

if TYPE_CHECKING:
    from trayopt.domain.decision import Decision, GoesBy, RunAt
    from trayopt.review.columns import Shape
    from trayopt.solver.model.decisions import Given


class Spots(Mapping[str, Spot]):
    """The places of a row's cells by column, counted only when one is asked for."""

    __slots__ = ("_at", "_row")

    def __init__(self, row: Row, at: Mapping[str, Sequence[int]]) -> None:
        self._row, self._at = row, at

    def __getitem__(self, column: str) -> Spot:
        """Return the place of a cell; of the first that is filled, where several columns mean the same."""
        places = self._at[column]
        texts = self._row.texts
        filled = next((i for i in places if i < len(texts) and texts[i]), places[0])
        return self._row.spot_of(filled)

    def __iter__(self) -> Iterator[str]:
        """Return the columns."""
        return iter(self._at)

    def __len__(self) -> int:
        """Count the columns."""
        return len(self._at)


class Line:
    """One row: its number in the file, and the places of its cells by column; rows are equal if their numbers are.

    ``path`` is where it stands in a plan document, such as ``legs[3]``, or on another sheet of a workbook; empty for a table.
    """

    __slots__ = ("number", "path", "spots")

    def __init__(self, number: int, spots: Mapping[str, Spot] = MappingProxyType({}), path: str = "") -> None:
        self.number, self.spots, self.path = number, spots, path

    def __eq__(self, other: object) -> bool:
        """Whether both are one row."""
        return isinstance(other, Line) and (self.number, self.path) == (other.number, other.path)

    def __hash__(self) -> int:
        """Return its number: equal rows have equal ones."""
        return self.number

    def __str__(self) -> str:
        """Write as ``row 12``."""
        return self.path or f"row {self.number}"

    def cell(self, *columns: str) -> str:
        """Name the cell of the first of these columns that there is: ``C12`` in a workbook, ``12:5`` in CSV."""
        for column in columns:
            spot = self.spots.get(column)
            if spot is not None:
                return spot.where or f"{spot.line}:{spot.column}"
        return self.path


def row_of_sheet(number: int, sheet: str) -> str:
    """Say where a row stands that is on another sheet; empty where it is on the sheet of the table."""
    return f"row {number} of sheet '{printable(sheet)}'" if sheet else ""


@dataclass(frozen=True, slots=True)
class Entry:
    """A run of a trunk's fibres that rows give a tray, or leave open; ``sleeve`` and ``cut`` as written."""

    run: Run
    place: Place | None
    end: str | None
    lines: tuple[Line, ...]
    built: bool = False
    cut: int | None = None
    leg: bool = True
    """Whether the rows say that it is one leg, and not only where its fibres lie."""

    @property
    def claim(self) -> Claim | None:
        """What it claims; None where it is open."""
        return None if self.place is None else Claim(*self.run, self.place, self.end)


class Unread(NamedTuple):
    """Something that is not read: where it stands, what it is, and what to do where it was meant."""

    line: Line
    cell: str
    subject: str
    found: str
    mend: str


class Decided(NamedTuple):
    """One value that the table decides, and the row in which it stands."""

    value: str | int
    line: Line


class SpliceRow(NamedTuple):
    """A row of the second shape: two runs of equal length, spliced in order, in a sleeve of a tray."""

    a: Run
    b: Run | None
    place: Place | None
    sleeve: int | None
    line: Line


@dataclass
class Handmade:
    """Everything that a table says; ``faults`` is damage, and ``lost`` are the rows that it leaves without a tray."""

    job: Job
    source: str
    shape: Shape
    entries: list[Entry] = field(default_factory=list)
    runs: list[Entry] = field(default_factory=list)
    """Of a table of splice runs, the runs as written; they decide where fibres lie, not into which legs."""
    ways: dict[str, dict[str, Decided]] = field(default_factory=dict)
    splices: list[SpliceRow] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    also: dict[Fault, tuple[str, ...]] = field(default_factory=dict)
    """Of faults in which cells contradict each other, the other cells."""
    lost: list[int] = field(default_factory=list)
    """Rows that could not be read so far that they say where fibres lie."""
    lost_ways: set[str] = field(default_factory=set)
    """Trunks of whose way something could not be read."""
    unread: list[Unread] = field(default_factory=list)
    """Rows, cells and columns that are no part of the plan, as far as something stands in them."""
    columns: str = ""
    """Which columns were read as what."""
    passed_over: list[str] = field(default_factory=list)
    """Columns in which something stands, and that are not read."""
    head: int = 0
    """The number of the row of headers; 0 for a plan document."""
    notes: list[str] = field(default_factory=list)
    """What has to be said of the file as a whole, such as its encoding."""
    gone: list[Fault] = field(default_factory=list)
    """What the job does not have any more, where that is no damage."""
    gone_runs: list[RunAt] = field(default_factory=list)
    """Runs in trays that the job does not have any more: of a trunk, or of fibres, that it no longer has."""
    lines: list[Line] = field(default_factory=list)
    raw: bytes = b""
    """The file, CSV as UTF-8; empty for a plan document."""
    separator: str = ","
    """What parts the cells of CSV."""
    sheet: str = ""
    """The sheet of a workbook that was read."""
    beside: list[Handmade] = field(default_factory=list)
    """Of a workbook of legs, the lists of splices on its other sheets."""

    @cached_property
    def placed(self) -> list[Entry]:
        """Entries that have a tray."""
        return [entry for entry in self.entries if entry.place is not None]

    @property
    def lists(self) -> list[Handmade]:
        """The lists of splices: the table itself where it is one, and those beside it."""
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
        """Return what is decided of a trunk's way, of where it is divided, and of what is done with its ribbons."""
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
        """Where trunks are divided, as far as that is told."""
        told = {trunk: decided["divide_at"].value for trunk, decided in self.ways.items() if "divide_at" in decided}
        return {trunk: "tray" if value == "tray" else "port" for trunk, value in told.items()}

    @property
    def ribbons(self) -> dict[str, RibbonWord]:
        """What is done with the ribbons of trunks, as far as that is told."""
        told = {trunk: decided["ribbons"].value for trunk, decided in self.ways.items() if "ribbons" in decided}
        words: dict[str | int, RibbonWord] = {AS_THEY_ARE: AS_THEY_ARE, SPLIT: SPLIT}
        return {trunk: value if isinstance(value, int) else words[value] for trunk, value in told.items()}

    def given(self) -> Given:
        """Return the decisions, for a comparison."""
        from trayopt.solver.model.decisions import Given

        return Given(
            (*(_run_at(entry, entry.place) for entry in self.placed if entry.place is not None), *self.gone_runs),
            {trunk: self.way(trunk) for trunk in self.ways},
            self.ends(),
        )

    def ends(self) -> dict[str, str]:
        """Return the end of each stack for which one is told; the first holds."""
        found: dict[str, str] = {}
        for entry in self.placed:
            if entry.place is not None and entry.end is not None:
                found.setdefault(entry.place.stack, entry.end)
        return found

    def facts(self) -> list[tuple[tuple[Line, ...], list[Decision]]]:
        """Return what is decided, row by row: the rows that decide it, and the facts."""
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
        """Whether a row says where something lies: spliced fibres, or an idle leg that is parked."""
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
