"""The job of a box's next extension: built legs are pinned, with their measured marks and the tries that are left."""

from __future__ import annotations

from collections.abc import Mapping

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.figures import place_name
from trayopt.crewsheets.lists.reopen import tries
from trayopt.crewsheets.marks import Marks
from trayopt.crewsheets.readings import Readings
from trayopt.domain.base import remade
from trayopt.domain.job import Job, Setting
from trayopt.domain.pins import LegPin, TrunkPin
from trayopt.domain.trunk import Trunk
from trayopt.rules.exposed import Exposed
from trayopt.track.lengths import Lengths

HEAD = """The next job of this box, as it was recorded: legs in trays whose batch passed are built, with the entrance marks
that were measured and the tries that are left; what did not pass is pinned where it lies. A built trunk exposes what was
stripped. Add trunks and joins, and solve it."""


def next_job(book: Book, marks: Marks, readings: Readings) -> Job:
    """Return the job of the next extension.

    Legs that were built before, and legs in trays of a passed batch, are built; a trunk is built with its first leg. Pins
    of legs without a tray stay. The jacket of a built trunk is off: what was stripped is the most that it may expose. The
    allowance for the lay of a leg grows to the largest measured value for a turn. It never shrinks, since one short way says
    little about the others.
    """
    job = book.job
    done = {batch.number for batch in book.batches if readings.batch_result(batch) == "pass"}
    pins: list[LegPin | TrunkPin] = []
    built = {leg.leg for leg in book.all_legs if leg.leg in book.built or book.batch_of.get(book.tray_of(leg)) in done}
    inside = {leg.trunk for leg in book.all_legs if leg.leg in built}
    inside |= {job.other_end[trunk] for trunk in inside if trunk in job.other_end}
    for trunk, way in book.ways.items():
        parted = any(leg.of > 1 for leg in book.legs[trunk])
        pins.append(
            TrunkPin(
                trunk=trunk, port=way.port, travel=way.travel, loops=way.loops,
                divide_at=way.divide_at if parted else None, ribbons=way.ribbons, built=trunk in inside,
            )
        )  # fmt: skip
    for leg in book.all_legs:
        in_place = leg.leg in built
        pins.append(
            LegPin(
                leg=book.run(leg), stack=leg.stack, position=leg.position, built=in_place,
                measured_mm=marks.of[leg.leg].measured if in_place else None,
                tries_left=_tries_left(book, readings, leg.leg) if in_place else None,
            )
        )  # fmt: skip
    subjects = {pin.subject for pin in pins}
    pins += [pin for pin in job.pins if pin.subject not in subjects and not pin.built]
    rules = _with_allowance(book, marks)
    lengths = Exposed().parameters(remade(job, rules=rules))
    trunks = tuple(_as_stripped(book, trunk, lengths) if trunk.id in inside else trunk for trunk in job.trunks)
    return remade(job, trunks=trunks, pins=tuple(pins), rules=rules)


def not_passed(book: Book, readings: Readings) -> list[str]:
    """Return a sentence for each batch that has not passed, since the next job knows its legs as not built."""
    return [
        f"Batch {batch.number} ({', '.join(place_name(book.trays[i]) for i in batch.trays)}) has not passed: the next job treats "
        "its legs as not made yet, and a trunk without other legs as not brought in. Record it again when it has passed, "
        "before anything of the next job is done."
        for batch in book.batches
        if readings.batch_result(batch) != "pass"
    ]


def _as_stripped(book: Book, trunk: Trunk, lengths: Lengths) -> Trunk:
    """Return a built trunk that exposes what was stripped; the window of a trunk that goes through is limited by its slack."""
    if trunk.id in book.job.other_end:
        return trunk
    loops = book.ways[trunk.id].loops or 0
    cuts = [lengths.cut_mm(trunk.transition_mm, leg.route_mm or 0, loops) for leg in book.legs[trunk.id]]
    stripped = lengths.strip_mm(cuts, loops)
    if trunk.id in book.built_trunks:
        stripped = max(stripped, trunk.exposed_mm or 0)
    return remade(trunk, exposed_mm=stripped)


def _tries_left(book: Book, readings: Readings, name: str) -> int | None:
    """Return how often the splices of a leg can be made again; None for a leg without a splice."""
    leg = book.leg_by_name[name]
    run = book.run(leg)
    sleeves = [
        sleeve
        for sleeve in book.tray_sleeves[book.tray_of(leg)]
        if any(side.trunk == run.trunk and run.first <= side.first <= run.last for side in (sleeve.a, sleeve.b))
    ]
    if not sleeves:
        return None
    used = max(readings.tries(sleeve.a.trunk, sleeve.a.first, sleeve.a.last) for sleeve in sleeves)
    before = book.tries_before.get(name)
    return max(0, (tries(book) if before is None else before) - used)


def _with_allowance(book: Book, marks: Marks) -> Mapping[str, Setting]:
    """Return the rules with an allowance for each turn that covers the measurements."""
    setting = book.job.rules[Exposed.id]
    learned = [
        -(-mark.correction // (1 + (book.ways[book.leg_by_name[name].trunk].loops or 0)))
        for name, mark in marks.of.items()
        if mark.measured is not None and name not in book.built
    ]
    now = marks.lengths.allowance_mm
    if max(learned, default=0) <= now:
        return book.job.rules
    parameters = {**setting.parameters, "allowance_mm": max(learned)}
    return {**book.job.rules, Exposed.id: remade(setting, parameters=parameters)}
