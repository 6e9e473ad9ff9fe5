"""Reads a hand-made table of either shape for a job: what it decides, and everything that is damaged in it."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from trayopt.domain.hardware import Place
from trayopt.domain.job import Job, Trunk
from trayopt.domain.ranges import Run, parse_span
from trayopt.errors import Fault, InputError
from trayopt.formats.cells import Cell, Row
from trayopt.formats.locate import Spot, describe
from trayopt.formats.source import read_bytes, source_name
from trayopt.formats.tables_in import MOST_BYTES, Table, parse_loose_table
from trayopt.formats.validate import did_you_mean
from trayopt.review.cells import Cells
from trayopt.review.columns import PARTS, SIDES, Headers, headers_of, is_read
from trayopt.review.handmade import Decided, Entry, Handmade, Line, SpliceRow, Spots, Unread
from trayopt.review.merged import merged_cells
from trayopt.review.parts import Parts
from trayopt.review.splices import entries_of
from trayopt.review.strays import Strays
from trayopt.solver.model.decisions import RunAt

SAVE_AGAIN = "unmerge the cells and fill in every one"
WAYS = ("port", "travel", "loops", "divide_at")


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
        Where the file cannot be read, its headers make no table of a plan, or none of its trunks is in the job; damage
        in its cells is in ``faults``.
    """
    return parse_handmade(job, read_bytes(path, MOST_BYTES), source_name(path), lenient=lenient)


def parse_handmade(job: Job, raw: bytes, source: str, *, lenient: bool = False) -> Handmade:
    """Read a table as ``read_handmade`` does, from the bytes of its file."""
    table = parse_loose_table(raw, source, is_read)
    headers = headers_of(table)
    made = Handmade(
        job,
        source,
        headers.shape,
        raw=raw if table.text is None else table.text.encode(),
        separator=table.head.separator,
        columns=headers.said(),
        head=table.head.line,
        notes=_notes(table),
    )
    merged = _merged(raw, source, len(table.head.texts), table.head.line) if table.text is None else []
    reader = _Reader(made, Cells(job, lenient=lenient), headers, [*table.faults, *(fault for fault, _ in merged)])
    made.unread += _columns(table, headers, made)
    for row in table.rows:
        reader.row(row)
    made.lost += [number for _, rows in merged for number in rows]
    made.unread += [_beside(cell) for cell in table.beside]
    return reader.finish()


def _notes(table: Table) -> list[str]:
    """Say what has to be said of a file as a whole."""
    found = []
    if table.encoding:
        doubt = "" if table.encoding.startswith("UTF") else ": see whether names with letters beyond a to z are right"
        found.append(f"the file is no UTF-8 text; it was read as {table.encoding}{doubt}")
    if table.above:
        lines = [str(row.line) for row in table.above]
        rows = f"row {lines[0]}" if len(lines) == 1 else f"rows {lines[0]} to {lines[-1]}"
        first = next(text for text in table.above[0].texts if text)
        found.append(f"the headers are in row {table.head.line}; {rows} above them not read: {describe(first)}")
    return found


def _columns(table: Table, headers: Headers, made: Handmade) -> list[Unread]:
    """Tell the columns that hold figures and are not read; those that hold words are named beside those that are read."""
    found = []
    for column in headers.unread:
        texts = [row.texts[column.index] for row in table.rows if column.index < len(row.texts)]
        filled = [text for text in texts if text]
        if not filled:
            continue
        name = f"column {describe(column.header)}" if column.header else "a column without a header"
        made.passed_over.append(column.header or name)
        if column.known:
            continue
        figure = next((text for text in filled if any(char.isdigit() for char in text)), None)
        if figure is None:
            continue
        spot = table.head.spot_of(column.index)
        cell = spot.where or f"{spot.line}:{spot.column}"
        said = f"{name} is not read, and holds figures, such as {describe(figure)}"
        mend = column.hint or "name it as one of the columns that are read, or leave it as a note"
        found.append(Unread(Line(table.head.line), cell, column.header or cell, said, mend))
    return found


def _beside(cell: Cell) -> Unread:
    spot = cell.spot
    said = f"a cell without a header over it is not read: {describe(cell.text)}"
    number = spot.line or int("".join(filter(str.isdigit, spot.where)))
    at = spot.where or f"{spot.line}:{spot.column}"
    return Unread(Line(number), at, at, said, "write a header over it, or leave it as a note")


class _Reader:
    def __init__(self, made: Handmade, cells: Cells, headers: Headers, faults: list[Fault]) -> None:
        self.made, self.cells, self.headers = made, cells, headers
        self.at = headers.at
        self.cells.take(faults)
        self.parts = Parts(cells)
        self.strays = Strays(made.job, self.at)
        self.stray_spots: set[tuple[int, int, str]] = set()
        self.stray_rows: set[int] = set()
        self.read = sorted(i for places in self.at.values() for i in places)
        self.twins = [column for column, places in self.at.items() if len(places) > 1]
        self.ways = {
            prefix: [key for key in WAYS if prefix + key in self.at] for prefix in ("", *(f"{side} " for side in SIDES))
        }
        self.seen: dict[object, Line] = {}
        self.last = dict.fromkeys(("trunk", *(f"{side} trunk" for side in SIDES)), "")
        self.places: dict[tuple[str, ...], Place | None] = {}
        self.strange: list[Cell] = []
        self.known_trunks = False

    def cell(self, row: Row, column: str) -> Cell:
        """Give the cell of a column, the first that is filled where several mean the same; an empty one for none."""
        places = self.at.get(column)
        if places is None:
            return Cell("", row)
        texts = row.texts
        i = places[0]
        if len(places) > 1:
            i = next((k for k in places if k < len(texts) and texts[k]), i)
        return Cell(texts[i] if i < len(texts) else "", row, i)

    def row(self, row: Row) -> None:
        """Read a row: a leg or a run of splices, the way of a trunk alone, or nothing of the plan."""
        texts = row.texts
        if not any([i < len(texts) and texts[i] for i in self.read]):
            if any(texts[len(self.headers.texts) :]):
                self.stray(row)
            return
        if self.strays.is_stray(row):
            self.stray(row)
            return
        line = Line(row.line, Spots(row, self.at))
        self.made.lines.append(line)
        faults, entries = len(self.cells.faults), len(self.made.entries)
        spoilt = bool(row.wrong) and any(i in row.wrong for i in self.read)
        read = self.leg if self.headers.shape == "legs" else self.splice
        said = all([self.twin(row, column) for column in self.twins]) and read(row, line)
        if not said and (spoilt or len(self.cells.faults) > faults):
            del self.made.entries[entries:]
            self.made.lost.append(row.line)

    def stray(self, row: Row) -> None:
        """Note a row that is none of the plan's; nothing in it is damage."""
        spots = [row.spot_of(i) for i in range(len(row.texts))]
        self.stray_spots |= {(spot.line, spot.column, spot.where) for spot in spots}
        self.stray_rows.add(row.line)
        text = describe(", ".join(text for text in row.texts if text))
        spot = next(spot for spot, text in zip(spots, row.texts, strict=True) if text)
        said = f"the row is none of a plan, and is not read: {text}"
        mend = "take it out; if it was meant, name the trunk, its fibres and their tray"
        at = spot.where or f"{spot.line}:{spot.column}"
        self.made.unread.append(Unread(Line(row.line), at, at, said, mend))

    def twin(self, row: Row, column: str) -> bool:
        """Hold cells against each other that stand under two headers for one column."""
        filled = [i for i in self.at[column] if i < len(row.texts) and row.texts[i]]
        for i in filled[1:]:
            if row.texts[i].casefold() != row.texts[filled[0]].casefold():
                one, other = (describe(self.headers.texts[k]) for k in (filled[0], i))
                self.cells.contradict(row.at(i), row.at(filled[0]), f"the columns {one} and {other} mean the same")
                return False
        return True

    def leg(self, row: Row, line: Line) -> bool:
        """Read a row of the first shape: a leg, or the way of a trunk alone; False where it says no tray."""
        fibres = self.cell(row, "fibres")
        trunk, fibres = self.trunk(self.cell(row, "trunk"), fibres, "trunk")
        place = self.place(row)
        built = self.cells.yes(self.cell(row, "built"))
        cut = self.cells.number(self.cell(row, "cut"), "the cut length")
        if trunk is None:
            self.lost(self.cell(row, "trunk"), self.cell(row, "fibres"), place)
            return False
        alike = self.cable(self.cell(row, "cable"), self.cell(row, "trunk"), trunk)
        self.way(row, trunk, "", line)
        if not fibres.text and place is None and any(self.cell(row, key).text for key in WAYS):
            return True
        run = self.cells.run(fibres, trunk)
        if run is None:
            self.lost(self.cell(row, "trunk"), fibres, place)
        if run is None or not alike or not self.parts.leg(self.cell(row, "leg"), fibres, trunk, run):
            return False
        if self.twice((run, place), fibres, line):
            return True
        self.made.entries.append(Entry(run, place, self.end(row, place), (line,), built, cut))
        return place is not None

    def splice(self, row: Row, line: Line) -> bool:
        """Read a row of the second shape: two runs in a sleeve, or what is said of trunks alone."""
        place = self.place(row)
        sleeve = self.cells.number(self.cell(row, "sleeve"), "the sleeve")
        built = self.cells.yes(self.cell(row, "built"))
        if sleeve is not None and sleeve < 1:
            self.cells.wrong(self.cell(row, "sleeve"), "sleeves are counted from 1", "1 or more")
        sides = {side: self.side(row, side, line) for side in SIDES}
        a, b = sides["from"], sides["to"]
        if a is None or b is None:
            self.half(row, sides, place, line)
            return False
        if not a and not b:
            if place is not None:
                self.cells.wrong(self.first(row, "from"), "a tray without fibres", "fibres on both sides")
            return place is None
        if not a or not b:
            side = "from" if not a else "to"
            self.cells.wrong(self.first(row, side), f"the '{side}' side of a splice is missing", "fibres on both sides")
            return False
        one, other = a[0], b[0]
        if one.count != other.count:
            text = f"{one} has {one.count} fibres and {other} has {other.count}"
            self.cells.wrong(self.first(row, "to", "fibres"), text, "as many fibres on both sides")
            return False
        if not self.count(row, one.count):
            return False
        if self.twice((one, other), self.first(row, "from", "fibres"), line):
            return True
        self.made.splices.append(SpliceRow(one, other, place, sleeve, line))
        end = self.end(row, place)
        for run in (one, other):
            self.made.entries.append(Entry(run, place, end, (line,), built, leg=False))
        return place is not None

    def lost(self, trunk: Cell, fibres: Cell, place: Place | None) -> None:
        """Keep what lies in a tray and is not in the job any more, as far as its fibres are written as numbers."""
        if self.cells.lenient and place is not None and trunk.text:
            span = fibres.text.rpartition(":")[2]
            with suppress(ValueError):
                self.made.gone_runs.append(RunAt(trunk.text, *parse_span(span), place))

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
        whole, fibres, name = (self.cell(row, key) for key in (side, f"{side} fibres", f"{side} trunk"))
        if not whole.text and ":" in fibres.text:
            whole, fibres = fibres, fibres.part("")
        numbers = [self.cell(row, f"{side} {part}") for part in PARTS]
        colours = [self.cell(row, f"{side} {part} colour") for part in PARTS]
        told = bool(whole.text or fibres.text) or any(cell.text for cell in (*numbers, *colours))
        ways = any(self.cell(row, f"{side} {key}").text for key in self.ways[f"{side} "])
        if not told and not name.text and not ways:
            return []
        trunk, rest = self.trunk(name, whole, f"{side} trunk")
        if trunk is None:
            return None
        alike = self.cable(self.cell(row, f"{side} cable"), name, trunk)
        self.way(row, trunk, f"{side} ", line)
        if not told and ways:
            return []
        if rest.text:
            run = self.cells.run(rest, trunk)
            known = whole
        else:
            tube, ribbon, seat = (
                one if one.text or not other.text else other for one, other in zip(numbers, colours, strict=True)
            )
            run = self.cells.run_at(trunk, tube, ribbon, fibres if fibres.text else seat)
            known = next((cell for cell in (fibres, seat, ribbon, tube) if cell.text), name)
        if run is None or not alike or not self.parts.fit(trunk, run, known, numbers, colours):
            return None
        return [run]

    def trunk(self, name: Cell, whole: Cell, column: str) -> tuple[Trunk | None, Cell]:
        """Read the trunk of a row or side, which may stand before its fibres; and give the fibres without it."""
        text, colon, rest = whole.text.partition(":")
        if colon:
            within = whole.part(text.strip())
            whole = whole.part(rest.strip())
            if name.text and within.text.casefold() != name.text.casefold():
                self.cells.contradict(name, within, "the trunk is not that of the fibres")
                return None, whole
            name = within
        elif whole.text and not name.text and column not in self.at:
            self.cells.wrong(whole, "the trunk or the fibres are missing", "trunk:fibres, such as N1:blue/orange/1-12")
            return None, whole
        trunk = self.cells.trunk(name, self.last[column])
        if trunk is not None:
            self.last[column] = trunk.id
            self.known_trunks = True
        elif name.text:
            self.strange.append(name)
        return trunk, whole

    def cable(self, cell: Cell, name: Cell, trunk: Trunk) -> bool:
        """Look whether a column of cables beside the trunks names another trunk."""
        if cell.text not in self.made.job.trunk_by_id or cell.text in {trunk.id, trunk.cable.id}:
            return True
        self.cells.contradict(cell, name, "the cable is another trunk than the row's own")
        return False

    def count(self, row: Row, count: int) -> bool:
        """Hold the number of splices that a row gives against its fibres."""
        cell = self.cell(row, "count")
        if not cell.text.isdigit() or int(cell.text) == count:
            return True
        self.cells.contradict(cell, self.first(row, "from", "fibres"), f"the row splices {count} fibres")
        return False

    def first(self, row: Row, side: str, *parts: str) -> Cell:
        """Give the cell to blame on a side: that of a part, or the first that the table has."""
        columns = [*(f"{side} {part}" for part in parts), side, f"{side} fibres", f"{side} seat", f"{side} trunk"]
        return next(self.cell(row, column) for column in columns if column in self.at)

    def place(self, row: Row) -> Place | None:
        """Read the tray place; a tray, and a stack with its position, must not say different things."""
        stack, position, tray = (self.cell(row, column) for column in ("stack", "position", "tray"))
        texts = (stack.text, position.text, tray.text)
        if texts in self.places:
            return self.places[texts]
        faults, gone = len(self.cells.faults), len(self.cells.gone)
        none = Cell("", row)
        place = self.cells.place(none, none, tray) if tray.text else self.cells.place(stack, position, tray)
        if tray.text and place is not None and (stack.text or position.text):
            place = self.agreed(place, stack, position, tray)
        if len(self.cells.faults) == faults and len(self.cells.gone) == gone and not row.wrong:
            self.places[texts] = place
        return place

    def agreed(self, place: Place, stack: Cell, position: Cell, tray: Cell) -> Place | None:
        """Hold a tray against a stack, a position or both; None where they differ."""
        number = self.cells.number(position, "the position") if position.text else place.position
        if stack.text and stack.text.casefold() != place.stack.casefold():
            self.cells.contradict(tray, stack, f"the tray is {place} and the stack another")
        elif number is not None and number != place.position:
            self.cells.contradict(tray, position, f"the tray is {place} and the position another")
        elif number is not None:
            return place
        return None

    def end(self, row: Row, place: Place | None) -> str | None:
        cell = self.cell(row, "end")
        if place is None or not cell.text:
            return None
        stack = self.made.job.enclosure.stack_by_id.get(place.stack)
        ends = [end.id for end in stack.ends] if stack is not None else []
        return self.cells.name(cell, ends, f"end of stack {place.stack}")

    def way(self, row: Row, trunk: Trunk, prefix: str, line: Line) -> None:
        """Take over what a row says of a trunk's way; two rows may not say different things."""
        for key in self.ways[prefix]:
            cell = self.cell(row, prefix + key)
            if not cell.text:
                continue
            value: str | int | None
            if key == "port":
                value = self.cells.name(cell, self.made.job.enclosure.port_by_id, "port")
            elif key == "travel":
                value = self.cells.travel(cell)
            elif key == "divide_at":
                value = self.cells.divided_at(cell)
            else:
                value = self.cells.number(cell, "the number of loops")
            if value is None:
                self.made.lost_ways.add(trunk.id)
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

    def finish(self) -> Handmade:
        made, cells = self.made, self.cells
        if self.strange and not self.known_trunks:
            raise _another_job(made.job, self.strange)
        if made.shape == "runs":
            made.runs = made.entries
            made.entries = entries_of(made, cells)
        made.lost = sorted({number for number in made.lost if number not in self.stray_rows})
        made.gone = cells.gone
        made.also = cells.also
        faults = {f for f in cells.faults if (f.line, f.column, f.where) not in self.stray_spots}
        made.faults = sorted(faults, key=_in_file_order)
        return made


def _another_job(job: Job, strange: list[Cell]) -> InputError:
    """Say in one line that a table is about other trunks than the job."""
    names = list(dict.fromkeys(cell.text for cell in strange))
    near = next(filter(None, (did_you_mean(name, job.trunk_by_id) for name in names)), "")
    return InputError(
        [
            strange[0].spot.fault(
                "no trunk of this table is in the job",
                found=", ".join(describe(name) for name in names[:12]),
                allowed=", ".join(list(job.trunk_by_id)[:20]),
                hint=near or "name the job that the table was made for",
            )
        ]
    )


def _merged(raw: bytes, source: str, columns: int, head: int) -> list[tuple[Fault, range]]:
    """Tell merged cells under the headers, each with the rows that lost their value by it."""
    return [
        (Spot(source, where=first).fault("merged cells", found=ref, hint=SAVE_AGAIN), rows)
        for first, ref, rows in merged_cells(raw, columns)
        if rows.stop > head + 1
    ]


def _in_file_order(fault: Fault) -> tuple[int, int, str, str]:
    """Order faults as the eye goes: by row, then by column."""
    letters = fault.where.rstrip("0123456789")
    row = fault.line or int(fault.where[len(letters) :] or 0)
    return row, fault.column or len(letters), letters, str(fault)
