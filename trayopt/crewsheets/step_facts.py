"""What steps say in one phrase: circuits, units, guides, parked runs and tied trays."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.figures import place_name
from trayopt.crewsheets.marks import Marks
from trayopt.crewsheets.travellers import Traveller
from trayopt.crewsheets.units import Teller
from trayopt.domain.assignment import Way
from trayopt.domain.plan import PlanLeg
from trayopt.domain.ranges import parse_run


def trial_note(marks: Marks, tell: Teller) -> str:
    """Write whether lengths are safe before a trial route."""
    outer = tell.length(marks.book.job.enclosure.outer_lay_mm)
    key = "strip.safe" if marks.safe else "strip.unsafe"
    return tell(key, allowance=tell.length(marks.lengths.allowance_mm), outer=outer)


def tied_words(book: Book, tell: Teller, tray: int) -> str:
    """Write with which trays a tray comes to the bench, and which opened tubes tie them; empty if it comes alone."""
    others = [place_name(book.trays[i]) for i in book.group_of[tray] if i != tray]
    if not others:
        return ""
    tubes = list(dict.fromkeys(name for i in book.group_of[tray] for name in book.tying(i)))
    name = place_name(book.trays[tray])
    return tell("tray.tied", n=len(tubes), name=name, others=tell.words.listed(others), tubes=tell.words.listed(tubes))


def units_of(book: Book, trunk: str) -> list[int]:
    """Return the subunits of a trunk to be identified: all of a new trunk, or those with new legs of a trunk in service."""
    if trunk in book.built_trunks:
        return sorted({leg.subunit for leg in book.work.get(trunk, [])})
    if any(trunk == item.ends[1] for item in book.passing):
        return []  # the tubes of a window are identified once, with its first end
    return [unit.number for unit in book.job.trunk_by_id[trunk].units]


def counted(circuits: Mapping[str, int], tell: Teller) -> str:
    """Write circuits with their splices: ``east (72), west (24)``; a join that the job only numbers is ``join 0 (72)``."""
    names = [tell("tray.join", name=name) if name.isdigit() else name for name in circuits]
    return ", ".join(f"{name} ({count})" for name, count in zip(names, circuits.values(), strict=True))


def named(book: Book, groups: Iterable[Sequence[PlanLeg]]) -> str:
    """Write the names of groups of legs; groups that follow each other fibre by fibre, without a gap, become a span."""
    runs: list[list[tuple[str, int, int]]] = []
    for legs in groups:
        spread = [book.run(leg) for leg in legs]
        first, last = min(run.first for run in spread), max(run.last for run in spread)
        name = book.traveller_of[legs[0].leg].name if len(legs) > 1 else legs[0].leg
        if runs and runs[-1][-1][2] == first - 1:
            runs[-1].append((name, first, last))
        else:
            runs.append([(name, first, last)])
    texts = [f"{run[0][0]} … {run[-1][0]}" if len(run) > 2 else ", ".join(name for name, *_ in run) for run in runs]
    return ", ".join(texts)


def direct_of(book: Book, leg: str) -> tuple[str, ...]:
    """Return the guides on the direct way of a leg."""
    row = book.leg_by_name[leg]
    way = book.ways[row.trunk]
    return book.routes.direct(
        Way(way.port or "", way.travel or "clockwise", way.loops or 0), row.stack or "", row.end or ""
    )


def guides_of(book: Book, travellers: Sequence[Traveller]) -> list[str]:
    """Return the guides on the longest direct way of some travellers, in the order in which they are passed."""
    return max((list(direct_of(book, leg.leg)) for t in travellers for leg in t.legs), key=len)


def guide_words(guides: Sequence[str], tell: Teller) -> str:
    """Write guides in the order in which they are passed: ``guides sw → nw``."""
    return tell("count.guides", n=len(guides), guides=" → ".join(guides))


def parked_of(book: Book, tray: int) -> list[str]:
    """Return the parked runs of a tray that belong to new legs."""
    runs = [parse_run(text) for text in book.trays[tray].parked]
    legs = [(run, book.leg_at(run.trunk, run.first)) for run in runs]
    return [str(run) for run, leg in legs if leg is None or leg.leg not in book.built]


def laid_with(book: Book, tray: int) -> list[str]:
    """Return the travellers that go on the track when a tray is laid: its own, without those of trays laid before it."""
    found = {book.traveller_of[leg.leg].name: None for leg in book.tray_legs[tray]}
    before = [i for i in book.group_of[tray] if i < tray]
    gone = {book.traveller_of[leg.leg].name for i in before for leg in book.tray_legs[i]}
    return [name for name in found if name not in gone]
