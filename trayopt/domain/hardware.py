"""The hardware: trays, enclosures and tube sets. Units are in the names of the fields."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from itertools import groupby
from math import ceil, hypot, pi, sqrt
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import Field, GetJsonSchemaHandler, model_validator
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from trayopt.domain.base import EPSILON, Count, Frozen, Id, Millimetres, Size, Travel


class Reference:
    """Mark of a field that a file may give as a library id or as a path to a ``.yaml`` file."""

    def __init__(self, kind: str) -> None:
        self.kind = kind

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        """Allow a string as well as the object in the JSON Schema."""
        text: dict[str, Any] = {
            "type": "string",
            "description": f"{self.kind} id of the library, or a path ending in .yaml",
        }
        return {"anyOf": [text, handler(schema)]}


class Place(NamedTuple):
    """A tray place: a stack and a position, counted from 1, the one nearest to the base."""

    stack: str
    position: int

    def __str__(self) -> str:
        """Write as in plans and messages: ``left/3``."""
        return f"{self.stack}/{self.position}"


class Tray(Frozen):
    """A splice tray type; ``inside_mm`` is the length of fibre from the entrance to the sleeve, storage turns included."""

    kind: Literal["tray"] = "tray"
    id: Id
    fibres: Count
    sleeves: Count
    sleeve_fibres: Count
    entrance_legs: Count
    height_mm: Size
    size_mm: tuple[Size, Size]
    inside_mm: Annotated[int, Field(ge=0, le=100_000)]
    min_radius_mm: Size


class Guide(Frozen):
    """A guide of the track; legs of both directions share its opening.

    ``width_mm`` is the width of the opening across the way of the legs; if the file does not say, the opening is taken as square.
    """

    id: Id
    x_mm: Millimetres
    y_mm: Millimetres
    opening_mm2: Size
    width_mm: Size = 1

    @model_validator(mode="before")
    @classmethod
    def _fill_width(cls, data: Any) -> Any:
        if isinstance(data, dict) and "width_mm" not in data:
            opening = data.get("opening_mm2")
            if isinstance(opening, int | float) and not isinstance(opening, bool) and 0 < opening <= 1e10:
                return {**data, "width_mm": sqrt(opening)}
        return data


class Track(Frozen):
    """The closed ring of guides, listed clockwise as seen from the door.

    ``z_mm`` is the band in which the guides carry legs: its lower and upper edge above the back plate.
    """

    z_mm: tuple[Millimetres, Millimetres]
    min_radius_mm: Size
    guides: Annotated[tuple[Guide, ...], Field(min_length=3, max_length=1000)]


class Seal(Frozen):
    """A cable seal of a port: the number of its holes, and the least and greatest cable diameter that a hole takes."""

    holes: Count
    least_mm: Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)]
    most_mm: Size

    def takes(self, diameter_mm: float) -> bool:
        """Whether a cable is neither too thin nor too thick for the seal."""
        return self.least_mm - EPSILON <= diameter_mm <= self.most_mm + EPSILON


class Port(Frozen):
    """A port, where trunks enter; ``turns`` is the natural direction of travel from the port."""

    id: Id
    x_mm: Millimetres
    y_mm: Millimetres
    guide: Id
    bore_mm: Size
    turns: Literal["clockwise", "counterclockwise", "both"] = "both"
    seals: tuple[Seal, ...] = ()

    def passes(self, diameters_mm: Sequence[float]) -> bool:
        """Whether cables fit through the bore together.

        The two thickest must fit side by side, and the squares of all diameters add up to no more than the square of the bore.
        """
        thickest = sorted(diameters_mm)[-2:]
        squares = sum(diameter**2 for diameter in diameters_mm)
        return sum(thickest) <= self.bore_mm + EPSILON and squares <= self.bore_mm**2 + EPSILON

    def seal_for(self, diameters_mm: Sequence[float]) -> Seal | None:
        """Return the seal with the fewest holes that takes cables of these diameters; None if the port cannot take them."""
        if not self.passes(diameters_mm):
            return None
        fits = [s for s in self.seals if s.holes >= len(diameters_mm) and all(s.takes(d) for d in diameters_mm)]
        return min(fits, key=lambda seal: seal.holes, default=None)


class Entrance(Frozen):
    """The point where legs of one direction of travel leave the track for the trays of a stack."""

    guide: Id
    x_mm: Millimetres
    y_mm: Millimetres


class End(Frozen):
    """A side of a stack where legs enter the trays, with one entrance for each direction of travel."""

    id: Id
    clockwise: Entrance
    counterclockwise: Entrance

    def entrance(self, travel: Travel) -> Entrance:
        """Return the entrance for legs that travel in this direction."""
        return self.clockwise if travel == "clockwise" else self.counterclockwise


class TrayRange(Frozen):
    """A range of positions of a stack, given as the first and the last, that carries another kind of tray.

    ``pitch_mm`` is the step from each of these positions to the next position outward; by default the pitch of the stack.
    """

    positions: tuple[Annotated[int, Field(ge=1)], Annotated[int, Field(ge=1)]]
    tray: Annotated[Tray, Reference("tray")]
    pitch_mm: Annotated[int, Field(ge=0, le=10_000)] | None = None

    def holds(self, position: int) -> bool:
        """Whether a position lies in the range."""
        return self.positions[0] <= position <= self.positions[1]


class Stack(Frozen):
    """Trays one above the other; ``at_mm`` is their lower left corner.

    ``trays`` lists ranges of positions with another kind of tray; all other positions carry ``tray``.
    """

    id: Id
    tray: Annotated[Tray, Reference("tray")]
    positions: Annotated[int, Field(ge=1, le=1000)]
    at_mm: tuple[Millimetres, Millimetres]
    base_z_mm: Millimetres
    pitch_mm: Annotated[int, Field(ge=0, le=10_000)]
    ends: Annotated[tuple[End, ...], Field(min_length=1)]
    trays: Annotated[tuple[TrayRange, ...], Field(max_length=100)] = ()

    @cached_property
    def by_position(self) -> tuple[Tray, ...]:
        """The kind of tray at each position, from position 1 outward."""
        ranges = (self.range_at(position) for position in range(1, self.positions + 1))
        return tuple(self.tray if found is None else found.tray for found in ranges)

    @cached_property
    def kinds(self) -> tuple[Tray, ...]:
        """Every kind of tray in the stack, each once, from position 1 outward."""
        return tuple(dict.fromkeys(self.by_position))

    def range_at(self, position: int) -> TrayRange | None:
        """Return the range of another kind of tray that holds a position; None if the position carries the stack's own tray."""
        return next((found for found in self.trays if found.holds(position)), None)

    def pitch_at(self, position: int) -> int:
        """Return the step from a position to the next position outward, in mm."""
        found = self.range_at(position)
        return self.pitch_mm if found is None or found.pitch_mm is None else found.pitch_mm

    def begins(self, position: int) -> bool:
        """Whether the tray at a position is of another kind than the tray below it; true at position 1."""
        return position == 1 or self.by_position[position - 1] != self.by_position[position - 2]

    def z_mm(self, position: int) -> int:
        """Return the height of a tray place above the back plate, in mm."""
        if not self.trays:
            return self.base_z_mm + (position - 1) * self.pitch_mm
        return self.base_z_mm + sum(map(self.pitch_at, range(1, position)))


def trays_in_words(stack: Stack) -> str:
    """Write the number of trays of each kind in a stack, from position 1 outward: ``8 × ribbon-96 and 4 × single-24``."""
    return " and ".join(f"{len(list(same))} × {tray.id}" for tray, same in groupby(stack.by_position))


class MountingPart(Frozen):
    """Small parts that a box needs: ``count`` of them for the box, or for each new port, stack, tray or trunk."""

    name: Annotated[str, Field(min_length=1, max_length=64)]
    size: Annotated[str, Field(max_length=64)] = ""
    count: Count
    each: Literal["box", "port", "stack", "tray", "trunk"] = "box"


class Enclosure(Frozen):
    """The box: its track, its ports and its stacks. Place order takes the stacks in the order of this list."""

    kind: Literal["enclosure"] = "enclosure"
    id: Id
    size_mm: tuple[Size, Size, Size]
    track: Track
    ports: Annotated[tuple[Port, ...], Field(min_length=1)]
    stacks: Annotated[tuple[Stack, ...], Field(min_length=1)]
    parts: Annotated[tuple[MountingPart, ...], Field(max_length=100)] = ()

    @cached_property
    def places(self) -> tuple[Place, ...]:
        """All tray places in place order: by position, then as the enclosure lists its stacks."""
        deepest = max(stack.positions for stack in self.stacks)
        return tuple(
            Place(stack.id, position)
            for position in range(1, deepest + 1)
            for stack in self.stacks
            if position <= stack.positions
        )

    @cached_property
    def place_rank(self) -> dict[Place, int]:
        """Index of each place in place order, from 0."""
        return {place: rank for rank, place in enumerate(self.places)}

    @cached_property
    def stack_by_id(self) -> dict[str, Stack]:
        """Stacks by id."""
        return {stack.id: stack for stack in self.stacks}

    @cached_property
    def port_by_id(self) -> dict[str, Port]:
        """Ports by id."""
        return {port.id: port for port in self.ports}

    @cached_property
    def trays(self) -> tuple[Tray, ...]:
        """Every tray type in the box, each once. Two different types may share an id if a file gives them inline."""
        return tuple(dict.fromkeys(tray for stack in self.stacks for tray in stack.kinds))

    @cached_property
    def outer_lay_mm(self) -> int:
        """How much longer a turn is at the outer edge of the guides than in their middle, in mm.

        It is 2π × half the width of the widest guide, rounded up.
        """
        return ceil(pi * max(guide.width_mm for guide in self.track.guides) - EPSILON)

    @cached_property
    def fibres(self) -> int:
        """Number of splices that all trays of the box hold together."""
        return sum(tray.fibres for stack in self.stacks for tray in stack.by_position)

    def tray_at(self, place: Place) -> Tray:
        """Return the tray type at a place."""
        return self.stack_by_id[place.stack].by_position[place.position - 1]

    def faults(self) -> list[tuple[tuple[str | int, ...], str, str]]:
        """List references and ranges inside the enclosure that are wrong, each as (path, message, what is allowed)."""
        found: list[tuple[tuple[str | int, ...], str, str]] = []
        guides = [guide.id for guide in self.track.guides]
        named = ", ".join(dict.fromkeys(guides))
        for path, ids in (
            (("track", "guides"), guides),
            (("ports",), [port.id for port in self.ports]),
            (("stacks",), [stack.id for stack in self.stacks]),
        ):
            found += [
                ((*path, i, "id"), f"{ids[i]!r} is given twice in {path[-1]}", "every id once") for i in repeats(ids)
            ]
        if self.track.z_mm[0] > self.track.z_mm[1]:
            found.append((("track", "z_mm"), "the band of the track is upside down", "the lower edge first"))
        for i, port in enumerate(self.ports):
            if port.guide not in guides:
                found.append((("ports", i, "guide"), f"port {port.id!r} names an unknown guide {port.guide!r}", named))
            for j, seal in enumerate(port.seals):
                if seal.least_mm > seal.most_mm:
                    found.append((("ports", i, "seals", j), "least_mm is above most_mm", "least_mm up to most_mm"))
        for i, stack in enumerate(self.stacks):
            for j, found_range in enumerate(stack.trays):
                first, last = found_range.positions
                at = ("stacks", i, "trays", j, "positions")
                if not first <= last <= stack.positions:
                    allowed = f"the first and the last of positions 1 to {stack.positions}"
                    found.append((at, f"stack {stack.id!r} has no such range of positions", allowed))
                if any(other.holds(p) for other in stack.trays[:j] for p in (first, last)) or any(
                    found_range.holds(other.positions[0]) for other in stack.trays[:j]
                ):
                    found.append((at, f"a position of stack {stack.id!r} is in two ranges", "every position once"))
            ends = [end.id for end in stack.ends]
            found += [
                (("stacks", i, "ends", j, "id"), f"{ends[j]!r} is given twice in ends", "every id once")
                for j in repeats(ends)
            ]
            for j, end in enumerate(stack.ends):
                for travel, entrance in (("clockwise", end.clockwise), ("counterclockwise", end.counterclockwise)):
                    if entrance.guide not in guides:
                        found.append(
                            (("stacks", i, "ends", j, travel, "guide"), f"unknown guide {entrance.guide!r}", named)
                        )
        return found


class Tube(Frozen):
    """A tube that protects one leg; if no least radius is given, it is ten times the diameter."""

    bore_mm: Size
    diameter_mm: Size
    least_radius_mm: Size | None = None

    @property
    def radius_mm(self) -> float:
        """Least radius to which the tube may be bent, in mm."""
        return 10 * self.diameter_mm if self.least_radius_mm is None else self.least_radius_mm


class TubeSet(Frozen):
    """The tubes that are available for legs of trunks that are divided at the port."""

    kind: Literal["tubes"] = "tubes"
    id: Id
    tubes: Annotated[tuple[Tube, ...], Field(min_length=1)]

    def for_bore(self, needed_mm: float) -> Tube | None:
        """Return the thinnest tube (then least bore, then least radius) whose bore is large enough; None if no tube has one."""
        fits = [tube for tube in self.tubes if tube.bore_mm >= needed_mm - EPSILON]
        return min(fits, key=lambda tube: (tube.diameter_mm, tube.bore_mm, tube.radius_mm), default=None)


def flat_bore_mm(ribbons: int, ribbon_mm: tuple[float, float]) -> float:
    """Return the bore that a stack of flat ribbons (width, height) needs, in mm: the diagonal of the stack."""
    return hypot(ribbons * ribbon_mm[1], ribbon_mm[0])


def round_bore_mm(fibres: int, coating_mm: float) -> float:
    """Return the bore that a bundle of fibres needs, in mm, if the fibres fill 60 % of it."""
    return coating_mm * sqrt(fibres / 0.6)


def repeats(ids: list[str]) -> list[int]:
    """Return the index of every id that already occurs earlier in the list."""
    seen: set[str] = set()
    found = []
    for i, name in enumerate(ids):
        if name in seen:
            found.append(i)
        seen.add(name)
    return found
