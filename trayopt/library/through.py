"""Trunks that go through the box, as a job file writes them: one entry, which is read as two cable ends.

``through: true`` makes a cable end for each side. A single value of the entry holds for both ends; a list of two values gives one
for each end: ``ports: [left, right]``, ``travel: [clockwise, either]``, ``loops: [[1], [1, 2]]``.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from trayopt.domain.ranges import Run
from trayopt.domain.said import said
from trayopt.domain.through import Through, ThroughKeys, end_names
from trayopt.domain.trunk import Trunk
from trayopt.errors import Fault
from trayopt.formats.locate import Located, Spot, describe
from trayopt.formats.locate import Path as DataPath
from trayopt.formats.validate import validate

KEYS = tuple(ThroughKeys.model_fields)
BY_SIDE = ("ports", "travel", "loops", "transition_mm", "divide_at")
"""Keys that may have a value for each side."""


@dataclass(frozen=True)
class TrunkAt:
    """A trunk and its place: the index of its entry in the list, and the side if the entry goes through."""

    trunk: Trunk
    entry: int
    located: Located
    side: int | None = None

    def spot(self, key: str, *more: int) -> Spot:
        """Return the place of a key of this trunk in the file."""
        return self.located.spot(("trunks", self.entry, key, *more))


@dataclass(frozen=True)
class Gone:
    """A trunk that goes through, as it was read: the index of its entry, its id, the ids of its ends, and its keys."""

    entry: int
    trunk: str
    ends: tuple[str, ...]
    keys: ThroughKeys


def goes_through(data: object) -> bool:
    """Whether an entry of the list of trunks has a key of trunks that go through."""
    return isinstance(data, Mapping) and any(key in data for key in KEYS)


def read_through(located: Located, entry: int, data: Mapping[str, Any]) -> tuple[Gone | None, list[Fault]]:
    """Read the keys that only a trunk that goes through has; None if the trunk does not go through, or something is wrong."""
    at: DataPath = ("trunks", entry)
    own = {key: data[key] for key in KEYS if key in data}
    keys, faults = validate(ThroughKeys, own, located, at)
    if keys is None:
        return None, faults
    if not keys.through:
        others = [key for key in own if key != "through"]
        hint = said("say through: true, or take it out")
        return None, [
            located.spot((*at, key), key=True).fault(
                said("{key} is a key of a trunk that goes through", key=key), hint=hint
            )
            for key in others
        ]
    name = data.get("id")
    faults = list(_alone(located, at, data))
    if keys.toward[0] == keys.toward[1]:
        message = said("both sides of trunk {name} have one name", name=describe(name))
        faults.append(located.spot((*at, "toward")).fault(message, found=keys.toward[0], allowed=said("two names")))
    if faults or not isinstance(name, str):
        return None, faults
    return Gone(entry, name, end_names(name, keys.toward), keys), []


def _alone(located: Located, at: DataPath, data: Mapping[str, Any]) -> Iterator[Fault]:
    """Find keys that a trunk that goes through must not have."""
    if data.get("exposed_mm") is not None:
        hint = said("say slack_mm: how much of the cable can be drawn into the box")
        spot = located.spot((*at, "exposed_mm"))
        yield spot.fault(said("a trunk that goes through has no exposed_mm"), found=str(data["exposed_mm"]), hint=hint)
    if data.get("idle", "coiled") != "coiled":
        message = said("what is cut and not spliced of a trunk that goes through is capped and stored")
        yield located.spot((*at, "idle")).fault(message, found=describe(data["idle"]), allowed="coiled")
    if "uncut" in data:
        hint = said("list under cut the tubes that are cut besides those in joins")
        yield located.spot((*at, "uncut")).fault(said("what is not cut follows from the joins"), hint=hint)
    ports = data.get("ports", "any")
    if isinstance(ports, tuple) and len(ports) != 2:
        message = said("a trunk that goes through has two ports: where it enters and where it leaves")
        allowed = said("a list of two, each a port or a list of ports; or any")
        yield located.spot((*at, "ports")).fault(message, found=describe(ports), allowed=allowed)


def entries(gone: Gone, data: Mapping[str, Any]) -> list[tuple[dict[str, Any], frozenset[str]]]:
    """Return the entries of the two ends, each with the keys that have a value for each side."""
    by_side = frozenset(key for key in BY_SIDE if _said_by_side(key, data.get(key)))
    made = []
    for side, end in enumerate(gone.ends):
        entry = {key: value for key, value in data.items() if key not in KEYS} | {"id": end}
        for key in by_side:
            entry[key] = data[key][side]
        if isinstance(entry.get("ports"), str) and entry["ports"] != "any":
            entry["ports"] = (entry["ports"],)
        made.append((entry, by_side))
    return made


def seen_from(located: Located, entry: int, side: int, by_side: Collection[str]) -> Located:
    """Return the input with the places of one side of an entry."""
    values = {}
    for path, mark in located.values.items():
        of_sides = path[:2] == ("trunks", entry) and len(path) > 3 and path[2] in by_side
        if not of_sides:
            values[path] = mark
        elif path[3] == side:
            values[(*path[:3], *path[4:])] = mark
    return replace(located, values=values)


def _said_by_side(key: str, value: object) -> bool:
    if not isinstance(value, tuple) or len(value) != 2:
        return False
    if key in {"loops", "divide_at"}:
        return all(isinstance(item, tuple) for item in value)
    return True


def settled(gone: Iterable[Gone], trunks: list[TrunkAt], runs: Iterable[Run]) -> tuple[list[TrunkAt], list[Through]]:
    """Settle which tubes are cut: tubes with a join, and tubes that the job names as cut."""
    of_end = {end: item for item in gone for end in item.ends}
    cut: dict[str, set[int]] = {item.trunk: set(item.keys.cut) for item in gone}
    by_id = {at.trunk.id: at.trunk for at in trunks}
    for run in runs:
        if run.trunk in of_end and run.trunk in by_id:
            for unit in by_id[run.trunk].units:
                if unit.first <= run.last and unit.last >= run.first:
                    cut[of_end[run.trunk].trunk].add(unit.number)
    made = []
    for at in trunks:
        item = of_end.get(at.trunk.id)
        if item is None or at.side is None:
            made.append(at)
            continue
        uncut = tuple(unit.number for unit in at.trunk.units if unit.number not in cut[item.trunk])
        trunk = Trunk.model_validate({**{k: getattr(at.trunk, k) for k in Trunk.model_fields}, "uncut": uncut})
        made.append(TrunkAt(trunk, at.entry, at.located, at.side))
    whole = [item for item in gone if set(item.ends) <= by_id.keys()]
    return made, [Through(trunk=i.trunk, ends=(i.ends[0], i.ends[1]), slack_mm=i.keys.slack_mm) for i in whole]


def through_faults(gone: Iterable[Gone], trunks: Mapping[str, Trunk], located: Located) -> Iterator[Fault]:
    """Find tubes that are named as cut but do not exist, or are named twice."""
    for item in gone:
        trunk = trunks.get(item.ends[0])
        for j, number in enumerate(item.keys.cut):
            spot = located.spot(("trunks", item.entry, "cut", j))
            if trunk is not None and number > len(trunk.units):
                message = said("trunk {trunk} has no such subunit", trunk=item.trunk)
                yield spot.fault(
                    message, found=str(number), allowed=said("1 to {units_count}", units_count=len(trunk.units))
                )
            if number in item.keys.cut[:j]:
                yield spot.fault(
                    said("cut lists {number} twice", number=number),
                    allowed=said("every one once"),
                    hint=said("take one out"),
                )


def resolved_faults(
    items: Iterable[tuple[int, Through]], trunks: Mapping[str, Trunk], located: Located
) -> Iterator[Fault]:
    """Find contradictions in a job that names the two ends of its trunks itself, as resolved jobs do."""
    ends: set[str] = set()
    for i, item in items:
        known = [trunks[end] for end in item.ends if end in trunks]
        spot = located.spot(("through", i))
        hint = said("write through: true in an entry of trunks, and leave the ends to trayopt")
        if len(known) < 2 or item.ends[0] == item.ends[1] or ends & set(item.ends):
            yield spot.fault(
                said("{trunk} needs two trunks of its own as its ends", trunk=item.trunk),
                found=", ".join(item.ends),
                hint=hint,
            )
        elif known[0].cable != known[1].cable or known[0].uncut != known[1].uncut:
            yield spot.fault(
                said("the two ends of {trunk} are not of one cable with the same tubes uncut", trunk=item.trunk),
                hint=hint,
            )
        ends |= set(item.ends)
    for j, trunk in enumerate(trunks.values()):
        if trunk.uncut and trunk.id not in ends:
            message = said("trunk {trunk} has uncut tubes but does not go through the box", trunk=trunk.id)
            yield located.spot(("trunks", j, "uncut")).fault(
                message, hint=said("write through: true in place of uncut")
            )
