"""Reading the rows of a hand-made table: their decisions and their faults."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from functools import partial
from operator import itemgetter
from typing import TypeVar

from trayopt.domain.decision import RunAt
from trayopt.domain.hardware import Place
from trayopt.domain.ranges import Run, parse_span
from trayopt.domain.said import Said, said
from trayopt.domain.trunk import Trunk
from trayopt.formats.cells import Cell, CellFault, Row
from trayopt.formats.locate import describe
from trayopt.review.alike import Again, Alike
from trayopt.review.cells import Cells
from trayopt.review.columns import PARTS, SIDES, Headers
from trayopt.review.handmade import Decided, Entry, Handmade, Line, SpliceRow, Spots, Unread, row_of_sheet
from trayopt.review.parts import Parts
from trayopt.review.row_faults import another_job, in_file_order
from trayopt.review.splices import entries_of
from trayopt.review.strays import Strays

T = TypeVar("T")
PLACE = ("stack", "position", "tray")
WAYS = ("port", "travel", "loops", "divide_at", "ribbons")
NUMBERS = {side: [f"{side} {part}" for part in PARTS] for side in SIDES}
COLOURS = {side: [f"{side} {part} colour" for part in PARTS] for side in SIDES}


class RowReader:
    """Reads the rows of a table one by one into a ``Handmade``; equal cells are read once.

    Parameters
    ----------
    made
        The result, which is filled in.
    cells, headers
        The reader of single cells, and the meaning of the columns.
    faults
        Faults of single cells, from the reading of the file.
    """

    def __init__(self, made: Handmade, cells: Cells, headers: Headers, faults: list[CellFault]) -> None:
        self.made, self.cells, self.headers = made, cells, headers
        self.at = headers.at
        self.cells.take(faults)
        self.parts = Parts(cells)
        self.strays = Strays(made.job, self.at)
        self.stray_rows: set[tuple[str, int]] = set()
        """Sheet and line of the rows that are not part of the plan."""
        self.read = sorted(i for places in self.at.values() for i in places)
        self.filled = itemgetter(*self.read, self.read[0])
        self.twins = [column for column, places in self.at.items() if len(places) > 1]
        self.ways = {
            prefix: [key for key in WAYS if prefix + key in self.at] for prefix in ("", *(f"{side} " for side in SIDES))
        }
        self.blamed: dict[str, str] = {}
        self.seen: dict[object, tuple[Line, Row]] = {}
        self.repeats: dict[object, Said] = {}
        """What is said of a row that repeats a row of ``seen``."""
        self.again: dict[object, Again] = {}
        self.last = dict.fromkeys(("trunk", *(f"{side} trunk" for side in SIDES)), "")
        self.strange: list[Cell] = []
        self.known_trunks = False
        self.place = self.alike(self._place, "stack", "position", "tray")
        self.built = self.alike(lambda row, _: cells.yes(self.cell(row, "built")), "built")
        self.cut = self.alike(lambda row, _: cells.number(self.cell(row, "cut"), "the cut length"), "cut")
        self.sleeve = self.alike(self._sleeve, "sleeve")
        self.end = self.alike(self._end, *(("stack", "position", "tray", "end") if "end" in self.at else ()))
        self.legs = self.alike(self._leg, "trunk", "fibres", "leg", "cable", *PLACE, *WAYS)
        self.sides = {side: self.alike(partial(self._side, side), *self.of_side(side)) for side in SIDES}

    def alike(self, read: Callable[[Row, Line], T], *columns: str) -> Alike[T]:
        """Make a reader that keeps its results for rows that are equal in some columns."""
        return Alike(self.cells, [i for column in columns for i in self.at.get(column, ())], read)

    def of_side(self, side: str) -> list[str]:
        """Return the columns of one side of a splice."""
        return [column for column in self.at if column == side or column.startswith(f"{side} ")]

    def cell(self, row: Row, column: str) -> Cell:
        """Return the cell of a column; of several headers for it, the first filled cell; an empty cell if there is none."""
        places = self.at.get(column)
        if places is None:
            return Cell("", row)
        texts = row.texts
        i = places[0]
        if len(places) > 1:
            i = next((k for k in places if texts[k]), i)
        return Cell(texts[i], row, i)

    def row(self, row: Row) -> None:
        """Read a row: a leg, a run of splices, the way of a trunk alone, or a row that is not part of the plan."""
        texts = row.texts
        again = self.again.get(row.said) if self.again and not row.wrong else None
        if again is not None:
            self.cells.next_row()
            self.made.lines.append(self.line(row))
            for telling in again.tellings:
                self.cells.tell(row, telling)
            self.last |= again.last
            return
        if not any(self.filled(texts)):
            if any(texts[len(self.headers.texts) :]):
                self.stray(row)
            return
        if self.strays.is_stray(row):
            self.stray(row)
            return
        self.cells.next_row()
        line = self.line(row)
        self.made.lines.append(line)
        faults, entries = len(self.cells.faults), len(self.made.entries)
        spoilt = bool(row.wrong) and any(i in row.wrong for i in self.read)
        read = self.leg if self.headers.shape == "legs" else self.splice
        is_read = (not self.twins or all([self.twin(row, column) for column in self.twins])) and read(row, line)
        if not is_read and (spoilt or len(self.cells.faults) > faults):
            del self.made.entries[entries:]
            self.made.lost.append(row.line)

    def line(self, row: Row) -> Line:
        """Return the line of a row: its number, and the places of its cells."""
        return Line(row.line, Spots(row, self.at), row_of_sheet(row.line, row.sheet))

    def stray(self, row: Row) -> None:
        """Note a row that is not part of the plan; faults in it are not damage."""
        self.stray_rows.add((row.sheet, row.line))
        text = describe(", ".join(text for text in row.texts if text))
        spot = row.spot_of(next(i for i, text in enumerate(row.texts) if text))
        words = f"this row is not part of the plan, and is not read: {text}"
        mend = "delete it; if it was meant, name the trunk, its fibres and their tray"
        at = spot.where or f"{spot.line}:{spot.column}"
        self.made.unread.append(Unread(Line(row.line), at, at, words, mend))

    def twin(self, row: Row, column: str) -> bool:
        """Compare the cells under two headers for one column; False if they differ."""
        filled = [i for i in self.at[column] if i < len(row.texts) and row.texts[i]]
        for i in filled[1:]:
            if row.texts[i].casefold() != row.texts[filled[0]].casefold():
                one, other = (describe(self.headers.texts[k]) for k in (filled[0], i))
                text = said("the columns {one} and {other} mean the same", one=one, other=other)
                self.cells.contradict(row.at(i), row.at(filled[0]), text)
                return False
        return True

    def leg(self, row: Row, line: Line) -> bool:
        """Read a row of a table of legs: a leg, or the way of a trunk alone; False if the row is wrong or gives no tray."""
        place, built, cut = self.place(row, line), self.built(row, line), self.cut(row, line)
        told, trunk = self.legs(row, line)
        if trunk is not None:
            self.last["trunk"] = trunk.id
        if isinstance(told, bool):
            return told
        if self.twice((told, place), row, line):
            return True
        self.made.entries.append(Entry(told, place, self.end(row, line), (line,), built, cut))
        return place is not None

    def _leg(self, row: Row, line: Line) -> tuple[Run | bool, Trunk | None]:
        """Read the fibres of a leg, and its trunk; True for a row with only the way of a trunk, False for a wrong row."""
        place, fibres = self.place(row, line), self.cell(row, "fibres")
        trunk, fibres = self.trunk(self.cell(row, "trunk"), fibres, "trunk")
        if trunk is None:
            self.lost(self.cell(row, "trunk"), self.cell(row, "fibres"), place)
            return False, None
        alike = self.cable(self.cell(row, "cable"), self.cell(row, "trunk"), trunk)
        self.way(row, trunk, "", line)
        if not fibres.text and place is None and any(self.cell(row, key).text for key in WAYS):
            return True, trunk
        run = self.cells.run(fibres, trunk)
        if run is None:
            self.lost(self.cell(row, "trunk"), fibres, place)
        if run is None or not alike or not self.parts.leg(self.cell(row, "leg"), fibres, trunk, run):
            return False, trunk
        return run, trunk

    def splice(self, row: Row, line: Line) -> bool:
        """Read a row of a list of splices: two runs in a sleeve, or only the ways of trunks."""
        place, sleeve, built = self.place(row, line), self.sleeve(row, line), self.built(row, line)
        a, b = self.side(row, "from", line), self.side(row, "to", line)
        if a is None or b is None:
            self.half(row, {"from": a, "to": b}, place, line)
            return False
        if not a and not b:
            if place is not None:
                self.cells.wrong(self.first(row, "from"), said("a tray without fibres"), said("fibres on both sides"))
            return place is None
        if not a or not b:
            side = "from" if not a else "to"
            text = said("the '{side}' side of a splice is missing", side=side)
            self.cells.wrong(self.first(row, side), text, said("fibres on both sides"))
            return False
        one, other = a[0], b[0]
        if one.count != other.count:
            cell = self.first(row, "to", "fibres")
            self.cells.wrong(cell, partial(_unequal, one, other), said("as many fibres on both sides"))
            return False
        if not self.count(row, one.count):
            return False
        if self.twice((one, other), row, line):
            return True
        self.made.splices.append(SpliceRow(one, other, place, sleeve, line))
        end = self.end(row, line)
        for run in (one, other):
            self.made.entries.append(Entry(run, place, end, (line,), built, leg=False))
        return place is not None

    def lost(self, trunk: Cell, fibres: Cell, place: Place | None) -> None:
        """Keep a run in a tray that is not in the job any more, if its fibres are written as numbers."""
        if self.cells.lenient and place is not None and trunk.text:
            span = fibres.text.rpartition(":")[2]
            with suppress(ValueError):
                self.made.gone_runs.append(RunAt(trunk.text, *parse_span(span), place))

    def half(self, row: Row, sides: dict[str, list[Run] | None], place: Place | None, line: Line) -> None:
        """Keep both sides of a splice if the job does not have one of them any more."""
        if not self.cells.lenient:
            return
        for side, runs in sides.items():
            if runs is None:
                whole = self.cell(row, side)
                fibres = whole if whole.text else self.cell(row, f"{side} fibres")
                name = self.cell(row, f"{side} trunk")
                self.lost(name if name.text else whole.part(whole.text.partition(":")[0]), fibres, place)
            elif self.cells.lenient and place is not None:
                self.made.entries += [Entry(run, place, None, (line,), leg=False) for run in runs]

    def side(self, row: Row, side: str, line: Line) -> list[Run] | None:
        """Read one side of a splice row: a list with its run, an empty list for an empty side, None for a wrong side."""
        runs, trunk = self.sides[side](row, line)
        if trunk is not None:
            self.last[f"{side} trunk"] = trunk.id
        return runs

    def _side(self, side: str, row: Row, line: Line) -> tuple[list[Run] | None, Trunk | None]:
        """Read one side of a splice row, and its trunk."""
        whole, fibres, name = (self.cell(row, key) for key in (side, f"{side} fibres", f"{side} trunk"))
        if not whole.text and ":" in fibres.text:
            whole, fibres = fibres, fibres.part("")
        numbers = [self.cell(row, column) for column in NUMBERS[side]]
        colours = [self.cell(row, column) for column in COLOURS[side]]
        told = bool(whole.text or fibres.text) or any([cell.text for cell in (*numbers, *colours)])
        ways = any([self.cell(row, f"{side} {key}").text for key in self.ways[f"{side} "]])
        if not told and not name.text and not ways:
            return [], None
        trunk, rest = self.trunk(name, whole, f"{side} trunk")
        if trunk is None:
            return None, None
        alike = self.cable(self.cell(row, f"{side} cable"), name, trunk)
        self.way(row, trunk, f"{side} ", line)
        if not told and ways:
            return [], trunk
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
            return None, trunk
        return [run], trunk

    def trunk(self, name: Cell, whole: Cell, column: str) -> tuple[Trunk | None, Cell]:
        """Read the trunk of a row or side, which may be written before its fibres; return it and the fibres without it."""
        text, colon, rest = whole.text.partition(":")
        if colon:
            within = whole.part(text.strip())
            whole = whole.part(rest.strip())
            if name.text and within.text.casefold() != name.text.casefold():
                self.cells.contradict(name, within, said("the row names one trunk and its fibres another"))
                return None, whole
            name = within
        elif whole.text and not name.text and column not in self.at:
            allowed = said("trunk:fibres, such as N1:blue/orange/1-12")
            self.cells.wrong(whole, said("the trunk or the fibres are missing"), allowed)
            return None, whole
        trunk = self.cells.trunk(name, self.last[column])
        if trunk is not None:
            self.last[column] = trunk.id
            self.known_trunks = True
        elif name.text:
            self.strange.append(name)
        return trunk, whole

    def cable(self, cell: Cell, name: Cell, trunk: Trunk) -> bool:
        """Report a cable column that names another trunk than the row; False if it does."""
        if cell.text not in self.made.job.trunk_by_id or cell.text in {trunk.id, trunk.cable.id}:
            return True
        self.cells.contradict(cell, name, said("the cable of the row is not its trunk"))
        return False

    def count(self, row: Row, count: int) -> bool:
        """Compare the number of splices that a row gives with its fibres; False if they differ."""
        cell = self.cell(row, "count")
        if not cell.text.isdigit() or int(cell.text) == count:
            return True
        self.cells.contradict(
            cell,
            self.first(row, "from", "fibres"),
            lambda: said("the row splices {n} fibre|the row splices {n} fibres", n=count),
        )
        return False

    def first(self, row: Row, side: str, part: str = "") -> Cell:
        """Return the cell to blame on a side: the cell of a part, or of the first column that the table has."""
        key = f"{side} {part}"
        if key not in self.blamed:
            columns = (key, side, f"{side} fibres", f"{side} seat", f"{side} trunk")
            self.blamed[key] = next(column for column in columns if column in self.at)
        return self.cell(row, self.blamed[key])

    def _place(self, row: Row, line: Line) -> Place | None:
        """Read the tray place of a row; a tray must agree with a stack and a position in the same row."""
        tray = self.cell(row, "tray")
        if not tray.text:
            return self.cells.place(self.cell(row, "stack"), self.cell(row, "position"))
        place = self.cells.place_of_tray(tray)
        stack, position = self.cell(row, "stack"), self.cell(row, "position")
        if place is not None and (stack.text or position.text):
            return self.cells.agreed(place, stack, position, tray)
        return place

    def _sleeve(self, row: Row, line: Line) -> int | None:
        cell = self.cell(row, "sleeve")
        sleeve = self.cells.number(cell, said("the sleeve"))
        if sleeve is not None and sleeve < 1:
            self.cells.wrong(cell, said("sleeves are counted from 1"), said("1 or more"))
        return sleeve

    def _end(self, row: Row, line: Line) -> str | None:
        cell = self.cell(row, "end")
        place = self.place(row, line) if cell.text else None
        if place is None:
            return None
        stack = self.made.job.enclosure.stack_by_id.get(place.stack)
        ends = [end.id for end in stack.ends] if stack is not None else []
        return self.cells.name(cell, ends, said("there is no such end of stack {stack}", stack=place.stack))

    def way(self, row: Row, trunk: Trunk, prefix: str, line: Line) -> None:
        """Take over the way of a trunk from a row; it must agree with the rows before."""
        for key in self.ways[prefix]:
            cell = self.cell(row, prefix + key)
            if not cell.text:
                continue
            value = self.cells.way(key, cell, trunk)
            if value is None:
                self.made.lost_ways.add(trunk.id)
                continue
            known = self.made.ways.setdefault(trunk.id, {}).setdefault(key, Decided(value, line))
            if known.value != value:
                self.cells.wrong(
                    cell,
                    said("{key} of trunk {trunk} is given twice, and differs", key=key, trunk=trunk.id),
                    said("{value}, as in {line}", value=known.value, line=known.line.words),
                    said("a trunk has one way for all its legs"),
                )

    def twice(self, key: object, row: Row, line: Line) -> bool:
        """Report a row that repeats an earlier row; True if it does."""
        before, first = self.seen.setdefault(key, (line, row))
        if before is line:
            return False
        cell = self.first(row, "from", "fibres") if self.headers.shape == "runs" else self.cell(row, "fibres")
        text = self.repeats.get(key)
        if text is None:
            text = self.repeats[key] = said("this row repeats {line}", line=before.words)
        self.cells.wrong(cell, text, hint=said("delete one of the two rows"))
        if first.texts != row.texts or row.wrong:
            return True
        told = [telling for telling in self.cells.tellings if telling is not None]
        if len(told) == len(self.cells.tellings):
            columns = ("trunk",) if self.headers.shape == "legs" else tuple(f"{side} trunk" for side in SIDES)
            self.again[row.said] = Again(told, {column: self.last[column] for column in columns})
        return True

    def finish(self) -> Handmade:
        """Return the result, with its faults in the order of the file."""
        made, cells = self.made, self.cells
        if self.strange and not self.known_trunks:
            raise another_job(made.job, self.strange)
        if made.shape == "runs":
            made.runs = made.entries
            made.entries = entries_of(made, cells)
        strays = {line for _, line in self.stray_rows}
        made.lost = sorted({number for number in made.lost if number not in strays})
        made.gone = cells.gone
        made.damage = in_file_order(cells.faults, self.stray_rows)
        return made


def _unequal(one: Run, other: Run) -> Said:
    """Say that two sides of a splice have different numbers of fibres."""
    return said(
        "{one} has {n} fibre and {other} has {count}|{one} has {n} fibres and {other} has {count}",
        one=one,
        n=one.count,
        other=other,
        count=other.count,
    )
