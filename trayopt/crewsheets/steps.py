"""The work in its order: what is done, where the crew must stop, and what lies in the box after each step."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from trayopt.crewsheets.book import Book, place_name
from trayopt.crewsheets.marks import Marks
from trayopt.crewsheets.units import Teller
from trayopt.domain.assignment import Way
from trayopt.domain.hardware import Place, Port, Seal
from trayopt.domain.plan import PlanTrunk

Phase = Literal[
    "prepare", "clamp", "strip", "identify", "release", "route", "fit", "mark", "take_out", "divide", "splice", "lay",
    "test", "close",
]  # fmt: skip
STOPS: frozenset[str] = frozenset({"release", "test"})
"""Phases at which the work stops until somebody has said yes: a release to cut, and the gate behind each test batch."""
CAUTIONS: dict[Phase, tuple[str, ...]] = {
    "prepare": ("first", "ladder", "load"),
    "clamp": ("metal", "coil"),
    "strip": ("blade", "metal"),
    "identify": ("live",),
    "release": ("live", "release"),
    "route": ("coil",),
    "mark": ("measured",),
    "divide": ("glass", "uncut"),
    "splice": ("glass", "vapour", "live"),
    "test": ("live", "limits", "records"),
    "close": ("fire", "records", "load"),
}
"""Cautions of the catalogue (``caution.<id>``) where they belong. A phase's cautions stand at its first step."""


@dataclass(frozen=True)
class Step:
    """One step: number from 1, phase, its words, who it is about, and its time for one person in minutes."""

    number: int
    phase: Phase
    title: str
    lines: tuple[str, ...]
    cautions: tuple[str, ...]
    minutes: float
    trunk: str | None = None
    tray: int | None = None
    batch: int | None = None

    @property
    def kind(self) -> str:
        """Work, a hold point, or a gate."""
        return {"release": "hold", "test": "gate"}.get(self.phase, "work")


class _Draft:
    def __init__(self, phase: Phase, lines: list[str], minutes: float, **about: int | str) -> None:
        self.phase, self.lines, self.minutes, self.about = phase, lines, minutes, about


def steps_of(book: Book, marks: Marks, tell: Teller) -> tuple[Step, ...]:
    """Give every step of the work, in order, with the plan's own figures."""
    seen: set[Phase] = set()
    made = []
    for number, draft in enumerate(_drafts(book, marks, tell), start=1):
        about = draft.about
        tray = about.get("tray")
        name = about.get("trunk") or (place_name(book.trays[int(tray)]) if tray is not None else "")
        made.append(
            Step(
                number=number,
                phase=draft.phase,
                title=tell(f"step.{draft.phase}", name=name, batch=about.get("batch", 0)),
                lines=tuple(draft.lines),
                cautions=() if draft.phase in seen else CAUTIONS.get(draft.phase, ()),
                minutes=draft.minutes,
                trunk=about.get("trunk"),  # type: ignore[arg-type]
                tray=tray,  # type: ignore[arg-type]
                batch=about.get("batch"),  # type: ignore[arg-type]
            )
        )
        seen.add(draft.phase)
    return tuple(made)


def _drafts(book: Book, marks: Marks, tell: Teller) -> Iterator[_Draft]:
    pace, job = book.settings.labour, book.job
    trunks = book.trunks
    yield _Draft("prepare", _prepare(book, tell), pace.prepare_min)
    if not trunks:
        yield _Draft("close", [*(tell("step.outside", trunk=trunk) for trunk in book.outside), *_close(book, tell)], 0)
        return
    lines = [_clamp(book, tell, book.ways[trunk.id], trunk.cable.diameter_mm) for trunk in trunks]
    lines += [tell("step.outside", trunk=trunk) for trunk in book.outside]
    yield _Draft("clamp", lines, pace.clamp_min_per_trunk * len(trunks))
    lines = [
        tell(
            "step.strip.line",
            trunk=t.id,
            length=tell.cut(marks.strip[t.id]),
            transition=_transition(tell, t.transition_mm),
        )
        for t in trunks
    ]
    metres = sum(marks.strip.values()) / 1000
    yield _Draft("strip", lines, pace.strip_min_per_trunk * len(trunks) + pace.strip_min_per_metre * metres)
    lines = [tell("step.identify.line", n=len(t.subunits), trunk=t.id, fibres=t.cable.fibres) for t in trunks]
    units = sum(len(t.subunits) for t in trunks)
    yield _Draft("identify", lines, pace.identify_min_per_subunit * units)
    lines = [
        tell("step.release.line", n=len(book.legs[t.id]), trunk=t.id, fibres=_leg_fibres(book, t.id)) for t in trunks
    ]
    yield _Draft("release", [*lines, tell("step.release.sign")], 0)
    for trunk in trunks:
        yield _Draft("route", _route(book, tell, trunk.id), _route_minutes(book, trunk.id), trunk=trunk.id)
    lines = [
        tell("step.fit.line", n=count, stack=stack.id, tray=stack.tray.id)
        for stack in job.enclosure.stacks
        if (count := sum(tray.stack == stack.id for tray in book.trays))
    ]
    yield _Draft("fit", lines, pace.fit_min_per_tray * len(book.trays))
    lines = [tell("step.mark.line", n=len(book.legs[t.id]), trunk=t.id, first=_ends(book, t.id)) for t in trunks]
    yield _Draft("mark", lines, pace.mark_min_per_leg * len(book.all_legs))
    lines = [tell("step.take_out.line", n=len(book.trays), length=tell.length(_least_reach(book)))]
    yield _Draft("take_out", lines, pace.take_out_min_per_tray * len(book.trays))
    lines = [line for t in trunks for line in _divide(book, tell, t.id)]
    yield _Draft("divide", lines, pace.divide_min_per_leg * len(book.all_legs))
    for batch in book.batches:
        for tray in batch.trays:
            yield _Draft("splice", _splice(book, tell, tray), splice_minutes(book, tray), tray=tray, batch=batch.number)
            yield _Draft("lay", _lay(book, tell, tray), pace.lay_min_per_tray, tray=tray, batch=batch.number)
        lines = [
            tell(
                "step.test.line",
                n=len(batch.trays),
                trays=tell.words.listed([place_name(book.trays[i]) for i in batch.trays]),
                fibres=batch.fibres,
                waves=tell.words.listed([f"{wave} nm" for wave in book.settings.tests.wavelengths_nm]),
                limit=book.settings.tests.limit_db,
            ),
            tell("step.test.gate" if batch.number < len(book.batches) else "step.test.last"),
        ]
        yield _Draft("test", lines, pace.test_min_per_fibre * batch.fibres, batch=batch.number)
    yield _Draft("close", _close(book, tell), pace.close_min)


def splice_minutes(book: Book, tray: int) -> float:
    """Give the minutes to splice a tray: a sleeve of one fibre at the single pace, any other at the ribbon pace."""
    pace = book.settings.labour
    return sum(
        pace.single_splice_min if sleeve.a.count == 1 else pace.ribbon_splice_min for sleeve in book.tray_sleeves[tray]
    )


def seal_of(port: Port, diameters: list[float]) -> Seal | None:
    """Give the seal with the fewest holes that takes these trunks; None where the port has none."""
    fits = [
        seal
        for seal in port.seals
        if seal.holes >= len(diameters) and all(seal.least_mm - 1e-9 <= d <= seal.most_mm + 1e-9 for d in diameters)
    ]
    return min(fits, key=lambda seal: seal.holes, default=None)


def _prepare(book: Book, tell: Teller) -> list[str]:
    enclosure = book.job.enclosure
    kinds: dict[str, int] = {}
    for tray in book.trays:
        kinds[book.hardware(tray).id] = kinds.get(book.hardware(tray).id, 0) + 1
    lines = [tell("step.prepare.box", box=enclosure.id, n=len(enclosure.stacks))]
    lines += [tell("step.prepare.trays", n=count, tray=kind) for kind, count in kinds.items()]
    return [*lines, tell("step.prepare.tools")]


def _clamp(book: Book, tell: Teller, way: PlanTrunk, diameter_mm: float) -> str:
    port = book.job.enclosure.port_by_id[way.port or ""]
    there = [t.cable.diameter_mm for t in book.trunks if book.ways[t.id].port == way.port]
    seal = seal_of(port, there)
    if seal is None:
        return tell("step.clamp.bare", trunk=way.trunk, port=port.id, diameter=tell.size(diameter_mm))
    return tell("step.clamp.line", n=seal.holes, trunk=way.trunk, port=port.id, diameter=tell.size(diameter_mm))


def _transition(tell: Teller, mm: int) -> str:
    if mm == 0:
        return tell("step.strip.at_port")
    return tell("step.strip.before" if mm > 0 else "step.strip.behind", length=tell.length(abs(mm)))


def _leg_fibres(book: Book, trunk: str) -> int:
    return sum(book.run(leg).count for leg in book.legs[trunk])


def _route(book: Book, tell: Teller, trunk: str) -> list[str]:
    way = book.ways[trunk]
    tubes = ", ".join(tell("step.route.tubes", n=count, size=tell.size(size)) for size, count in book.tubes_of(trunk))
    lines = [
        tell(
            "step.route.line",
            n=way.loops or 0,
            trunk=trunk,
            port=way.port,
            travel=tell(f"travel.{way.travel}"),
            tubes=tubes,
        ),
        tell("step.route.guides", guides=" → ".join(guides_of(book, trunk))),
    ]
    if coiled := book.coiled_tubes(trunk):
        lines.append(tell("step.route.coiled", n=coiled))
    return lines


def guides_of(book: Book, trunk: str) -> list[str]:
    """Guides on the longest direct way of a trunk's legs, in the order in which they are passed."""
    ways = [list(direct_of(book, leg.leg)) for leg in book.legs[trunk]]
    return max(ways, key=len)


def direct_of(book: Book, leg: str) -> tuple[str, ...]:
    """Guides on the direct way of a leg."""
    row = book.leg_by_name[leg]
    way = book.ways[row.trunk]
    return book.routes.direct(
        Way(way.port or "", way.travel or "clockwise", way.loops or 0), row.stack or "", row.end or ""
    )


def _route_minutes(book: Book, trunk: str) -> float:
    tubes = sum(count for _, count in book.tubes_of(trunk)) + book.coiled_tubes(trunk)
    return book.settings.labour.route_min_per_tube_and_turn * tubes * (1 + (book.ways[trunk].loops or 0))


def _ends(book: Book, trunk: str) -> str:
    legs = book.legs[trunk]
    return legs[0].leg if len(legs) == 1 else f"{legs[0].leg} … {legs[-1].leg}"


def _least_reach(book: Book) -> int:
    """Least length, from the port, on which a tray can be brought to the bench."""
    return min((leg.route_mm or 0) - book.stack(leg).tray.inside_mm for leg in book.all_legs)


def _divide(book: Book, tell: Teller, trunk: str) -> Iterator[str]:
    """Say how the subunits of a trunk are divided, neighbours of one kind in one line."""
    where = book.job.trunk_by_id[trunk].divide_at
    divisions: dict[int, int] = {leg.subunit: leg.of for leg in book.legs[trunk]}
    numbers = list(divisions)
    start = 0
    for i, number in enumerate(numbers):
        goes_on = (
            i + 1 < len(numbers) and numbers[i + 1] == number + 1 and divisions[numbers[i + 1]] == divisions[number]
        )
        if goes_on:
            continue
        first = numbers[start]
        span = str(first) if first == number else f"{first} – {number}"
        of = divisions[number]
        subunit = book.job.subunit_of_leg[trunk, number]
        yield tell(
            "step.divide.whole" if of == 1 else f"step.divide.{where}",
            trunk=trunk,
            span=span,
            of=of,
            ribbons=subunit.ribbons // of,
            fibres=subunit.fibres // of,
        )
        start = i + 1


def _splice(book: Book, tell: Teller, tray: int) -> list[str]:
    row = book.trays[tray]
    legs = ", ".join(leg.leg for leg in book.tray_legs[tray])
    lines = [tell("step.splice.line", n=row.sleeves, fibres=book.spliced(tray), legs=legs)]
    if row.parked:
        lines.append(tell("step.splice.parked", runs=", ".join(row.parked)))
    return lines


def _lay(book: Book, tell: Teller, tray: int) -> list[str]:
    row = book.trays[tray]
    under = book.tray_index.get(Place(row.stack, row.position - 1))
    if under is None:
        return [
            tell("step.lay.first" if row.position == 1 else "step.lay.bare", stack=row.stack, position=row.position)
        ]
    return [tell("step.lay.over", stack=row.stack, position=row.position, under=place_name(book.trays[under]))]


def _close(book: Book, tell: Teller) -> list[str]:
    lines = [tell("step.close.dress", n=len(book.trays))]
    if book.plan.unplaced:
        lines.append(tell("step.close.unplaced", fibres=book.plan.value("unplaced")))
    return [*lines, tell("step.close.file")]
