"""Strip and mark list: the jacket to strip, and where every leg is marked and cut."""

from __future__ import annotations

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.figures import place_name
from trayopt.crewsheets.marks import Marks
from trayopt.crewsheets.tables import Column, Table
from trayopt.crewsheets.units import Teller
from trayopt.domain.base import SPLIT, RibbonWord

STRIP = (
    Column("trunk"), Column("cable"), Column("port"), Column("travel"), Column("loops", "count"),
    Column("diameter", "decimal"), Column("transition", "length"), Column("strip", "cut"), Column("exposed", "length"),
    Column("legs", "count"), Column("divide_at"), Column("ribbons"), Column("trial"), Column("note"),
)  # fmt: skip
MARKS = (
    Column("trunk"), Column("leg"), Column("fibres"), Column("tray"), Column("end"), Column("loops", "count"),
    Column("tube"), Column("entrance_mark", "length"), Column("tube_mark", "length"), Column("protection", "cut"),
    Column("ribbon_mark", "cut"),
    Column("cut", "cut"), Column("label"), Column("measured", "length"), Column("correction", "length"), Column("note"),
)  # fmt: skip


def strip_table(book: Book, marks: Marks, tell: Teller) -> Table:
    """Return the length to strip of every trunk that is brought in."""
    rows = []
    for trunk in book.new_trunks:
        way, strip = book.ways[trunk.id], marks.strip[trunk.id]
        note, exposed = "", trunk.exposed_mm
        item = next((item for item in book.passing if trunk.id in item.ends), None)
        if item is not None:
            note, exposed = tell("note.window", trunk=item.trunk), item.slack_mm
            if item.slack_mm is not None and strip > item.slack_mm:
                note = tell("note.short", length=tell.cut(strip), slack=tell.length(item.slack_mm))
        elif trunk.exposed_mm is not None and strip > trunk.exposed_mm:
            note = tell("note.too_long", length=tell.cut(strip), exposed=tell.length(trunk.exposed_mm))
        elif strip != way.strip_mm:
            note = tell("note.was", length=tell.cut(way.strip_mm or 0))
        ribbons = ribbon_note(way.ribbons, tell) if trunk.may_work_ribbons else ""
        rows.append(
            (
                trunk.id, trunk.cable.id, way.port, tell(f"travel.{way.travel}"), way.loops, trunk.cable.diameter_mm,
                trunk.transition_mm, strip, exposed, len(book.legs[trunk.id]),
                tell(f"divide_at.{way.divide_at}"), ribbons, tell("trial.safe" if marks.safe else "trial.first"), note,
            )
        )  # fmt: skip
    table = Table("strip", STRIP, rows, [trunk.id for trunk in book.new_trunks])
    worked = any(trunk.may_work_ribbons for trunk in book.job.trunks)
    return table if worked else table.only([column.key for column in STRIP if column.key != "ribbons"])


def ribbon_note(word: RibbonWord | None, tell: Teller) -> str:
    """Write the ribbon work of a trunk."""
    if isinstance(word, int):
        return tell("note.ribbonise", n=word)
    return tell("note.split" if word == SPLIT else "note.as_they_are")


def marks_table(book: Book, marks: Marks, tell: Teller) -> Table:
    """Return the marks, the cut and the label of every new leg, with an empty column for the measured mark.

    The end of a tube is listed once, at the first of its new legs.
    """
    rows = []
    ends = {next(leg.leg for leg in t.legs if leg.leg not in book.built) for t in book.work_travellers.values()}
    for leg in book.work_legs:
        mark, tray = marks.of[leg.leg], book.trays[book.tray_of(leg)]
        run = str(book.run(leg))
        rows.append(
            (
                leg.trunk, leg.leg, run, place_name(tray), leg.end, book.ways[leg.trunk].loops,
                tube_name(book, tell, leg.leg), mark.entrance,
                mark.tube_end if leg.leg in ends else None, mark.protection or None, mark.ribbon, mark.cut,
                label_of(leg.leg, run, place_name(tray)), mark.measured,
                mark.correction or None, tell("note.doubt" if mark.doubt else "note.parked") if mark.doubt or leg.idle else "",
            )
        )  # fmt: skip
    return Table("marks", MARKS, rows, [leg.leg for leg in book.work_legs])


def label_of(leg: str, run: str, place: str) -> str:
    """Write the text on the label of a leg, which is the same at both ends."""
    return f"{leg}  {run}  {place}"


def tube_name(book: Book, tell: Teller, leg: str) -> str:
    """Write the tube in which a leg travels."""
    row = book.leg_by_name[leg]
    if row.tube_mm is None:
        return ""
    return tell("tube.own" if book.own_tube(row) else "tube.set", size=tell.size(row.tube_mm))
