"""Reopen sheet: trays to be lifted to reach a tray, circuits that are disturbed, and how often it can be spliced again."""

from __future__ import annotations

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.figures import place_name
from trayopt.crewsheets.hands import Hands, coil_of
from trayopt.crewsheets.order import acts_of
from trayopt.crewsheets.passing import spans
from trayopt.crewsheets.readings import Readings
from trayopt.crewsheets.step_facts import counted
from trayopt.crewsheets.tables import Cell, Column, Table
from trayopt.crewsheets.units import Teller
from trayopt.rules.exposed import Exposed

REOPEN = (
    Column("tray"), Column("together"), Column("lift"), Column("lifted", "count"), Column("own_circuits"), Column("disturbed"),
    Column("disturbed_splices", "count"), Column("tries_left", "count"),
)  # fmt: skip


def together(book: Book, tray: int) -> list[str]:
    """Return the trays that come to the bench with a tray, because opened tubes tie them."""
    return [place_name(book.trays[i]) for i in book.group_of[tray] if i != tray]


def tries(book: Book) -> int:
    """Return how often a new splice can be made again from the length that is kept for it."""
    return Exposed().parameters(book.job).resplice_mm // book.settings.resplice.each_mm


def disturbed(book: Book, tray: int) -> dict[str, int]:
    """Count the splices, by join, in the trays that are lifted and in the trays that come out with a tray."""
    found: dict[str, int] = {}
    for i in (*book.lifted(tray), *(i for i in book.group_of[tray] if i != tray)):
        for name, count in book.circuits(i).items():
            found[name] = found.get(name, 0) + count
    return found


def reopen_table(book: Book, readings: Readings, tell: Teller) -> Table:
    """Return a row for every used tray, by stack, then position; the list of fibres has the tray of a fibre."""
    rows: list[tuple[Cell, ...]] = []
    stacks = [stack.id for stack in book.job.enclosure.stacks]
    order = sorted(range(len(book.trays)), key=lambda i: (stacks.index(book.trays[i].stack), book.trays[i].position))
    for i in order:
        over, felt, name = book.lifted(i), disturbed(book, i), place_name(book.trays[i])
        others = together(book, i)
        rows.append(
            (
                name,
                tell("reopen.together", name=name, others=tell.words.listed(others)) if others else "",
                ", ".join(place_name(book.trays[k]) for k in over),
                len(over),
                counted(book.circuits(i), tell),
                counted(felt, tell),
                sum(felt.values()),
                tries_left(book, readings, i),
            )
        )
    return Table("reopen", REOPEN, rows)


PASSING = (
    Column("trunk"), Column("uncut"), Column("window", "cut"), Column("loops", "count"), Column("ways"), Column("over"),
)  # fmt: skip


def passing_table(book: Book, tell: Teller) -> Table:
    """Return a row for every trunk with uncut tubes: their way, and everything over them in the finished box."""
    hands = Hands(book)
    for act in acts_of(book):
        hands.do(act)
    rows: list[tuple[Cell, ...]] = []
    for item in book.passing:
        if item.uncut:
            over = [_over(book, name, tell) for name in hands.over(item.name)[::-1]]
            guides = " → ".join(item.guides)
            rows.append((item.trunk, item.numbers, item.window_mm, item.loops, guides, ", ".join(over)))
    return Table("passing", PASSING, rows)


def _over(book: Book, name: str, tell: Teller) -> str:
    """Return the name, for a reader, of something on the track; a coil is described by its content."""
    trunk = next((trunk for trunk in book.ways if coil_of(trunk) == name), None)
    if trunk is None:
        return name
    capped = [cut.unit for item in book.passing for cut in item.cuts if trunk in cut.capped]
    if capped:
        return tell("reopen.capped", n=len(capped), trunk=trunk, units=spans(capped))
    return tell("reopen.coiled", trunk=trunk)


def tries_left(book: Book, readings: Readings, tray: int) -> int:
    """Return how often every splice of a tray can be made again, by the record of built legs or else by the kept length."""
    before = [book.tries_before[leg.leg] for leg in book.tray_legs[tray] if leg.leg in book.tries_before]
    return max(0, min([tries(book), *before]) - used(book, readings, tray))


def used(book: Book, readings: Readings, tray: int) -> int:
    """Return the greatest number of re-splices so far at a sleeve of a tray."""
    runs = [sleeve.a for sleeve in book.tray_sleeves[tray]]
    return max((readings.tries(run.trunk, run.first, run.last) for run in runs), default=0)
