"""Soundness of boxes: track, ports with their seals, stacks and their entrances."""

from __future__ import annotations

from collections.abc import Iterator
from math import hypot

from trayopt.domain.base import EPSILON, TRAVELS, Travel
from trayopt.domain.hardware import Enclosure, End, Port, Seal, Stack
from trayopt.domain.said import said
from trayopt.library.geometry import Point, Rectangle, area2, clear_inside, crossing_sides
from trayopt.library.remark import Path, Remark, unusual


def box_remarks(box: Enclosure) -> Iterator[Remark]:
    """Yield the errors and warnings about a box."""
    for i, size in enumerate(box.size_mm):
        yield from unusual(("size_mm", i), size, 60, 3000)
    low, high = box.track.z_mm
    if low < 0 or high > box.size_mm[2]:
        allowed = said("0 to {size_mm:g}", size_mm=box.size_mm[2])
        yield Remark(
            "error",
            ("track", "z_mm"),
            said("the track does not fit into the depth of the box"),
            said("{low} to {high}", low=low, high=high),
            allowed,
        )
    yield from unusual(("track", "min_radius_mm"), box.track.min_radius_mm, 30, 300)
    ring = [Point(guide.x_mm, guide.y_mm) for guide in box.track.guides]
    sound = True
    for remark in _ring(box, ring):
        sound = sound and remark.level != "error"
        yield remark
    yield from _ports(box)
    for i, stack in enumerate(box.stacks):
        yield from _stack(box, i, stack, ring if sound else None)
        for j, other in enumerate(box.stacks[:i]):
            if _rectangle(stack).overlaps(_rectangle(other)) and _share_depth(stack, other):
                yield Remark(
                    "error",
                    ("stacks", i, "at_mm"),
                    said("stacks {other} and {stack} overlap", other=box.stacks[j].id, stack=stack.id),
                )


def _ring(box: Enclosure, ring: list[Point]) -> Iterator[Remark]:
    guides = box.track.guides
    path: Path = ("track", "guides")
    for i, guide in enumerate(guides):
        if not (0 <= guide.x_mm <= box.size_mm[0] and 0 <= guide.y_mm <= box.size_mm[1]):
            found = f"({guide.x_mm}, {guide.y_mm})"
            yield Remark("error", (*path, i), said("guide {guide} is outside of the box", guide=guide.id), found)
        yield from unusual((*path, i, "opening_mm2"), guide.opening_mm2, 100, 50_000, "mm²")
        if abs(guide.width_mm**2 - guide.opening_mm2) > EPSILON * guide.opening_mm2:
            yield from unusual((*path, i, "width_mm"), guide.width_mm, 10, 300)
    crossed = crossing_sides(ring)
    if crossed is not None:
        names = [f"{guides[i].id}-{guides[(i + 1) % len(guides)].id}" for i in crossed]
        yield Remark(
            "error",
            (*path, crossed[1]),
            said("the track crosses itself: {one} and {other}", one=names[0], other=names[1]),
            "",
            said("a simple ring"),
        )
    elif area2(ring) >= 0:
        yield Remark("error", path, said("the guides run counterclockwise"), "", said("clockwise, seen from the door"))


def _ports(box: Enclosure) -> Iterator[Remark]:
    width, height, depth = box.size_mm
    for i, port in enumerate(box.ports):
        path: Path = ("ports", i)
        at = f"({port.x_mm}, {port.y_mm})"
        if not (0 <= port.x_mm <= width and 0 <= port.y_mm <= height):
            yield Remark("error", path, said("port {port} is outside of the box", port=port.id), at)
        elif port.x_mm not in {0, width} and port.y_mm not in {0, height}:
            message, values = (
                said("port {port} is not on an edge of the box", port=port.id),
                (("port", port.id), ("found", at)),
            )
            yield Remark("warning", path, message, at, "", "port_off_edge", values)
        if port.bore_mm > depth:
            found = said("bore {bore_mm:g} mm, depth {depth:g} mm", bore_mm=port.bore_mm, depth=depth)
            yield Remark(
                "error",
                (*path, "bore_mm"),
                said("port {port} does not fit into the depth of the box", port=port.id),
                found,
            )
        if not port.seals:
            message = said(
                "port {port} has no seals: no trunk can enter there as long as seals must close round it", port=port.id
            )
            yield Remark("warning", (*path, "id"), message, kind="sealless", values=(("port", port.id),))
        for j, seal in enumerate(port.seals):
            yield from _seal(port, seal, (*path, "seals", j))
        for other in box.ports[:i]:
            apart = hypot(port.x_mm - other.x_mm, port.y_mm - other.y_mm)
            if apart < (port.bore_mm + other.bore_mm) / 2:
                yield Remark(
                    "error",
                    path,
                    said("ports {other} and {port} overlap", other=other.id, port=port.id),
                    said("{apart:.0f} mm apart", apart=apart),
                )


def _seal(port: Port, seal: Seal, path: Path) -> Iterator[Remark]:
    """Find seals for impossible cables: a cable thicker than the bore, or more cables than fit through the bore together."""
    bore = port.bore_mm
    if seal.most_mm > bore + EPSILON:
        message = said("a seal of port {port} takes more than its bore", port=port.id)
        yield Remark(
            "error",
            (*path, "most_mm"),
            message,
            said("{most_mm:g} mm, bore {bore:g} mm", most_mm=seal.most_mm, bore=bore),
        )
    least, where = seal.least_mm, (*path, "least_mm")
    thinnest = said("the thinnest cables of a seal of port {port} do not pass its bore", port=port.id)
    if least > bore + EPSILON:
        yield Remark("error", where, thinnest, said("{least:g} mm", least=least), said("up to {bore:g} mm", bore=bore))
    elif seal.holes >= 2 and 2 * least > bore + EPSILON:
        yield Remark(
            "error",
            where,
            thinnest,
            said("two of {least:g} mm, {both:g} mm together", least=least, both=2 * least),
            said("up to {bore:g} mm", bore=bore),
        )
    elif seal.holes * least**2 > bore**2 + EPSILON:
        found = said(
            "{holes} × {least:g}² = {square:g} mm²", holes=seal.holes, least=least, square=seal.holes * least**2
        )
        yield Remark(
            "error", where, thinnest, found, said("up to {bore:g}² = {square:g} mm²", bore=bore, square=bore**2)
        )


def _stack(box: Enclosure, i: int, stack: Stack, ring: list[Point] | None) -> Iterator[Remark]:
    path: Path = ("stacks", i)
    width, height, depth = box.size_mm
    ground = _rectangle(stack)
    if ground.left < 0 or ground.bottom < 0 or ground.right > width or ground.top > height:
        found = said(
            "x {left:g} to {right:g}, y {bottom:g} to {top:g}",
            left=ground.left,
            right=ground.right,
            bottom=ground.bottom,
            top=ground.top,
        )
        allowed = said("x 0 to {width:g}, y 0 to {height:g}", width=width, height=height)
        yield Remark(
            "error",
            (*path, "at_mm"),
            said("the trays of stack {stack} are outside of the box", stack=stack.id),
            found,
            allowed,
        )
    elif ring is not None and not clear_inside(ring, ground):
        yield Remark(
            "error", (*path, "at_mm"), said("the trays of stack {stack} stand in the way of the track", stack=stack.id)
        )
    yield from _pitches(stack, path)
    for j, item in enumerate(stack.trays):
        if item.tray.size_mm != stack.tray.size_mm:
            own, others = (" × ".join(f"{mm:g}" for mm in tray.size_mm) for tray in (item.tray, stack.tray))
            message = said(
                "trays {tray} of stack {stack} have another size than the others, whose entrances they share",
                tray=item.tray.id,
                stack=stack.id,
            )
            yield Remark(
                "error",
                (*path, "trays", j, "tray"),
                message,
                said("{size} mm", size=own),
                said("{size} mm", size=others),
            )
    top = _top(stack)
    if stack.base_z_mm < 0 or top > depth:
        found, allowed = (
            said("z {base_z_mm} to {top:g}", base_z_mm=stack.base_z_mm, top=top),
            said("0 to {depth:g}", depth=depth),
        )
        yield Remark(
            "error",
            (*path, "base_z_mm"),
            said("stack {stack} does not fit into the depth of the box", stack=stack.id),
            found,
            allowed,
        )
    for j, end in enumerate(stack.ends):
        for travel in TRAVELS:
            yield from _entrance(box, stack, end, travel, (*path, "ends", j, travel))


def _pitches(stack: Stack, path: Path) -> Iterator[Remark]:
    """Find pitches that are less than the height of the tray below, once for each kind of tray."""
    told: set[int | None] = set()
    for position in range(1, stack.positions):
        item = stack.range_at(position)
        at = None if item is None else stack.trays.index(item)
        pitch, tray = stack.pitch_at(position), stack.by_position[position - 1]
        if pitch < tray.height_mm and at not in told:
            told.add(at)
            own = (*path, "pitch_mm") if at is None else (*path, "trays", at)
            message = said("the pitch of stack {stack} is less than its trays are high", stack=stack.id)
            yield Remark(
                "error",
                own,
                message,
                said("{pitch} mm", pitch=pitch),
                said("{height_mm:g} mm or more", height_mm=tray.height_mm),
            )


def _top(stack: Stack) -> float:
    """Return the height of the top of a stack's last tray above the back plate, in mm."""
    return stack.z_mm(stack.positions) + stack.by_position[-1].height_mm


def _entrance(box: Enclosure, stack: Stack, end: End, travel: Travel, path: Path) -> Iterator[Remark]:
    guides = box.track.guides
    entrance = end.entrance(travel)
    at = next(i for i, guide in enumerate(guides) if guide.id == entrance.guide)
    guide = guides[at]
    following = guides[(at + (1 if travel == "clockwise" else -1)) % len(guides)]
    ahead = Point(following.x_mm - guide.x_mm, following.y_mm - guide.y_mm)
    off = Point(entrance.x_mm - guide.x_mm, entrance.y_mm - guide.y_mm)
    hop = hypot(*ahead)
    if not hop:
        return
    along = (off.x * ahead.x + off.y * ahead.y) / hop
    across = abs(off.x * ahead.y - off.y * ahead.x) / hop
    least = box.track.min_radius_mm
    name = said("the entrance of stack {stack}, end {end}, {travel}", stack=stack.id, end=end.id, travel=said(travel))
    if along <= 0:
        message = said("{name} lies behind its guide {guide}", name=name, guide=guide.id)
        yield Remark(
            "error",
            path,
            message,
            said("{along:.0f} mm towards {following}", along=along, following=following.id),
            said("{least:g} mm or more", least=least),
        )
    else:
        for distance, way in ((along, said("along")), (across, said("across"))):
            if distance < least - EPSILON:
                message = said(
                    "{name} is too near to its guide {guide}, {way} the direction of travel",
                    name=name,
                    guide=guide.id,
                    way=way,
                )
                yield Remark(
                    "error",
                    path,
                    message,
                    said("{distance:.1f} mm", distance=distance),
                    said("{least:g} mm, the radius of the track, or more", least=least),
                )
    off_mm = _rectangle(stack).off_edge(Point(entrance.x_mm, entrance.y_mm))
    if off_mm:
        message = said("{name} is not on an edge of its trays", name=name)
        values = (("stack", stack.id), ("end", end.id), ("travel", travel), ("found", off_mm))
        yield Remark(
            "warning", path, message, said("{off_mm:g} mm off", off_mm=off_mm), "", "entrance_off_edge", values
        )


def _rectangle(stack: Stack) -> Rectangle:
    left, bottom = stack.at_mm
    return Rectangle(left, bottom, left + stack.tray.size_mm[0], bottom + stack.tray.size_mm[1])


def _share_depth(one: Stack, other: Stack) -> bool:
    tops = [_top(stack) for stack in (one, other)]
    return max(one.base_z_mm, other.base_z_mm) < min(tops)
