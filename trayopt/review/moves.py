"""The move list: the steps from given decisions to another plan, in an order in which they can be carried out.

A written release comes first. Trays are lifted from the door inward, each once. On the way, legs that have to move are
taken out, and trays that the box no longer has are removed. Trunks are led and subunits divided anew while they hang loose.
Then everything is laid in again from the back towards the door, and each tray is lowered over it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.cablework import Leg
from trayopt.domain.decision import GoesBy, RunAt
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.ranges import span
from trayopt.domain.said import joined, said
from trayopt.review.standing import Standing, counted, lies
from trayopt.rules.words import listed, ribbons_are, several
from trayopt.solver.model.decisions import Given, changes, ribbons_of
from trayopt.track.routes import leg_key

Deed = Literal[
    "release", "lift", "take out", "remove", "lead out", "lead", "lead in", "divide", "work ribbons", "lay in", "lower",
]  # fmt: skip


@dataclass(frozen=True)
class Move:
    """A step; ``what`` lists tray places, runs, legs, subunits, trunks or joins, depending on what is done.

    ``breaks`` and ``disturbs`` count splices by join: the splices that the step breaks, and the splices that it only moves.
    ``tries`` is how often the legs of the step can be spliced again; None if that is not known or nothing was spliced before.
    """

    step: int
    do: Deed
    what: tuple[str, ...]
    place: str | None
    text: str
    breaks: Mapping[str, int] = field(default_factory=dict)
    disturbs: Mapping[str, int] = field(default_factory=dict)
    tries: int | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the step as plain data."""
        return {
            "step": self.step,
            "do": self.do,
            "what": list(self.what),
            "place": self.place,
            "text": self.text,
            "breaks": dict(self.breaks),
            "disturbs": dict(self.disturbs),
            "tries_left": self.tries,
        }


@dataclass(frozen=True)
class Beside:
    """The changes of a new plan that are not weighed.

    Parameters
    ----------
    laid_in
        Legs that had no tray.
    taken_out
        Runs that get no tray: nothing is spliced to them, or the job does not have them.
    entered
        Runs that enter their stack at another end than the rest of it.
    led_in, led_out
        Trunks that come into the box, and trunks that leave it.
    removed
        Trays in use that the box no longer has.
    """

    laid_in: tuple[str, ...] = ()
    taken_out: tuple[str, ...] = ()
    entered: tuple[str, ...] = ()
    led_in: tuple[str, ...] = ()
    led_out: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()

    def words(self) -> list[str]:
        """Return a phrase for each kind of change that occurs."""
        return [
            *[f"{several(len(self.laid_in), 'leg')} laid in that had no tray"] * bool(self.laid_in),
            *[f"{several(len(self.taken_out), 'run')} taken out"] * bool(self.taken_out),
            *[f"{several(len(self.entered), 'run')} brought to the end of the stack"] * bool(self.entered),
            *[f"{listed(self.led_in)} led in"] * bool(self.led_in),
            *[f"{listed(self.led_out)} led out"] * bool(self.led_out),
            *[f"{listed(self.removed)} removed"] * bool(self.removed),
        ]

    def __bool__(self) -> bool:
        """Whether there is any such change."""
        return bool(self.words())

    def as_dict(self) -> dict[str, list[str]]:
        """Return the changes as plain data."""
        names = ("laid_in", "taken_out", "entered", "led_in", "led_out", "removed")
        return {name: list(getattr(self, name)) for name in names}


def move_list(
    job: Job,
    given: Given,
    assignment: Assignment,
    entered: Iterable[RunAt] = (),
    cuts: Mapping[RunAt, int] | None = None,
) -> tuple[list[Move], Beside]:
    """Return the steps from given decisions to an assignment, and the changes that are not weighed.

    Parameters
    ----------
    job, given, assignment
        The job as it is now, the given decisions, and the new plan.
    entered
        Given runs that enter their stack at another end than the new plan.
    cuts
        Known lengths at which given runs were cut, in mm; other lengths are computed.
    """
    return _Mover(job, given, assignment, tuple(entered), cuts or {}).moves()


class _Mover:
    def __init__(
        self, job: Job, given: Given, assignment: Assignment, entered: Sequence[RunAt], cuts: Mapping[RunAt, int]
    ) -> None:
        self.job, self.given, self.assignment, self.entered = job, given, assignment, entered
        self.differs = changes(job, given, assignment)
        self.standing = Standing(job, given, assignment, self.differs, cuts)
        self.made: list[Move] = []
        loose = self.loose()
        self.out: dict[Place, list[RunAt]] = defaultdict(list)
        spans: dict[str, list[tuple[int, int]]] = defaultdict(list)
        for leg in loose:
            spans[leg.trunk].append(job.subunit(leg).leg_run(leg))
        for item in given.runs:
            touched = any(item.first <= last and item.last >= first for first, last in spans[item.trunk])
            if touched or not lies(job, item, assignment):
                self.out[item.place].append(item)
        self.into: dict[Place, list[Leg]] = defaultdict(list)
        for leg in sorted(loose, key=lambda leg: (job.trunk_rank[leg.trunk], leg_key(leg))):
            self.into[assignment.places[leg]].append(leg)
        self.used = {item.place for item in given.runs}
        self.gone = {place for place in self.used if place not in job.enclosure.place_rank}

    def moves(self) -> tuple[list[Move], Beside]:
        stacks = [stack.id for stack in self.job.enclosure.stacks]
        stacks = list(dict.fromkeys([*stacks, *(place.stack for place in self.used)]))
        for stack in stacks:
            self.open(stack)
        inside = dict.fromkeys(item.trunk for item in self.given.runs)
        led_out = [trunk for trunk in inside if trunk not in self.assignment.ways]
        led_in = [trunk for trunk in self.assignment.ways if trunk not in inside and trunk not in self.given.ways]
        for trunk in led_out:
            self.add("lead out", [trunk], None, said("lead {trunk} out of the box", trunk=trunk))
        for way in self.given.ways.values():
            self.lead(way)
        for trunk in led_in:
            self.add(
                "lead in",
                [trunk],
                None,
                said("lead {trunk} in: {way}", trunk=trunk, way=way_words(self.assignment.ways[trunk])),
            )
        for name in self.divided():
            self.divide(name)
        for stack in stacks:
            self.close(stack)
        beside = Beside(
            tuple(str(leg) for legs in self.into.values() for leg in legs if self.standing.kept(leg) is None),
            tuple(str(item.run) for item in self.given.runs if not lies(self.job, item, self.assignment)),
            tuple(str(item.run) for item in self.entered),
            tuple(led_in),
            tuple(led_out),
            tuple(map(str, sorted(self.gone))),
        )
        return self.released(), beside

    def add(
        self,
        do: Deed,
        what: Iterable[object],
        place: Place | None,
        text: str,
        breaks: Mapping[str, int] | None = None,
        disturbs: Mapping[str, int] | None = None,
        tries: int | None = None,
    ) -> None:
        at = None if place is None else str(place)
        step = len(self.made) + 1
        self.made.append(Move(step, do, tuple(map(str, what)), at, text, breaks or {}, disturbs or {}, tries))

    def released(self) -> list[Move]:
        """Return the moves with a release before them, if a splice is broken or moved."""
        breaks = counted(move.breaks for move in self.made)
        touched = list(dict.fromkeys([*breaks, *(name for move in self.made for name in move.disturbs)]))
        if not touched:
            return self.made
        text = said(
            "hold a written release for {joins}, and warn the circuits",
            joins=listed([join_words(name) for name in touched]),
        )
        if breaks:
            text = joined([text, said("splices that are broken: {splices}", splices=splice_words(breaks))], "; ")
        first = Move(1, "release", tuple(touched), None, text)
        return [first, *(_numbered(move, i) for i, move in enumerate(self.made, start=2))]

    def loose(self) -> set[Leg]:
        """Return the legs that do not stay: their tray, division or end changes, or the way of their trunk."""
        differs = self.differs
        led = {*differs.travel, *differs.ports, *differs.loops, *differs.partings, *differs.ribbons}
        by_trunk: dict[str, list[RunAt]] = defaultdict(list)
        for item in self.given.runs:
            if lies(self.job, item, self.assignment):
                by_trunk[item.trunk].append(item)
        turned = set(self.entered)
        found = set()
        for leg, place in self.assignment.places.items():
            subunit = self.job.subunit(leg)
            first, last = subunit.leg_run(leg)
            before = [item for item in by_trunk[leg.trunk] if item.first <= last and item.last >= first]
            stays = [item for item in before if item.place == place and item.first <= first and item.last >= last]
            if (
                leg.trunk in led
                or place.stack in differs.ends
                or subunit.name in differs.splits
                or not stays
                or any(item.place != place or item in turned for item in before)
            ):
                found.add(leg)
        return found

    def deepest(self, stack: str) -> int | None:
        """Return the position down to which a stack has to be opened; None if the stack stays closed."""
        return min(
            (place.position for group in (self.out, self.into) for place in group if place.stack == stack), default=None
        )

    def open(self, stack: str) -> None:
        """Lift the trays of a stack from the door inward, and take legs out on the way."""
        deepest = self.deepest(stack)
        if deepest is None:
            return
        lifted: list[Place] = []
        for place in sorted((p for p in self.used if p.stack == stack and p.position >= deepest), reverse=True):
            if place in self.out:
                self.lift(lifted)
                lifted = []
                self.take_out(place)
            if place in self.gone:
                self.add("remove", [place], None, said("remove {place}, which the box no longer has", place=place))
            elif place.position > deepest:
                lifted.append(place)
        self.lift(lifted)

    def take_out(self, place: Place) -> None:
        runs = [item.run for item in self.out[place]]
        breaks: Mapping[str, int] = self.standing.breaking.get(place, {})
        moved = {name: count - breaks.get(name, 0) for name, count in self.standing.at.get(place, {}).items()}
        disturbs = {name: count for name, count in moved.items() if count}
        text = said("take {runs} out of {place}", runs=listed(runs), place=place)
        self.add("take out", runs, place, text, breaks, disturbs)

    def lift(self, places: Sequence[Place]) -> None:
        if places:
            out = {place for place in places if place in self.out}
            disturbs = counted(self.standing.at.get(place, {}) for place in places if place not in out)
            text = said("lift {trays}, from the door inward", trays=_trays(places))
            self.add("lift", places, None, text, disturbs=disturbs)

    def close(self, stack: str) -> None:
        """Lay legs in from the back towards the door, and lower each tray over them."""
        deepest = self.deepest(stack)
        if deepest is None:
            return
        lowered: list[Place] = []
        known = (self.used - self.gone) | set(self.into)
        for place in sorted(p for p in known if p.stack == stack and p.position >= deepest):
            if place in self.used and place.position > deepest:
                lowered.append(place)
            if place in self.into:
                self.lower(lowered)
                lowered = []
                self.lay_in(place)
        self.lower(lowered)

    def lay_in(self, place: Place) -> None:
        legs = self.into[place]
        names = [f"{leg} ({self.job.subunit(leg).leg_span(leg)})" for leg in legs]
        text = said("lay {legs} into {place}", legs=listed(names), place=place)
        kept = [(leg, item) for leg in legs if (item := self.standing.kept(leg)) is not None]
        short = [
            said("{leg} by {short} mm", leg=leg, short=-item.left_mm)
            for leg, item in kept
            if item.left_mm is not None and item.left_mm < 0
        ]
        if short:
            new = said("too short as it was cut, so that a new piece has to be spliced on: {legs}", legs=listed(short))
            text = joined([text, new], "; ")
        tries = [item.tries for _, item in kept]
        known = [count for count in tries if count is not None]
        self.add("lay in", legs, place, text, tries=min(known) if known and len(known) == len(tries) else None)

    def lower(self, places: Sequence[Place]) -> None:
        if places:
            self.add("lower", places, None, said("lower {trays}, from the back towards the door", trays=_trays(places)))

    def lead(self, way: GoesBy) -> None:
        now = self.assignment.ways.get(way.trunk)
        if now is None:
            return
        parts = []
        if way.port not in {None, now.port}:
            parts.append(said("in at {port} instead of {before}", port=now.port, before=way.port))
        if way.travel not in {None, now.travel}:
            parts.append(said("{travel} instead of {before}", travel=said(now.travel), before=said(way.travel or "")))
        if way.loops not in {None, now.loops}:
            parts.append(said("with {loops} instead of {before}", loops=several(now.loops, "loop"), before=way.loops))
        if parts:
            self.add("lead", [way.trunk], None, said("lead {trunk} {how}", trunk=way.trunk, how=listed(parts)))
        if way.trunk in self.differs.partings:
            text = said(
                "divide {trunk} at the port instead of the tray"
                if way.divide_at == "tray"
                else "divide {trunk} at the tray instead of the port",
                trunk=way.trunk,
            )
            self.add("divide", [way.trunk], None, text)
        if way.trunk in self.differs.ribbons and way.ribbons is not None:
            now_done = ribbons_are(ribbons_of(self.job, self.assignment, way.trunk))
            text = said(
                "splice {trunk} with its ribbons {done} instead of {before}",
                trunk=way.trunk, done=now_done, before=ribbons_are(way.ribbons),
            )  # fmt: skip
            self.add("work ribbons", [way.trunk], None, text)

    def divided(self) -> Iterator[str]:
        """Yield the subunits that are divided anew, or for the first time."""
        yield from self.differs.splits
        touched = {
            (item.trunk, self.job.trunk_by_id[item.trunk].subunit_of(item.first).number)
            for item in self.given.runs
            if item.trunk in self.job.trunk_by_id
        }
        first = {(leg.trunk, leg.subunit): leg.of for leg in self.assignment.places if leg[:2] not in touched}
        yield from (f"{trunk}/{number}" for (trunk, number), of in sorted(first.items()) if of > 1)

    def divide(self, name: str) -> None:
        trunk, _, number = name.rpartition("/")
        subunit = self.job.subunit_of_leg[trunk, int(number)]
        of = next(leg.of for leg in self.assignment.places if leg.trunk == trunk and leg.subunit == subunit.number)
        spans = [span(*subunit.leg_run(leg)) for leg in subunit.legs(of)]
        text = said(
            "divide {name} into {of} legs: {fibres}" if of > 1 else "keep {name} whole: {fibres}",
            name=name, of=of, fibres=", ".join(spans),
        )  # fmt: skip
        self.add("divide", [name], None, text)


def way_words(way: Way) -> str:
    """Write a way: ``port bottom-left, clockwise, 1 loop``."""
    return said(
        "port {port}, {travel}, {loops}", port=way.port, travel=said(way.travel), loops=several(way.loops, "loop")
    )


def splice_words(counts: Mapping[str, int]) -> str:
    """Write splices by join: ``east (72), west (12)``."""
    return joined([said("{join} ({count:,})", join=join_words(name), count=count) for name, count in counts.items()])


def join_words(name: str) -> str:
    """Write the name of a join; one that the job only numbers is ``join 0``, as a bare number would read as a count."""
    return said("join {join}", join=name) if name.isdigit() else name


def _numbered(move: Move, step: int) -> Move:
    return Move(step, move.do, move.what, move.place, move.text, move.breaks, move.disturbs, move.tries)


def _trays(places: Sequence[Place]) -> str:
    """Write trays of one stack: ``left/12 to left/9``."""
    if len(places) == 1:
        return str(places[0])
    return said("{first} to {last}", first=places[0], last=places[-1])
