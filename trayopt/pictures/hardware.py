"""Pictures of hardware without a plan: boxes, trays, cables and tubes with their sizes; assumed values are marked."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from math import asin, cos, hypot, pi, sin

from trayopt.domain.cable import Cable
from trayopt.domain.hardware import Enclosure, Port, Stack, Tray, TubeSet, trays_in_words
from trayopt.pictures.base import WIDTH, Box, Disc, Dot, Labels, Path, Picture, Rect, Text, fitted, text_width, wrapped
from trayopt.pictures.front import BoxFront, draw_case, draw_guides, draw_ports, draw_stacks
from trayopt.pictures.sizes import size_across, size_upright

Model = Tray | Enclosure | Cable | TubeSet
DataPath = tuple[str | int, ...]
LINE = 17.0
EDGE = 12.0
MARK = "*"
"""The mark after a name or a figure that is only assumed."""
FRONT_PX = (440.0, 430.0)
HEIGHT_X = 62.0
"""The x at which the height of the box is drawn."""
SECTION_PX = 150.0


@dataclass(frozen=True)
class Doubts:
    """The values of an entry that are only assumed, by their paths, as its file says."""

    paths: Collection[DataPath] = ()

    def of(self, *path: str | int) -> bool:
        """Whether a value, or a part that contains it, is assumed."""
        return any(path[:end] in self.paths for end in range(1, len(path) + 1))

    def mark(self, *path: str | int) -> str:
        """Return the mark if a value is assumed, otherwise an empty text."""
        return MARK if self.of(*path) else ""

    def lines(self, model: Model) -> list[str]:
        """List what is assumed; parts of one kind with the same keys share a line: ``ports a, b: x_mm, y_mm``."""
        parts: dict[tuple[str, str], list[str]] = {}
        for path in sorted(self.paths, key=lambda path: [str(part).rjust(4, "0") for part in path]):
            *above, key = (str(part) if isinstance(part, str) else part for part in path)
            names = [str(part) for part in above if isinstance(part, str)]
            index = next((part for part in above if isinstance(part, int)), None)
            owners = [str(part) for part in above[: above.index(index)]] if index is not None else []
            who = "" if index is None else str(getattr(_items(model, owners)[index], "id", index + 1))
            parts.setdefault((" ".join(names), who), []).append(str(key))
        said = []
        alike = sorted(((head, tuple(keys)), who) for (head, who), keys in parts.items())
        for (head, keys), group in groupby(alike, key=lambda item: item[0]):
            whose = ", ".join(who for _, who in group if who)
            lead = " ".join(text for text in (head, whose) if text)
            said.append(f"{lead}: {', '.join(keys)}" if lead else ", ".join(keys))
        return said


def _items(model: Model, names: Sequence[str]) -> Sequence[object]:
    found: object = model
    for name in names:
        found = getattr(found, name)
    return found if isinstance(found, tuple) else ()


NO_DOUBTS = Doubts()


def hardware_picture(model: Model, doubts: Doubts = NO_DOUBTS) -> Picture:
    """Draw an entry of the library."""
    if isinstance(model, Enclosure):
        return box_picture(model, doubts)
    if isinstance(model, Tray):
        return _tray(model, doubts)
    return _cable(model, doubts) if isinstance(model, Cable) else _tubes(model, doubts)


def _begun(model: Model, what: str) -> Picture:
    kind = "box" if isinstance(model, Enclosure) else model.kind
    picture = Picture(f"{model.kind}-{model.id}", WIDTH, 0, f"{kind} {model.id}", what)
    picture.texts.append(Text(EDGE, 18, fitted(model.id, WIDTH - 2 * EDGE, 17), "title", size=17, full=model.id))
    picture.texts.append(Text(EDGE, 40, fitted(what, WIDTH - 2 * EDGE), "note", full=what))
    return picture


def _told(picture: Picture, y: float, lines: Sequence[str], kind: str = "figure", left: float = EDGE) -> float:
    """Write lines one under the other, wrapped; return the y of the next line."""
    for line in lines:
        for i, part in enumerate(wrapped(line, WIDTH - left - EDGE - 16)):
            picture.texts.append(Text(left + 16 * (i > 0), y, part, kind, full=line))
            y += LINE
    return y


def _finished(picture: Picture, y: float, doubts: Doubts, model: Model) -> Picture:
    """Write at the bottom what is assumed, and end the picture there."""
    said = doubts.lines(model)
    if said:
        head = f"{MARK} assumed, not measured: correct it in the file and take the word away"
        y = _told(picture, y + 8, [head], "doubt")
        y = _told(picture, y, said, "figure", EDGE + 16)
    picture.height = y + 4
    return picture


# -- boxes -----------------------------------------------------------------------------------------------------------


def box_picture(
    box: Enclosure,
    doubts: Doubts = NO_DOUBTS,
    trunks: Mapping[str, Sequence[str]] | None = None,
    notes: Sequence[str] = (),
) -> Picture:
    """Draw a box from the door and its stacks from the side, with its ports.

    Parameters
    ----------
    box
        The box.
    doubts
        The values that are only assumed.
    trunks
        For a job: the trunks that may enter by each port, without trunks that may enter by any port.
    notes
        Lines to be written under the picture.
    """
    trays = sum(stack.positions for stack in box.stacks)
    sizes = " x ".join(f"{size:g}" for size in box.size_mm)
    picture = _begun(box, f"{sizes} mm inside, {trays} trays, {box.fibres:,} fibres")
    picture.height = 4000  # room for labels until everything is drawn
    front = BoxFront(box, top=104, drawn=FRONT_PX)
    draw_case(picture, front)
    size_across(picture, front.box.x, front.box.right, 72, f"{box.size_mm[0]:g}")
    size_upright(picture, HEIGHT_X, front.box.y, front.box.bottom, f"{box.size_mm[1]:g}")
    height = Rect(HEIGHT_X, front.box.y, 1, front.box.height)
    labels = Labels(picture.frame, [*(text.rect for text in picture.texts), height])
    draw_stacks(picture, front, labels, {stack.id: _holds(stack, front.scale) for stack in box.stacks})
    _entrances(picture, front)
    entering = {port.id: ", ".join((trunks or {}).get(port.id, ())) for port in box.ports}
    draw_ports(picture, front, labels, entering)
    assumed = {g.id for i, g in enumerate(box.track.guides) if doubts.of("track", "guides", i, "x_mm")}
    draw_guides(picture, front, labels, assumed, MARK)
    picture.texts += labels.placed
    lowest = max([front.box.bottom + 24, *(text.rect.bottom for text in labels.placed)])
    y = _section(picture, front, doubts, lowest + 44)
    y = _told(picture, y, _track_lines(box, doubts))
    y = _table(picture, y + 8, PORT_COLUMNS, [_port_row(i, port, doubts) for i, port in enumerate(box.ports)])
    y = _table(picture, y, STACK_COLUMNS, [_stack_row(i, stack, doubts) for i, stack in enumerate(box.stacks)])
    return _finished(picture, _told(picture, y, notes), doubts, box)


def _holds(stack: Stack, scale: float) -> str:
    """Write the number of trays in a stack, without the word if the stack is drawn narrow."""
    text = f"{stack.positions} tray{'' if stack.positions == 1 else 's'}"
    return text if text_width(text) <= stack.tray.size_mm[0] * scale - 6 else str(stack.positions)


def _entrances(picture: Picture, front: BoxFront) -> None:
    """Draw the points where legs leave the track for the trays."""
    for stack in front.enclosure.stacks:
        for end in stack.ends:
            for entrance in (end.clockwise, end.counterclockwise):
                at = front.at(entrance.x_mm, entrance.y_mm)
                picture.paths.append(Path((front.at(*front.guides[entrance.guide]), at), "spur"))
                picture.dots.append(Dot(*at, "opening", {"stack": stack.id}))


def _section(picture: Picture, front: BoxFront, doubts: Doubts, top: float) -> float:
    """Draw the stacks from the side, the door on top, with the band of the track behind them; return the y of the end."""
    box, depth = front.enclosure, front.enclosure.size_mm[2]
    scale = max(front.scale, SECTION_PX / depth)
    case = Rect(front.box.x, top, front.box.width, depth * scale)
    low, high = box.track.z_mm
    picture.texts.append(Text(case.x, top - 26, "from the side", "name"))
    picture.texts.append(Text(case.right, top - 26, "door", "note", "end"))
    band = Rect(case.x, case.bottom - high * scale, case.width, (high - low) * scale)
    picture.boxes += [Box(band, "band"), Box(case, "case")]
    size_upright(picture, 62, case.y, case.bottom, f"{depth:g}")
    mark = doubts.mark("track", "z_mm")
    size_upright(picture, case.right + 22, band.y, band.bottom, f"track {low}-{high}{mark}", after=True)
    right = case.x
    for stack in sorted(box.stacks, key=lambda stack: stack.at_mm):
        x = front.at(*stack.at_mm)[0]
        width = stack.tray.size_mm[0] * front.scale
        for position in range(1, stack.positions + 1):
            height = max(stack.by_position[position - 1].height_mm * scale, 1.0)
            slab = Rect(x, case.bottom - stack.z_mm(position) * scale - height, width, height)
            picture.boxes.append(Box(slab, "slab", {"tray": f"{stack.id}/{position}"}))
        first = case.bottom - stack.z_mm(1) * scale - stack.by_position[0].height_mm * scale / 2
        last = case.bottom - stack.z_mm(stack.positions) * scale - stack.by_position[-1].height_mm * scale / 2
        if x - right > 24:
            picture.texts.append(Text(x - 3, first, "1", "number", "end"))
            if first - last > 14:
                picture.texts.append(Text(x - 3, last, str(stack.positions), "number", "end"))
        right = x + width
    picture.texts.append(Text(case.x, case.bottom + 13, "back plate", "note"))
    return case.bottom + 40


def _track_lines(box: Enclosure, doubts: Doubts) -> list[str]:
    openings = [guide.opening_mm2 for guide in box.track.guides]
    least, most = min(openings), max(openings)
    ring = [(guide.x_mm, guide.y_mm) for guide in box.track.guides]
    around = sum(hypot(a[0] - b[0], a[1] - b[1]) for a, b in zip(ring, (*ring[1:], ring[0]), strict=True))
    area = f"{least:g}" if least == most else f"{least:g} to {most:g}"
    mark = doubts.mark("track", "guides", 0, "opening_mm2")
    radius = f"{box.track.min_radius_mm:g} mm{doubts.mark('track', 'min_radius_mm')}"
    return [f"track: about {around:,.0f} mm round, {len(openings)} guides of {area} mm²{mark}, bends of {radius}"]


PORT_COLUMNS = {"port": 126, "bore": 48, "at": 92, "guide": 54, "turns": 140, "cables by holes, mm": 222}
STACK_COLUMNS = {"stack": 130, "trays": 200, "corner at": 98, "base": 62, "pitch": 62, "entered from": 124}
"""Widths in px of the columns of the table of ports and of the table of stacks."""


def _port_row(i: int, port: Port, doubts: Doubts) -> tuple[str, ...]:
    at: DataPath = ("ports", i)
    seals = ", ".join(f"{seal.holes}: {seal.least_mm:g}–{seal.most_mm:g}" for seal in port.seals) or "none"
    turns = "either way" if port.turns == "both" else port.turns
    return (
        port.id,
        f"{port.bore_mm:g}{doubts.mark(*at, 'bore_mm')}",
        f"{port.x_mm}, {port.y_mm}{doubts.mark(*at, 'x_mm') or doubts.mark(*at, 'y_mm')}",
        f"{port.guide}{doubts.mark(*at, 'guide')}",
        f"{turns}{doubts.mark(*at, 'turns')}",
        f"{seals}{doubts.mark(*at, 'seals')}",
    )


def _pitches(stack: Stack) -> str:
    """Write the pitch of each kind of tray, from position 1 outward."""
    return ", ".join(str(pitch) for pitch, _ in groupby(map(stack.pitch_at, range(1, stack.positions + 1))))


def _stack_row(i: int, stack: Stack, doubts: Doubts) -> tuple[str, ...]:
    at: DataPath = ("stacks", i)
    return (
        stack.id,
        trays_in_words(stack).replace("×", "x"),
        f"{stack.at_mm[0]}, {stack.at_mm[1]}{doubts.mark(*at, 'at_mm')}",
        f"{stack.base_z_mm}{doubts.mark(*at, 'base_z_mm')}",
        f"{_pitches(stack)}{doubts.mark(*at, 'pitch_mm')}",
        f"{' or '.join(end.id for end in stack.ends)}{doubts.mark(*at, 'ends')}",
    )


def _table(picture: Picture, y: float, columns: Mapping[str, int], rows: Sequence[Sequence[str]]) -> float:
    """Write rows under their heads, each cell cut to its column; return the y of the next line."""
    for line, kind in ((tuple(columns), "note"), *((row, "figure") for row in rows)):
        x = EDGE
        for cell, width in zip(line, columns.values(), strict=True):
            picture.texts.append(Text(x, y, fitted(cell, width - 6), kind, full=cell))
            x += width
        y += LINE
    return y + 8


# -- trays, cables, tubes ----------------------------------------------------------------------------------------------

DRAWN_PX = 230.0
SHEATH_MM = 2.0
"""Thickness of a sheath in the picture, both sides together."""


def _tray(tray: Tray, doubts: Doubts) -> Picture:
    picture = _begun(tray, f"{tray.fibres} fibres, {tray.sleeves} sleeves for {tray.sleeve_fibres} each")
    width, length = tray.size_mm
    scale = min(180 / width, DRAWN_PX / length)
    body = Rect(72, 88, width * scale, length * scale)
    picture.boxes.append(Box(body, "tray"))
    size_across(picture, body.x, body.right, 76, f"{width:g}")
    size_upright(picture, 58, body.y, body.bottom, f"{length:g}")
    columns = 1 if tray.sleeves <= 12 else 2 if tray.sleeves <= 24 else 4
    rows = -(-tray.sleeves // columns)
    room = Rect(body.x + 0.12 * body.width, body.y + 0.3 * body.height, 0.76 * body.width, 0.4 * body.height)
    for sleeve in range(tray.sleeves):
        column, row = divmod(sleeve, rows)
        step = room.height / rows
        at = Rect(room.x + column * room.width / columns, room.y + row * step, room.width / columns - 2, step * 0.8)
        picture.boxes.append(Box(at, "sleeve"))
    radius = tray.min_radius_mm * scale
    picture.discs.append(Disc(body.x + body.width / 2, body.bottom - radius - 4, radius, "bend"))
    lines = [
        f"height {tray.height_mm:g} mm{doubts.mark('height_mm')}",
        f"{tray.fibres} places for fibres{doubts.mark('fibres')}",
        f"{tray.sleeves} sleeves{doubts.mark('sleeves')} for {tray.sleeve_fibres} each{doubts.mark('sleeve_fibres')}",
        f"{tray.entrance_legs} legs through an entrance{doubts.mark('entrance_legs')}",
        f"{tray.inside_mm} mm of fibre inside{doubts.mark('inside_mm')}",
        f"bends of {tray.min_radius_mm:g} mm{doubts.mark('min_radius_mm')} (drawn)",
    ]
    _told(picture, 100, lines, left=300)
    return _finished(picture, max(body.bottom + 24, 220), doubts, tray)


def _cable(cable: Cable, doubts: Doubts) -> Picture:
    picture = _begun(cable, f"{cable.fibres:,} fibres, {cable.construction.replace('_', ' ')}, {cable.fibre}")
    radius = 100.0
    scale = 2 * radius / cable.diameter_mm
    x, y = 150.0, 190.0
    size_across(picture, x - radius, x + radius, 76, f"{cable.diameter_mm:g}")
    picture.discs.append(Disc(x, y, radius, "sheath"))
    each = [group.diameter_mm for group in cable.subunits for _ in range(group.count)]
    for (px, py), diameter in zip(_packed(each, cable.diameter_mm - SHEATH_MM), each, strict=True):
        picture.discs.append(Disc(x + px * scale, y + py * scale, diameter * scale / 2, "subunit"))
    lines = []
    for i, group in enumerate(cable.subunits):
        at: DataPath = ("subunits", i)
        noun = "ribbon" if group.ribbons == 1 else "ribbons"
        lines += [
            f"{group.count} x {group.ribbons * group.ribbon_fibres} fibres: {group.ribbons} {noun} of {group.ribbon_fibres}",
            f"  across {group.diameter_mm:g} mm{doubts.mark(*at, 'diameter_mm')}, "
            f"bends of {group.radius_mm:g} mm{doubts.mark(*at, 'least_radius_mm')}",
        ]
    if cable.ribbon_mm is not None:
        lines.append(f"a ribbon {cable.ribbon_mm[0]:g} x {cable.ribbon_mm[1]:g} mm{doubts.mark('ribbon_mm')}")
    else:
        lines.append(f"a fibre {cable.coating_mm:g} mm{doubts.mark('coating_mm')}")
    _told(picture, 110, [*lines, "drawn: how many and how thick, not how they lie"], left=290)
    return _finished(picture, y + radius + 24, doubts, cable)


def _packed(diameters: Sequence[float], across: float) -> list[tuple[float, float]]:
    """Place circles on rings inside a circle, the outer ring first, and return their centres."""
    widest = max(diameters)
    places: list[tuple[float, float]] = []
    reach = (across - widest) / 2
    while len(places) < len(diameters):
        left = len(diameters) - len(places)
        room = int(pi / asin(widest / 2 / reach) + ROUNDING) if reach > widest / 2 else 1
        count = min(left, max(room, 2 if not places else 1))
        if left == 1 or count == 1:
            count, at = 1, 0.0
        else:
            at = max(reach, widest / 2 / sin(pi / count))
        places += [(at * sin(2 * pi * i / count), -at * cos(2 * pi * i / count)) for i in range(count)]
        reach -= widest
    return places


ROUNDING = 0.2
"""A ring takes another circle if it lacks no more than this part of a circle, since the sizes of cables are rounded, too."""


def _tubes(tubes: TubeSet, doubts: Doubts) -> Picture:
    picture = _begun(tubes, f"{len(tubes.tubes)} tubes for legs that are divided at the port")
    widest = max(tube.diameter_mm for tube in tubes.tubes)
    scale = 60 / widest
    y = 96.0
    for i, tube in enumerate(tubes.tubes):
        at: DataPath = ("tubes", i)
        radius = tube.diameter_mm * scale / 2
        picture.discs += [Disc(56, y, radius, "sheath"), Disc(56, y, tube.bore_mm * scale / 2, "bore")]
        line = (
            f"bore {tube.bore_mm:g} mm{doubts.mark(*at, 'bore_mm')}, diameter {tube.diameter_mm:g} mm"
            f"{doubts.mark(*at, 'diameter_mm')}, bends of {tube.radius_mm:g} mm{doubts.mark(*at, 'least_radius_mm')}"
        )
        picture.texts.append(Text(110, y, fitted(line, WIDTH - 122), "figure", full=line))
        y += 72
    return _finished(picture, y - 20, doubts, tubes)
