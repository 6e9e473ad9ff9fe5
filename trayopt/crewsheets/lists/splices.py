"""Splice schedule: the splices sleeve by sleeve and fibre by fibre, with TIA-598 colours on both sides."""

from __future__ import annotations

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.figures import place_name
from trayopt.crewsheets.tables import Cell, Column, Table
from trayopt.crewsheets.units import Teller
from trayopt.domain.ranges import Run


def _side(side: str, *, single: bool) -> tuple[Column, ...]:
    return (
        Column(f"{side}_run"), Column(f"{side}_subunit", "count"), Column(f"{side}_subunit_colour"),
        Column(f"{side}_ribbon", "count"), Column(f"{side}_ribbon_colour"),
        Column(f"{side}_fibre", "count" if single else "text"), Column(f"{side}_fibre_colour"),
    )  # fmt: skip


SLEEVES = (
    Column("batch", "count"), Column("tray"), Column("sleeve", "count"), Column("splices", "count"), Column("circuit"),
    *_side("a", single=False), *_side("b", single=False),
)  # fmt: skip
FIBRES = (
    Column("batch", "count"), Column("tray"), Column("sleeve", "count"), Column("circuit"),
    *_side("a", single=True), *_side("b", single=True),
)  # fmt: skip


def splices_table(book: Book, tell: Teller) -> Table:
    """Return a row for every sleeve to be made; a sleeve with parts of several ribbons has a row for each part."""
    rows = []
    for sleeve in book.sleeves_to_make:
        for a, b in book.in_ribbons(sleeve):
            names = list(dict.fromkeys(book.join_of(a.trunk, fibre) for fibre in range(a.first, a.last + 1)))
            rows.append(
                (
                    book.batch_of[sleeve.tray],
                    place_name(book.trays[sleeve.tray]),
                    sleeve.number,
                    a.count,
                    ", ".join(names),
                    *_ribbon(book, tell, a),
                    *_ribbon(book, tell, b),
                )
            )
    return Table("splices", SLEEVES, rows)


def fibres_table(book: Book, tell: Teller) -> Table:
    """Return a row for every splice to be made."""
    rows = []
    colours = [tell.words.colour(i) for i in range(1, 1 + max((s.ribbon_fibres for s in book.job.subunits), default=1))]
    for sleeve in book.sleeves_to_make:
        place, batch = place_name(book.trays[sleeve.tray]), book.batch_of[sleeve.tray]
        for part in book.in_ribbons(sleeve):
            heads = [_head(book, tell, run) for run in part]
            seats = [book.seat(run.trunk, run.first).fibre for run in part]
            for i in range(part[0].count):
                sides: list[Cell] = []
                for run, head, seat in zip(part, heads, seats, strict=True):
                    sides += [f"{run.trunk}:{run.first + i}", *head, seat + i, colours[seat + i - 1]]
                rows.append((batch, place, sleeve.number, book.join_of(part[0].trunk, part[0].first + i), *sides))
    return Table("fibres", FIBRES, rows)


def _head(book: Book, tell: Teller, run: Run) -> tuple[Cell, ...]:
    """Return the cells for subunit and ribbon of a run, with their colours."""
    seat = book.seat(run.trunk, run.first)
    return seat.subunit, tell.words.colour(seat.subunit), seat.ribbon, tell.words.colour(seat.ribbon)


def _ribbon(book: Book, tell: Teller, run: Run) -> tuple[Cell, ...]:
    """Return the cells for one side of a sleeve: run, subunit, ribbon, and the fibres in the ribbon."""
    first, last = book.seat(run.trunk, run.first).fibre, book.seat(run.trunk, run.last).fibre
    return (
        str(run),
        *_head(book, tell, run),
        reach(first, last),
        reach(tell.words.colour(first), tell.words.colour(last)),
    )


def reach(first: object, last: object) -> str:
    """Write ``1 … 12``, which no spreadsheet takes for a date; a single value if both are the same."""
    return str(first) if first == last else f"{first} … {last}"
