"""Labels for trunks, legs and trays, with the same words on both ends."""

from __future__ import annotations

from typing import NamedTuple

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.figures import place_name
from trayopt.crewsheets.tables import Column, Table
from trayopt.crewsheets.units import Teller

LABELS = (
    Column("label_kind"), Column("name"), Column("label_end"), Column("line_1"), Column("line_2"), Column("line_3"),
    Column("code"),
)  # fmt: skip


class Label(NamedTuple):
    """A label: the kind of thing it is for, its name, the end, and three lines of text."""

    kind: str
    name: str
    end: str
    lines: tuple[str, str, str]

    @property
    def code(self) -> str:
        """The content of the QR code: the lines, without the end."""
        return "\n".join(line for line in self.lines if line)


def labels_of(book: Book, tell: Teller) -> list[Label]:
    """Return the labels of everything new: trunks, uncut and capped tubes, what goes to no tray, legs, trays in build order."""
    found = []
    for trunk in book.new_trunks:
        way = book.ways[trunk.id]
        travel = tell("label.way", n=way.loops or 0, port=way.port, travel=tell(f"travel.{way.travel}"))
        lines = trunk.id, tell("label.fibres", n=trunk.cable.fibres), travel
        found += [Label("trunk", trunk.id, end, lines) for end in ("outside", "clamp")]
    for item in book.passing:
        if item.new and item.uncut:
            lines = f"{item.trunk}: {item.numbers}", tell("label.uncut.says"), tell("label.uncut.loops", n=item.loops)
            found += [Label("uncut", item.name, "clamp", lines)] * 2
        for cut in item.cuts:
            for end in cut.capped:
                unit = book.job.subunit_of_leg[end, cut.unit]
                name = f"{end}/{cut.unit}"
                lines = name, f"{end}:{unit.first}-{unit.last}", tell("label.capped.says")
                found += [Label("capped", name, place, lines) for place in ("cap", "clamp")]
    for trunk in book.trunks:
        if trunk.id not in book.job.other_end:
            for says, idle in (("coiled", book.coiled_now(trunk.id)), ("cut_back", book.cut_back_now(trunk.id))):
                for leg in idle:
                    lines = leg.leg, str(book.run(leg)), tell(f"label.{says}.says")
                    found += [Label("idle", leg.leg, end, lines) for end in ("cap", "clamp")]
    for leg in book.work_legs:
        tray = place_name(book.trays[book.tray_of(leg)])
        lines = leg.leg, str(book.run(leg)), tray
        found += [Label("leg", leg.leg, end, lines) for end in ("start", "tray")]
    for i in book.work_trays:
        name = place_name(book.trays[i])
        legs = ", ".join(leg.leg for leg in book.tray_legs[i])
        lines = name, tell("label.batch", batch=book.batch_of[i], n=book.spliced(i)), legs
        found += [Label("tray", name, end, lines) for end in ("front", "back")]
    return found


def labels_table(labels: list[Label], tell: Teller) -> Table:
    """Return the labels as a list, for a label printer."""
    rows = [
        (
            tell(f"label.{label.kind}"),
            label.name,
            tell(f"label.end.{label.end}"),
            *label.lines,
            label.code.replace("\n", " · "),
        )
        for label in labels
    ]
    return Table("labels", LABELS, rows)
