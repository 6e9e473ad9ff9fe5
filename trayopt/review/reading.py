"""Reads a hand-made table of either shape for a job: what it decides, and everything that is damaged in it."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from trayopt.domain.hardware import Place
from trayopt.domain.job import Job, Trunk
from trayopt.domain.ranges import Run, parse_span
from trayopt.errors import Fault
from trayopt.formats.locate import Spot
from trayopt.formats.source import read_bytes, source_name
from trayopt.formats.tables_in import MOST_BYTES, Cell, Row, parse_table
from trayopt.review.cells import Cells
from trayopt.review.columns import NAMES, SIDES, shape_of
from trayopt.review.handmade import Decided, Entry, Handmade, Line, SpliceRow
from trayopt.review.merged import merged_cells
from trayopt.review.splices import entries_of
from trayopt.solver.model.decisions import RunAt

SAVE_AGAIN = "unmerge the cells and fill in every one"


def read_handmade(job: Job, path: str | Path, *, lenient: bool = False) -> Handmade:
    """Read a CSV or XLSX table from a file, or from standard input for ``-``.

    Parameters
    ----------
    job, path
        The job, and the file.
    lenient
        Whether the job may have changed since: what it does not have is then no damage.

    Raises
    ------
    InputError
        Where the file cannot be read, or its headers make no table of a plan; damage in its cells is in ``faults``.
    """
    return parse_handmade(job, read_bytes(path, MOST_BYTES), source_name(path), lenient=lenient)


def parse_handmade(job: Job, raw: bytes, source: str, *, lenient: bool = False) -> Handmade:
    """Read a table as ``read_handmade`` does, from the bytes of its file."""
    table = parse_table(raw, source, optional=NAMES)
    shape, headers = shape_of(table)
    cells = Cells(job, lenient=lenient)
    cells.take(table.faults)
    cells.take(_merged(raw, source, len(table.columns)))
    reader = _Reader(Handmade(job, source, shape, raw=raw), cells, headers)
    for row in table.rows:
        if shape == "legs":
            reader.leg(row)
        else:
            reader.splice(row)
    return reader.finish()


class _Reader:
    def __init__(self, made: Handmade, cells: Cells, headers: dict[str, str]) -> None:
        self.made, self.cells, self.headers = made, cells, headers
        self.seen: dict[object, Line] = {}
        self.last = dict.fromkeys(("trunk", *(f"{side} trunk" for side in SIDES)), "")

    def cell(self, row: Row, column: str) -> Cell:
        """Give the cell of a column; an empty one where the table has no such column."""
        return row.get(self.headers[column]) if column in self.headers else Cell("", row.spot)

    def line(self, row: Row) -> Line:
        """Note a row with the places of its cells."""
        spots = {column: row.get(header).spot for column, header in self.headers.items()}
        line = Line(_row_number(row.spot), spots)
        self.made.lines.append(line)
        return line

    def leg(self, row: Row) -> None:
        """Read a row of the first shape: a leg, or the way of a trunk alone."""
        if self.empty(row):
            return
        line = self.line(row)
        trunk = self.trunk(row, "trunk")
        place = self.place(row)
        built = self.cells.yes(self.cell(row, "built"))
        cut = self.cells.number(self.cell(row, "cut"), "the cut length")
        if trunk is None:
            self.lost(self.cell(row, "trunk"), self.cell(row, "fibres"), place)
            return
        self.way(row, trunk, "", line)
        fibres = self.cell(row, "fibres")
        if not fibres.text and place is None and any(self.cell(row, key).text for key in ("port", "travel", "loops")):
            return
        run = self.cells.run(fibres, trunk)
        if run is None:
            self.lost(self.cell(row, "trunk"), fibres, place)
        elif not self.twice((run, place), fibres, line):
            end = self.end(row, place)
            self.made.entries.append(Entry(run, place, end, (line,), built, cut))

    def splice(self, row: Row) -> None:
        """Read a row of the second shape: two runs in a sleeve, or what is said of trunks alone."""
        if self.empty(row):
            return
        line = self.line(row)
        place = self.place(row)
        sleeve = self.cells.number(self.cell(row, "sleeve"), "the sleeve")
        built = self.cells.yes(self.cell(row, "built"))
        if sleeve is not None and sleeve < 1:
            self.cells.wrong(self.cell(row, "sleeve"), "sleeves are counted from 1", "1 or more")
        sides = {side: self.side(row, side, line) for side in SIDES}
        a, b = sides["from"], sides["to"]
        if a is None or b is None:
            self.half(row, sides, place, line)
            return
        if not a and not b:
            if place is not None:
                self.cells.wrong(self.first(row, "from"), "a tray without fibres", "fibres on both sides")
            return
        if not a or not b:
            side = "from" if not a else "to"
            self.cells.wrong(self.first(row, side), f"the '{side}' side of a splice is missing", "fibres on both sides")
            return
        one, other = a[0], b[0]
        if one.count != other.count:
            text = f"{one} has {one.count} fibres and {other} has {other.count}"
            self.cells.wrong(self.first(row, "to", "fibres"), text, "as many fibres on both sides")
            return
        if self.twice((one, other), self.first(row, "from", "fibres"), line):
            return
        self.made.splices.append(SpliceRow(one, other, place, sleeve, line))
        end = self.end(row, place)
        for run in (one, other):
            self.made.entries.append(Entry(run, place, end, (line,), built, leg=False))

    def lost(self, trunk: Cell, fibres: Cell, place: Place | None) -> None:
        """Keep what lies in a tray and is not in the job any more, as far as its fibres are written as numbers."""
        if self.cells.lenient and place is not None and trunk.text:
            span = fibres.text.rpartition(":")[2]
            with suppress(ValueError):
                self.made.lost.append(RunAt(trunk.text, *parse_span(span), place))

    def half(self, row: Row, sides: dict[str, list[Run] | None], place: Place | None, line: Line) -> None:
        """Keep both sides of a splice of which the job does not have one any more."""
        for side, runs in sides.items():
            if runs is None:
                whole = self.cell(row, side)
                fibres = whole if whole.text else self.cell(row, f"{side} fibres")
                name = self.cell(row, f"{side} trunk")
                self.lost(name if name.text else Cell(whole.text.partition(":")[0], whole.spot), fibres, place)
            elif self.cells.lenient and place is not None:
                self.made.entries += [Entry(run, place, None, (line,), leg=False) for run in runs]

    def side(self, row: Row, side: str, line: Line) -> list[Run] | None:
        """Read one side of a splice row: a run, nothing where the side is empty, None where it is wrong."""
        whole = self.cell(row, side)
        parts = [self.cell(row, f"{side} {part}") for part in ("tube", "ribbon", "fibres")]
        name = self.cell(row, f"{side} trunk")
        if whole.text and not name.text:
            text, _, fibres = whole.text.partition(":")
            name, whole = Cell(text.strip(), whole.spot), Cell(fibres.strip(), whole.spot)
            if not fibres:
                self.cells.wrong(
                    whole, "the trunk or the fibres are missing", "trunk:fibres, such as N1:blue/orange/1-12"
                )
                return None
        told = bool(whole.text) or any(part.text for part in parts)
        ways = any(self.cell(row, f"{side} {key}").text for key in ("port", "travel", "loops"))
        if not told and not name.text and not ways:
            return []
        trunk = self.cells.trunk(name, self.last[f"{side} trunk"])
        if trunk is None:
            return None
        self.last[f"{side} trunk"] = trunk.id
        self.way(row, trunk, f"{side} ", line)
        if not told and ways:
            return []
        run = self.cells.run(whole, trunk) if whole.text else self.cells.run_at(trunk, *parts)
        return None if run is None else [run]

    def first(self, row: Row, side: str, *parts: str) -> Cell:
        """Give the cell to blame on a side: that of a part, or the first that the table has."""
        columns = [*(f"{side} {part}" for part in parts), side, f"{side} fibres", f"{side} trunk"]
        return next(self.cell(row, column) for column in columns if column in self.headers)

    def trunk(self, row: Row, column: str) -> Trunk | None:
        trunk = self.cells.trunk(self.cell(row, column), self.last[column])
        if trunk is not None:
            self.last[column] = trunk.id
        return trunk

    def place(self, row: Row) -> Place | None:
        return self.cells.place(*(self.cell(row, column) for column in ("stack", "position", "tray")))

    def end(self, row: Row, place: Place | None) -> str | None:
        cell = self.cell(row, "end")
        if place is None or not cell.text:
            return None
        stack = self.made.job.enclosure.stack_by_id.get(place.stack)
        ends = [end.id for end in stack.ends] if stack is not None else []
        return self.cells.name(cell, ends, f"end of stack {place.stack}")

    def way(self, row: Row, trunk: Trunk, prefix: str, line: Line) -> None:
        """Take over what a row says of a trunk's way; two rows may not say different things."""
        port, travel, loops = (self.cell(row, prefix + key) for key in ("port", "travel", "loops"))
        values: dict[str, tuple[Cell, str | int | None]] = {
            "port": (port, self.cells.name(port, self.made.job.enclosure.port_by_id, "port") if port.text else None),
            "travel": (travel, self.cells.travel(travel)),
            "loops": (loops, self.cells.number(loops, "the number of loops")),
        }
        for key, (cell, value) in values.items():
            if value is None:
                continue
            known = self.made.ways.setdefault(trunk.id, {}).setdefault(key, Decided(value, line))
            if known.value != value:
                text = f"{key} of trunk {trunk.id} is told twice"
                self.cells.wrong(
                    cell, text, f"{known.value}, as in {known.line}", "a trunk has one way for all its legs"
                )

    def twice(self, key: object, cell: Cell, line: Line) -> bool:
        """Tell a row that says again what another one said."""
        before = self.seen.setdefault(key, line)
        if before is not line:
            self.cells.wrong(cell, f"this row says again what {before} says", hint="take one of the two rows out")
        return before is not line

    def empty(self, row: Row) -> bool:
        """Whether no cell of the plan's columns is filled."""
        return not any(self.cell(row, column).text for column in self.headers)

    def finish(self) -> Handmade:
        made = self.made
        if made.shape == "runs":
            made.runs = made.entries
            made.entries = entries_of(made, self.cells)
        made.gone = self.cells.gone
        made.faults = sorted(set(self.cells.faults), key=_in_file_order)
        return made


def _merged(raw: bytes, source: str, columns: int) -> list[Fault]:
    return [
        Spot(source, where=first).fault("merged cells", found=ref, hint=SAVE_AGAIN)
        for first, ref in merged_cells(raw, columns)
    ]


def _row_number(spot: Spot) -> int:
    return spot.line or int("".join(char for char in spot.where if char.isdigit()) or 0)


def _in_file_order(fault: Fault) -> tuple[int, int, str, str]:
    """Order faults as the eye goes: by row, then by column."""
    letters = fault.where.rstrip("0123456789")
    row = fault.line or int(fault.where[len(letters) :] or 0)
    return row, fault.column or len(letters), letters, str(fault)
