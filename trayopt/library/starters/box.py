"""Describing a box by its inside size, its stacks, its ring and its ports. The formulas are in ``models/README.md``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import ceil, floor, hypot
from typing import Any, Literal

from trayopt.domain.hardware import (
    Enclosure,
    End,
    Entrance,
    Guide,
    Port,
    Seal,
    Stack,
    Track,
    Tray,
    TrayRange,
    trays_in_words,
)
from trayopt.library.starters.box_lines import box_lines
from trayopt.library.starters.draft import Draft
from trayopt.library.starters.measured import BASE_MM, DOOR_MM, OVER_MM, RADII_MM, SEALS, Measured, Others, Side

SIDES: tuple[Side, ...] = ("bottom", "top", "left", "right")

HOP_MM = 300
GAP_MM = 5
LEAST_GUIDE_MM = 10


def box_starter(name: str, answers: Mapping[str, Any], tray: Tray, mixed: Sequence[Others]) -> Draft:
    """Describe a box.

    Raises
    ------
    InputError
        If stacks, ring or ports do not fit into the box.
    """
    given = Measured(
        name, answers["size"], answers["stacks"], answers["trays"], tray, answers["tray"], mixed,
        answers["ring"], answers["guide"], {side: answers[side] for side in SIDES},
    )  # fmt: skip
    if not any(given.bores.values()):
        raise given.refused("the box has no port", "0 on every side", "say where trunks enter, such as bottom=2x50")
    _others(given)
    _ring(given)
    base, air = _depth(given)
    lefts, columns = _across(given)
    radius, bottom = _upright(given, lefts, columns)
    guides = tuple(_guides(given, columns, base, air, lefts[0] - given.ring))
    box = Enclosure(
        id=name,
        size_mm=given.size,
        track=Track(z_mm=_band(given, base, air), min_radius_mm=radius, guides=guides),
        ports=tuple(_ports(given, guides)),
        stacks=tuple(_stacks(given, guides, lefts, columns, radius, bottom, base, air)),
    )
    trays = trays_in_words(box.stacks[0]) if mixed else _several(given.trays, "tray")
    what = f"Box with {_several(given.stacks, 'stack')} of {trays}, {box.fibres:,} fibres in all."
    return Draft(box, what, tuple(box_lines(given, box)))


def _several(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"


# -- depth -----------------------------------------------------------------------------------------------------------


def _others(given: Measured) -> None:
    """Raise InputError for trays of other kinds at positions that cannot carry them."""
    for other in given.mixed:
        first, last = other.positions
        if last > given.trays:
            found = f"{first}-{last}: {other.named}"
            raise given.refused(
                "mixed names positions that a stack does not have",
                found,
                f"a stack has {_several(given.trays, 'tray')}: positions 1 to {given.trays}, from the back",
            )
        if other.tray.size_mm != given.tray.size_mm:
            own, found = (" x ".join(f"{mm:g}" for mm in tray.size_mm) for tray in (given.tray, other.tray))
            raise given.refused(
                f"trays {other.named} are not as wide and long as the others, whose entrances they share",
                f"{found} mm, the others {own} mm",
                "a kind of tray of the same size; trayopt library list --kind tray lists them",
            )


def _pitch(tray: Tray, air: int) -> int:
    """Return the step from a tray to the next one outward."""
    return ceil(tray.height_mm) + air


def _deep(given: Measured, air: int) -> float:
    *under, last = given.column
    return sum(_pitch(tray, air) for tray in under) + last.height_mm


def _depth(given: Measured) -> tuple[int, int]:
    """Return the base of the stacks, and the air between trays: 1 mm if the box is deep enough, else 0."""
    depth = given.size[2]
    air = int(BASE_MM + _deep(given, 1) <= depth)
    if _deep(given, air) > depth:
        raise given.refused(
            f"{_several(given.trays, 'tray')} do not fit into the depth of the box",
            f"{_deep(given, air):g} mm of trays, {depth:g} mm deep",
            "fewer trays in a stack, flatter trays, or another depth",
        )
    return min(BASE_MM, floor(depth - _deep(given, air))), air


def _band(given: Measured, base: int, air: int) -> tuple[int, int]:
    """Return the band in which the track carries legs: from the base of the trays to a little above the last tray."""
    depth = floor(given.size[2])
    top = ceil(base + _deep(given, air)) + OVER_MM
    return base, max(min(depth - DOOR_MM, top, base + HOP_MM), min(base + 2 * GAP_MM, depth))


# -- seen from the door ------------------------------------------------------------------------------------------------


def _ring(given: Measured) -> None:
    """Raise InputError for a ring whose opposite sides meet or overlap."""
    width, height = given.size[0], given.size[1]
    if 2 * given.ring >= min(width, height):
        raise given.refused(
            "the ring does not fit into the box: it has to lie between opposite walls with trays within it",
            f"ring={given.ring} mm from the walls of a box {width:g} mm wide and {height:g} mm high",
            "ring is measured from the inside of a side wall to the middle of the guides there, in mm",
        )


def _across(given: Measured) -> tuple[list[int], list[int]]:
    """Return the left edges of the evenly spread stacks, and the x of the guides on the top: corners, and between stacks."""
    inner = floor(given.size[0]) - 2 * given.ring
    width = given.tray.size_mm[0]
    if inner < given.stacks * width + (given.stacks + 1) * GAP_MM:
        raise given.refused(
            f"{_several(given.stacks, 'stack')} of trays do not stand side by side within the ring",
            f"trays {width:g} mm wide, a ring {inner} mm wide",
            f"trays that are {GAP_MM} mm off the ring and each other, fewer stacks, or a ring nearer to the walls",
        )
    gap = (inner - given.stacks * width) / (given.stacks + 1)
    lefts = [given.ring + floor(gap + (width + gap) * i) for i in range(given.stacks)]
    between = [round(left - gap / 2) for left in lefts[1:]]
    return lefts, [given.ring, *between, floor(given.size[0]) - given.ring]


def _upright(given: Measured, lefts: Sequence[int], columns: Sequence[int]) -> tuple[int, int]:
    """Return the radius of the track, and the lower edge of the trays, with spare height shared between above and below."""
    width, length = given.tray.size_mm
    high = floor(given.size[1]) - 2 * given.ring
    spare = floor(high - length)
    sideways = min(
        min(floor(left + width) - a, b - left)
        for left, a, b in zip(lefts, columns, columns[1:], strict=False)
    )  # fmt: skip
    radius = min(RADII_MM[1], spare - GAP_MM, sideways)
    if radius < RADII_MM[0]:
        raise given.refused(
            "the trays leave no room for a bend from the ring to their entrances",
            f"{max(radius, 0)} mm; trays {length:g} mm long in a ring {high} mm high",
            f"a bend takes {RADII_MM[0]} mm or more: a ring nearer to the walls, or smaller trays",
        )
    above = radius + (spare - radius - GAP_MM) // 2
    return radius, floor(given.size[1]) - given.ring - above - ceil(length)


def _guides(given: Measured, columns: Sequence[int], base: int, air: int, gap: int) -> Iterator[Guide]:
    """Yield the guides clockwise from the upper left corner."""
    low, high = _band(given, base, air)
    width, depth = given.guide or (max(LEAST_GUIDE_MM, min(given.ring, gap)), high - low)
    left, right = columns[0], columns[-1]
    bottom, top = given.ring, floor(given.size[1]) - given.ring
    rows: list[tuple[str, str, list[tuple[int, int]]]] = [
        ("nw", "n", [(x, top) for x in columns[:-1]]),
        ("ne", "e", [(right, y) for y in _steps(top, bottom)]),
        ("se", "s", [(x, bottom) for x in _steps(right, left)]),
        ("sw", "w", [(left, y) for y in _steps(bottom, top)]),
    ]
    for corner, between, points in rows:
        for i, (x, y) in enumerate(points):
            name = between if len(points) == 2 else f"{between}{i}"
            yield Guide(id=name if i else corner, x_mm=x, y_mm=y, opening_mm2=width * depth, width_mm=width)


def _steps(start: int, end: int) -> list[int]:
    """Divide a side of the ring into equal hops of at most ``HOP_MM``; the end point belongs to the next side."""
    count = max(1, ceil(abs(end - start) / HOP_MM))
    return [start + round((end - start) * i / count) for i in range(count)]


def _stacks(
    given: Measured, guides: Sequence[Guide], lefts: Sequence[int], columns: Sequence[int], radius: int, bottom: int,
    base: int, air: int,
) -> Iterator[Stack]:  # fmt: skip
    """Yield the stacks. Legs enter them from above: clockwise near the right edge, counterclockwise near the left edge."""
    width, length = given.tray.size_mm
    level = bottom + floor(length)
    for i, left in enumerate(lefts):
        inset = floor(width / 8)
        clockwise = max(floor(left + width) - inset, columns[i] + radius)
        counterclockwise = min(left + inset, columns[i + 1] - radius)
        end = End(
            id="top",
            clockwise=Entrance(guide=guides[i].id, x_mm=clockwise, y_mm=level),
            counterclockwise=Entrance(guide=guides[i + 1].id, x_mm=counterclockwise, y_mm=level),
        )
        yield Stack(
            id=_named("stack", ("left", "right"), i, given.stacks),
            tray=given.tray,
            positions=given.trays,
            at_mm=(left, bottom),
            base_z_mm=base,
            pitch_mm=_pitch(given.tray, air),
            ends=(end,),
            trays=tuple(
                TrayRange(positions=other.positions, tray=other.tray, pitch_mm=_pitch(other.tray, air))
                for other in given.mixed
            ),
        )


def _named(alone: str, both: tuple[str, str], i: int, count: int) -> str:
    """Return the name of thing ``i`` of a row: by its side if there are at most three, else by its number."""
    if count == 1:
        return alone
    return both[i > 0] if count == 2 else ((both[0], "middle", both[1])[i] if count == 3 else f"{alone}-{i + 1}")


# -- ports -----------------------------------------------------------------------------------------------------------


def _ports(given: Measured, guides: Sequence[Guide]) -> Iterator[Port]:
    """Yield the ports, spread evenly over their walls; ports of the side walls keep away from the corners."""
    width, height = floor(given.size[0]), floor(given.size[1])
    for side in SIDES:
        bores = given.bores[side]
        upright = side in {"left", "right"}
        off = max((bore for each in ("bottom", "top") for bore in given.bores[each]), default=0) if upright else 0
        at = _spread(given, side, bores, height if upright else width, off)
        for i, (bore, along) in enumerate(zip(bores, at, strict=True)):
            x, y = {"bottom": (along, 0), "top": (along, height), "left": (0, along), "right": (width, along)}[side]
            nearest = min(guides, key=lambda guide: hypot(guide.x_mm - x, guide.y_mm - y))
            ends = ("lower", "upper") if upright else ("left", "right")
            word = _named("", ends, i, len(bores))
            name = f"{side}-side" if upright and not word else side
            yield Port(
                id=f"{name}{'-' if word and not word.startswith('-') else ''}{word}",
                x_mm=x,
                y_mm=y,
                guide=nearest.id,
                bore_mm=bore,
                turns=_turns(side, along, width),
                seals=tuple(_seals(bore)),
            )


def _spread(given: Measured, side: Side, bores: Sequence[float], long: int, off: float) -> list[int]:
    """Return the places of ports along a wall: a single port in the middle, several evenly between the sides of the ring."""
    if not bores:
        return []
    if len(bores) == 1:
        return [long // 2]
    first = ceil(max(given.ring, bores[0] / 2 + GAP_MM) + off)
    last = floor(long - max(given.ring, bores[-1] / 2 + GAP_MM) - off)
    step = (last - first) / (len(bores) - 1)
    if step < max(bores) + 1:
        raise given.refused(
            f"{len(bores)} ports do not fit side by side into the {side} wall",
            f"one for each {max(step, 0):.0f} mm, bores up to {max(bores):g} mm",
            "fewer or smaller ports",
        )
    return [first + round(step * i) for i in range(len(bores))]


def _turns(side: Side, along: int, width: int) -> Literal["clockwise", "counterclockwise", "both"]:
    """Return the natural direction of a port: from a lower corner up the side, from an upper corner along the top."""
    if side in {"left", "right"} or abs(along - width / 2) < width / 6:
        return "both"
    return "clockwise" if (side == "bottom") == (along < width / 2) else "counterclockwise"


def _seals(bore: float) -> Iterator[Seal]:
    for holes, least, most in SEALS:
        yield Seal(holes=holes, least_mm=max(1, floor(least * bore)), most_mm=max(1, floor(most * bore)))
