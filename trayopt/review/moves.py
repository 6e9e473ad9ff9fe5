"""The move list: from what was given to another plan, in an order in which it can be carried out.

Trays are lifted from the door inward, each once; what has to go is taken out on the way, trunks are led and subunits
divided anew while it hangs loose, and everything is laid in again from the base outward, each tray lowered over it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from trayopt.domain.assignment import Assignment
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.ranges import span
from trayopt.rules.words import listed
from trayopt.solver.model.decisions import Given, GoesBy, RunAt, changes, spliced_in
from trayopt.track.routes import leg_key

Deed = Literal["lift", "take out", "lead", "divide", "lay in", "lower"]


@dataclass(frozen=True)
class Move:
    """One step; ``what`` are tray places, runs, legs, subunits or a trunk, by what is done."""

    step: int
    do: Deed
    what: tuple[str, ...]
    place: str | None
    text: str

    def as_dict(self) -> dict[str, Any]:
        """Give the step as plain data."""
        return {"step": self.step, "do": self.do, "what": list(self.what), "place": self.place, "text": self.text}


def move_list(job: Job, given: Given, assignment: Assignment) -> list[Move]:
    """Give the steps from given decisions to an assignment."""
    loose = _loose(job, given, assignment)
    out: dict[Place, list[RunAt]] = defaultdict(list)
    for item in given.runs:
        if item.trunk not in job.trunk_by_id or _touches(job, item, loose) or not spliced_in(job, item):
            out[item.place].append(item)
    into: dict[Place, list[Leg]] = defaultdict(list)
    for leg in sorted(loose, key=lambda leg: (job.trunk_rank[leg.trunk], leg_key(leg))):
        into[assignment.places[leg]].append(leg)
    steps = _Steps()
    stacks = list(dict.fromkeys([*(stack.id for stack in job.enclosure.stacks), *(place.stack for place in out)]))
    used = {item.place for item in given.runs}
    for stack in stacks:
        _open(steps, stack, out, into, used)
    for way in given.ways.values():
        _lead(steps, job, way, assignment)
    for name in changes(job, given, assignment).splits:
        _divide(steps, job, name, assignment)
    for stack in stacks:
        _close(steps, stack, out, into, used, job)
    return steps.made


class _Steps:
    def __init__(self) -> None:
        self.made: list[Move] = []

    def add(self, do: Deed, what: Iterable[object], place: Place | None, text: str) -> None:
        self.made.append(
            Move(len(self.made) + 1, do, tuple(map(str, what)), None if place is None else str(place), text)
        )


def _loose(job: Job, given: Given, assignment: Assignment) -> set[Leg]:
    """Give the legs that do not stay as they lie: another tray, another way of their trunk, another division or end."""
    inside = given.in_job(job)
    differs = changes(job, given, assignment)
    led = {*differs.travel, *differs.ports, *differs.loops}
    turned = set(differs.ends)
    found = set()
    for leg, place in assignment.places.items():
        subunit = job.subunit(leg)
        first, last = subunit.leg_run(leg)
        before = [item for item in inside.runs if item.trunk == leg.trunk and item.first <= last and item.last >= first]
        stays = [item for item in before if item.place == place and item.first <= first and item.last >= last]
        if (
            leg.trunk in led
            or place.stack in turned
            or subunit.name in differs.splits
            or not stays
            or any(item.place != place for item in before)
        ):
            found.add(leg)
    return found


def _touches(job: Job, item: RunAt, loose: set[Leg]) -> bool:
    for leg in loose:
        if leg.trunk == item.trunk:
            first, last = job.subunit(leg).leg_run(leg)
            if item.first <= last and item.last >= first:
                return True
    return False


def _deepest(stack: str, *places: Iterable[Place]) -> int | None:
    return min((place.position for group in places for place in group if place.stack == stack), default=None)


def _open(
    steps: _Steps, stack: str, out: dict[Place, list[RunAt]], into: dict[Place, list[Leg]], used: set[Place]
) -> None:
    """Lift a stack's trays from the door inward, and take out on the way what has to go."""
    deepest = _deepest(stack, out, into)
    if deepest is None:
        return
    lifted: list[Place] = []
    for place in sorted((p for p in used if p.stack == stack and p.position >= deepest), key=lambda p: -p.position):
        if place in out:
            _lift(steps, lifted)
            lifted = []
            runs = [item.run for item in out[place]]
            steps.add("take out", runs, place, f"take {listed(runs)} out of {place}")
        if place.position > deepest:
            lifted.append(place)
    _lift(steps, lifted)


def _lift(steps: _Steps, places: Sequence[Place]) -> None:
    if places:
        names = _trays(places)
        steps.add("lift", places, None, f"lift {names}, from the door inward")


def _close(
    steps: _Steps,
    stack: str,
    out: dict[Place, list[RunAt]],
    into: dict[Place, list[Leg]],
    used: set[Place],
    job: Job,
) -> None:
    """Lay in from the base outward, and lower each tray over what is laid."""
    deepest = _deepest(stack, out, into)
    if deepest is None:
        return
    lowered: list[Place] = []
    known = {place for place in used | set(into) if place.stack == stack and place.position >= deepest}
    for place in sorted(known, key=lambda p: p.position):
        if place in used and place.position > deepest:
            lowered.append(place)
        if place in into:
            _lower(steps, lowered)
            lowered = []
            legs = [f"{leg} ({job.subunit(leg).leg_span(leg)})" for leg in into[place]]
            steps.add("lay in", into[place], place, f"lay {listed(legs)} into {place}")
    _lower(steps, lowered)


def _lower(steps: _Steps, places: Sequence[Place]) -> None:
    if places:
        steps.add("lower", places, None, f"lower {_trays(places)}, from the base outward")


def _trays(places: Sequence[Place]) -> str:
    """Write trays of one stack: ``left/12 to left/9``."""
    return str(places[0]) if len(places) == 1 else f"{places[0]} to {places[-1]}"


def _lead(steps: _Steps, job: Job, way: GoesBy, assignment: Assignment) -> None:
    now = assignment.ways.get(way.trunk)
    if way.trunk not in job.trunk_by_id or now is None:
        return
    parts = []
    if way.port not in {None, now.port}:
        parts.append(f"in at {now.port} instead of {way.port}")
    if way.travel not in {None, now.travel}:
        parts.append(f"{now.travel} instead of {way.travel}")
    if way.loops not in {None, now.loops}:
        parts.append(f"with {now.loops} loops instead of {way.loops}")
    if parts:
        steps.add("lead", [way.trunk], None, f"lead {way.trunk} {listed(parts)}")


def _divide(steps: _Steps, job: Job, name: str, assignment: Assignment) -> None:
    trunk, _, number = name.rpartition("/")
    subunit = job.subunit_of_leg[trunk, int(number)]
    of = next(leg.of for leg in assignment.places if leg.trunk == trunk and leg.subunit == subunit.number)
    spans = [span(*subunit.leg_run(leg)) for leg in subunit.legs(of)]
    text = f"divide {name} into {of} legs: {', '.join(spans)}" if of > 1 else f"keep {name} whole: {spans[0]}"
    steps.add("divide", [name], None, text)
