"""Reopen sheet: what must be lifted to reach a tray, which circuits feel it, and how often it can be spliced again."""

from __future__ import annotations

from trayopt.crewsheets.book import Book, place_name
from trayopt.crewsheets.readings import Readings
from trayopt.crewsheets.tables import Cell, Column, Table
from trayopt.rules.exposed import Exposed

REOPEN = (
    Column("tray"), Column("lift"), Column("lifted", "count"), Column("own_circuits"), Column("disturbed"),
    Column("disturbed_splices", "count"), Column("tries_left", "count"),
)  # fmt: skip


def lifted(book: Book, tray: int) -> tuple[int, ...]:
    """Trays over a tray in its stack, outermost first: the order in which they are lifted."""
    row = book.trays[tray]
    over = [i for place, i in book.tray_index.items() if place.stack == row.stack and place.position > row.position]
    return tuple(sorted(over, key=lambda i: -book.trays[i].position))


def tries(book: Book) -> int:
    """How often a fresh splice can be made again from what is kept for it."""
    return Exposed().lengths(book.job).resplice_mm // book.settings.resplice.each_mm


def disturbed(book: Book, tray: int) -> dict[str, int]:
    """Splices by join in the trays that are lifted."""
    found: dict[str, int] = {}
    for i in lifted(book, tray):
        for name, count in book.circuits(i).items():
            found[name] = found.get(name, 0) + count
    return found


def reopen_table(book: Book, readings: Readings) -> Table:
    """Give a row for every tray in use, by stack, then position; a fibre's tray is in the list of fibres."""
    rows: list[tuple[Cell, ...]] = []
    stacks = [stack.id for stack in book.job.enclosure.stacks]
    order = sorted(range(len(book.trays)), key=lambda i: (stacks.index(book.trays[i].stack), book.trays[i].position))
    for i in order:
        over, felt = lifted(book, i), disturbed(book, i)
        rows.append(
            (
                place_name(book.trays[i]),
                ", ".join(place_name(book.trays[k]) for k in over),
                len(over),
                _counts(book.circuits(i)),
                _counts(felt),
                sum(felt.values()),
                max(0, tries(book) - used(book, readings, i)),
            )
        )
    return Table("reopen", REOPEN, rows)


def used(book: Book, readings: Readings, tray: int) -> int:
    """Give the most re-splices made so far at one sleeve of a tray."""
    runs = [sleeve.a for sleeve in book.tray_sleeves[tray]]
    return max((readings.tries(run.trunk, run.first, run.last) for run in runs), default=0)


def _counts(circuits: dict[str, int]) -> str:
    return ", ".join(f"{name} ({count})" for name, count in circuits.items())
