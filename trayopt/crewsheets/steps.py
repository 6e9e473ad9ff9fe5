"""The work in its order: what is done, where the crew must stop, and what lies in the box after each step."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from trayopt.crewsheets.book import Book, place_name
from trayopt.crewsheets.marks import Marks
from trayopt.crewsheets.units import Teller
from trayopt.domain.assignment import Way
from trayopt.domain.hardware import Place
from trayopt.domain.plan import PlanLeg, PlanTrunk
from trayopt.domain.ranges import parse_run

Phase = Literal[
    "prepare", "service", "identify", "release", "clamp", "strip", "units", "release_units", "route", "fit", "mark",
    "take_out", "divide", "open", "splice", "lay", "test", "close",
]  # fmt: skip
HOLDS: frozenset[str] = frozenset({"service", "release", "release_units", "open"})
"""Phases at which the work stops until somebody has said yes: what is in service is known, or a release is in hand."""
CAUTIONS: dict[Phase, tuple[str, ...]] = {
    "prepare": ("first", "confined", "ladder", "load"),
    "service": ("live", "laser"),
    "identify": ("live", "laser"),
    "release": ("release",),
    "clamp": ("metal", "coil", "bend"),
    "strip": ("blade", "metal", "gel"),
    "units": ("live", "laser"),
    "release_units": ("release", "uncut"),
    "route": ("coil",),
    "mark": ("measured",),
    "divide": ("blade", "glass", "uncut"),
    "open": ("live", "laser"),
    "splice": ("cleave", "glass", "solvent", "live", "laser"),
    "test": ("laser", "limits", "records"),
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
        return "hold" if self.phase in HOLDS else "gate" if self.phase == "test" else "work"


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
    pace = book.settings.labour
    outside = [tell("step.outside", trunk=trunk) for trunk in book.outside]
    yield _Draft("prepare", [*_prepare(book, tell), *outside], pace.prepare_min)
    if book.built_trunks:
        yield _Draft("service", [*_service(book, tell), tell("step.release.sign")], 0)
    if book.new_trunks:
        yield from _jackets(book, marks, tell)
    if book.work:
        yield from _units(book, tell)
        yield from _ways(book, tell)
        yield from _trays(book, tell)
    yield _Draft("close", _close(book, tell), pace.close_min if book.work else 0)


def _jackets(book: Book, marks: Marks, tell: Teller) -> Iterator[_Draft]:
    """Know each cable and hold the release before a jacket comes off."""
    pace, trunks = book.settings.labour, book.new_trunks
    lines = [
        tell("step.identify.line", trunk=t.id, fibres=t.cable.fibres, diameter=tell.size(t.cable.diameter_mm))
        for t in trunks
    ]
    yield _Draft("identify", lines, pace.identify_min_per_subunit * len(trunks))
    lines = [tell("step.release.line", trunk=t.id, length=tell.cut(marks.strip[t.id])) for t in trunks]
    yield _Draft("release", [*lines, tell("step.release.sign")], 0)
    lines = [_clamp(book, tell, book.ways[trunk.id], trunk.cable.diameter_mm) for trunk in trunks]
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
    metres = sum(marks.strip[t.id] for t in trunks) / 1000
    yield _Draft("strip", lines, pace.strip_min_per_trunk * len(trunks) + pace.strip_min_per_metre * metres)


def _units(book: Book, tell: Teller) -> Iterator[_Draft]:
    """Know each unit and hold the release for those that carry traffic before one of them is opened."""
    pace, lines, count = book.settings.labour, [], 0
    for trunk in book.trunks:
        if trunk.id in book.built_trunks:
            numbers = sorted({leg.subunit for leg in book.work.get(trunk.id, [])})
            if numbers:
                units = tell.words.listed([str(number) for number in numbers])
                lines.append(tell("step.units.built", n=len(numbers), trunk=trunk.id, units=units))
        else:
            numbers = [subunit.number for subunit in trunk.subunits]
            lines.append(tell("step.units.line", n=len(numbers), trunk=trunk.id, fibres=trunk.cable.fibres))
        count += len(numbers)
    yield _Draft("units", lines, pace.identify_min_per_subunit * count)
    lines = [
        tell("step.release_units.line", n=len(legs), trunk=trunk, fibres=sum(book.run(leg).count for leg in legs))
        for trunk, legs in book.work.items()
    ]
    for sleeve in book.sleeves_to_make:
        for run in (sleeve.a, sleeve.b):
            leg = book.leg_at(run.trunk, run.first)
            if leg is not None and leg.leg in book.built:
                lines.append(tell("step.release_units.parked", n=run.count, run=str(run), leg=leg.leg))
    traffic = tell("step.release_units.traffic")
    yield _Draft("release_units", [*lines, traffic, tell("step.release.sign")], 0)


def _ways(book: Book, tell: Teller) -> Iterator[_Draft]:
    """Lay what travels round the track, try the trays on, mark the legs and divide them."""
    pace, job = book.settings.labour, book.job
    for trunk in book.work:
        if lines := _route(book, tell, trunk):
            yield _Draft("route", lines, _route_minutes(book, trunk), trunk=trunk)
    free = [i for i in book.work_trays if book.states[i] == "new" and not book.above(i)]
    lines = [
        tell("step.fit.line", n=count, stack=stack.id, tray=stack.tray.id)
        for stack in job.enclosure.stacks
        if (count := sum(book.trays[i].stack == stack.id for i in free))
    ]
    new = len(free)
    if new:
        yield _Draft("fit", lines, pace.fit_min_per_tray * new)
    lines = [tell("step.mark.line", n=len(legs), trunk=trunk, first=_ends(legs)) for trunk, legs in book.work.items()]
    yield _Draft("mark", lines, pace.mark_min_per_leg * len(book.work_legs))
    if new:
        lines = [tell("step.take_out.line", n=new, length=tell.length(_least_reach(book)))]
        yield _Draft("take_out", lines, pace.take_out_min_per_tray * new)
    lines = [line for trunk in book.work for line in _divide(book, tell, trunk)]
    yield _Draft("divide", lines, pace.divide_min_per_leg * len(book.work_legs))


def _trays(book: Book, tell: Teller) -> Iterator[_Draft]:
    """Splice, lay and test tray by tray; what is in service in the way is opened under a release of its own."""
    pace = book.settings.labour
    for batch in book.batches:
        for tray in batch.trays:
            if opened := _open(book, tell, tray):
                yield _Draft("open", [*opened, tell("step.release.sign")], 0, tray=tray, batch=batch.number)
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
                mean=book.settings.tests.batch_mean_db,
            ),
            tell("step.test.gate" if batch.number < len(book.batches) else "step.test.last"),
        ]
        yield _Draft("test", lines, pace.test_min_per_fibre * batch.fibres, batch=batch.number)


def counted(circuits: Mapping[str, int]) -> str:
    """Write circuits with their splices: ``east (72), west (24)``."""
    return ", ".join(f"{name} ({count})" for name, count in circuits.items())


def _service(book: Book, tell: Teller) -> list[str]:
    """Say what is in service: its trunks and trays, and the circuits in them."""
    lines = []
    for trunk in [t.id for t in book.trunks if t.id in book.built_trunks]:
        lines.append(tell("step.service.work" if trunk in book.work else "step.service.trunk", trunk=trunk))
    for stack in book.job.enclosure.stacks:
        for state in ("closed", "opened"):
            trays = [i for i, tray in enumerate(book.trays) if tray.stack == stack.id and book.states[i] == state]
            if trays:
                names = ", ".join(place_name(book.trays[i]) for i in trays)
                circuits = counted(book.live(trays)) or tell("step.service.none")
                lines.append(tell(f"step.service.{state}", n=len(trays), trays=names, circuits=circuits))
    return lines


def _open(book: Book, tell: Teller, tray: int) -> list[str]:
    """Say what is in service in a tray and over it; nothing where it is a new tray with none over it."""
    over, lines = book.above(tray), []
    if over:
        trays = ", ".join(place_name(book.trays[i]) for i in over)
        circuits = counted(book.live(over)) or tell("step.service.none")
        lines.append(tell("step.open.lift", n=len(over), trays=trays, circuits=circuits))
    if book.states[tray] == "opened":
        legs = ", ".join(leg.leg for leg in book.tray_legs[tray] if leg.leg in book.built)
        circuits = counted(book.live([tray])) or tell("step.service.none")
        lines.append(tell("step.open.inside", legs=legs, circuits=circuits))
    return lines


def splice_minutes(book: Book, tray: int) -> float:
    """Give the minutes to splice a tray: a sleeve of one fibre at the single pace, any other at the ribbon pace."""
    pace = book.settings.labour
    return sum(
        pace.single_splice_min if sleeve.a.count == 1 else pace.ribbon_splice_min for sleeve in book.work_sleeves[tray]
    )


def _prepare(book: Book, tell: Teller) -> list[str]:
    enclosure = book.job.enclosure
    kinds: dict[str, int] = {}
    for tray in book.new_trays:
        kinds[book.hardware(tray).id] = kinds.get(book.hardware(tray).id, 0) + 1
    lines = [tell("step.prepare.box", box=enclosure.id, n=len(enclosure.stacks))]
    lines += [tell("step.prepare.trays", n=count, tray=kind) for kind, count in kinds.items()]
    return [*lines, tell("step.prepare.tools")]


def _clamp(book: Book, tell: Teller, way: PlanTrunk, diameter_mm: float) -> str:
    port = book.job.enclosure.port_by_id[way.port or ""]
    there = [t for t in book.trunks if book.ways[t.id].port == port.id]
    seal = port.seal_for([t.cable.diameter_mm for t in there])
    about: dict[str, str] = {"trunk": way.trunk, "port": port.id, "diameter": tell.size(diameter_mm)}
    if seal is None:
        return tell("step.clamp.bare" if port.seals else "step.clamp.sealless", **about)
    line = tell("step.clamp.line", n=seal.holes, **about)
    built = [t.id for t in there if t.id in book.built_trunks]
    return f"{line} {tell('step.clamp.shared', n=len(built), built=', '.join(built))}" if built else line


def _transition(tell: Teller, mm: int) -> str:
    if mm == 0:
        return tell("step.strip.at_port")
    return tell("step.strip.before" if mm > 0 else "step.strip.behind", length=tell.length(abs(mm)))


def _route(book: Book, tell: Teller, trunk: str) -> list[str]:
    way, built = book.ways[trunk], trunk in book.built_trunks
    tubes = ", ".join(tell("step.route.tubes", n=count, size=tell.size(size)) for size, count in book.tubes_of(trunk))
    if not tubes:
        return []
    lines = [tell("step.route.built", trunk=trunk)] if built else []
    lines += [
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
    coiled = book.coiled_tubes(trunk)
    if coiled and not built:
        lines.append(tell("step.route.coiled", n=coiled))
    return lines


def guides_of(book: Book, trunk: str) -> list[str]:
    """Guides on the longest direct way of a trunk's new legs, in the order in which they are passed."""
    ways = [list(direct_of(book, leg.leg)) for leg in book.work[trunk]]
    return max(ways, key=len)


def direct_of(book: Book, leg: str) -> tuple[str, ...]:
    """Guides on the direct way of a leg."""
    row = book.leg_by_name[leg]
    way = book.ways[row.trunk]
    return book.routes.direct(
        Way(way.port or "", way.travel or "clockwise", way.loops or 0), row.stack or "", row.end or ""
    )


def _route_minutes(book: Book, trunk: str) -> float:
    tubes = sum(count for _, count in book.tubes_of(trunk))
    if trunk not in book.built_trunks:
        tubes += book.coiled_tubes(trunk)
    return book.settings.labour.route_min_per_tube_and_turn * tubes * (1 + (book.ways[trunk].loops or 0))


def _ends(legs: Sequence[PlanLeg]) -> str:
    return legs[0].leg if len(legs) == 1 else f"{legs[0].leg} … {legs[-1].leg}"


def _least_reach(book: Book) -> int:
    """Least length, from the port, on which a tray can be brought to the bench."""
    return min((leg.route_mm or 0) - book.stack(leg).tray.inside_mm for leg in book.work_legs)


def _divide(book: Book, tell: Teller, trunk: str) -> Iterator[str]:
    """Say how the subunits of a trunk are divided, neighbours of one kind in one line; those in service by themselves."""
    where = book.job.trunk_by_id[trunk].divide_at
    divisions: dict[int, int] = {leg.subunit: leg.of for leg in book.work[trunk]}
    served: dict[int, list[str]] = {}
    for leg in book.legs[trunk]:
        if leg.leg in book.built and leg.subunit in divisions:
            served.setdefault(leg.subunit, []).append(leg.leg)
    numbers = [number for number in divisions if number not in served]
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
    for number, live in served.items():
        new = ", ".join(leg.leg for leg in book.work[trunk] if leg.subunit == number)
        yield tell("step.divide.served", n=len(live), trunk=trunk, span=number, live=", ".join(live), legs=new)


def _splice(book: Book, tell: Teller, tray: int) -> list[str]:
    legs = ", ".join(leg.leg for leg in book.tray_legs[tray] if leg.leg not in book.built)
    lines = [tell("step.splice.line", n=len(book.work_sleeves[tray]), fibres=book.spliced(tray), legs=legs)]
    if book.states[tray] == "opened":
        lines.append(tell("step.splice.served"))
    if parked := parked_of(book, tray):
        lines.append(tell("step.splice.parked", runs=", ".join(parked)))
    return lines


def parked_of(book: Book, tray: int) -> list[str]:
    """Give the parked runs of a tray that belong to new legs."""
    runs = [parse_run(text) for text in book.trays[tray].parked]
    legs = [(run, book.leg_at(run.trunk, run.first)) for run in runs]
    return [str(run) for run, leg in legs if leg is None or leg.leg not in book.built]


def _lay(book: Book, tell: Teller, tray: int) -> list[str]:
    row = book.trays[tray]
    under = book.tray_index.get(Place(row.stack, row.position - 1))
    if under is None:
        key = "step.lay.first" if row.position == 1 else "step.lay.bare"
        lines = [tell(key, stack=row.stack, position=row.position)]
    else:
        below = place_name(book.trays[under])
        lines = [tell("step.lay.over", stack=row.stack, position=row.position, under=below)]
    if over := book.above(tray):
        trays = ", ".join(place_name(book.trays[i]) for i in reversed(over))
        lines.append(tell("step.lay.back", n=len(over), trays=trays))
    return lines


def _close(book: Book, tell: Teller) -> list[str]:
    if not book.work:
        return [tell("step.close.nothing")]
    lines = [tell("step.close.dress", n=len(book.work_trays))]
    if book.plan.unplaced:
        lines.append(tell("step.close.unplaced", fibres=book.plan.value("unplaced")))
    return [*lines, tell("step.close.file")]
