"""Pictures of hardware without a plan: boxes, trays, cables and tubes with their sizes; assumed values are marked."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from math import asin, cos, hypot, pi, sin

from trayopt.domain.cable import Cable
from trayopt.domain.hardware import Enclosure, Port, Stack, Tray, TubeSet
from trayopt.domain.said import listed, said
from trayopt.pictures.base import WIDTH, Box, Disc, Dot, Labels, Path, Picture, Rect, Text, fitted, text_width, wrapped
from trayopt.pictures.front import BoxFront, draw_case, draw_guides, draw_ports, draw_stacks
from trayopt.pictures.sizes import size_across, size_upright

Model = Tray | Enclosure | Cable | TubeSet
Say = Callable[[str], str]
DataPath = tuple[str | int, ...]
TITLES = {"enclosure": "box {id}", "tray": "tray {id}", "cable": "cable {id}", "tubes": "tubes {id}"}
CONSTRUCTIONS = {
    "ribbon": "ribbon", "central_tube": "central tube", "slotted_core": "slotted core",
    "partly_bonded_ribbon": "partly bonded ribbon", "loose_tube": "loose tube",
}  # fmt: skip
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
        found = []
        alike = sorted(((head, tuple(keys)), who) for (head, who), keys in parts.items())
        for (head, keys), group in groupby(alike, key=lambda item: item[0]):
            whose = ", ".join(who for _, who in group if who)
            lead = " ".join(text for text in (head, whose) if text)
            found.append(f"{lead}: {', '.join(keys)}" if lead else ", ".join(keys))
        return found


def _items(model: Model, names: Sequence[str]) -> Sequence[object]:
    found: object = model
    for name in names:
        found = getattr(found, name)
    return found if isinstance(found, tuple) else ()


NO_DOUBTS = Doubts()


def hardware_picture(model: Model, doubts: Doubts = NO_DOUBTS, say: Say = str) -> Picture:
    """Draw an entry of the library; ``say`` says its texts in a language."""
    if isinstance(model, Enclosure):
        return box_picture(model, doubts, say=say)
    if isinstance(model, Tray):
        return _tray(model, doubts, say)
    return _cable(model, doubts, say) if isinstance(model, Cable) else _tubes(model, doubts, say)


def _begun(model: Model, what: str, say: Say) -> Picture:
    title, what = say(said(TITLES[model.kind], id=model.id)), say(what)
    picture = Picture(f"{model.kind}-{model.id}", WIDTH, 0, title, what, say)
    picture.texts.append(Text(EDGE, 18, fitted(model.id, WIDTH - 2 * EDGE, 17), "title", size=17, full=model.id))
    picture.texts.append(Text(EDGE, 40, fitted(what, WIDTH - 2 * EDGE), "note", full=what))
    return picture


def _told(picture: Picture, y: float, lines: Sequence[str], kind: str = "figure", left: float = EDGE) -> float:
    """Write lines one under the other, wrapped; return the y of the next line."""
    for line in map(picture.say, lines):
        for i, part in enumerate(wrapped(line, WIDTH - left - EDGE - 16)):
            picture.texts.append(Text(left + 16 * (i > 0), y, part, kind, full=line))
            y += LINE
    return y


def _finished(picture: Picture, y: float, doubts: Doubts, model: Model) -> Picture:
    """Write at the bottom what is assumed, and end the picture there."""
    lines = doubts.lines(model)
    if lines:
        head = said("{mark} assumed, not measured: correct it in the file and take the word away", mark=MARK)
        y = _told(picture, y + 8, [head], "doubt")
        y = _told(picture, y, lines, "figure", EDGE + 16)
    picture.height = y + 4
    return picture


# -- boxes -----------------------------------------------------------------------------------------------------------


def box_picture(
    box: Enclosure,
    doubts: Doubts = NO_DOUBTS,
    trunks: Mapping[str, Sequence[str]] | None = None,
    notes: Sequence[str] = (),
    say: Say = str,
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
    say
        Function that says a text in the language of the picture.
    """
    trays = sum(stack.positions for stack in box.stacks)
    sizes = " x ".join(f"{size:g}" for size in box.size_mm)
    what = said(
        "{sizes} mm inside, {n:,} tray, {fibres:,} fibres|{sizes} mm inside, {n:,} trays, {fibres:,} fibres",
        sizes=sizes,
        n=trays,
        fibres=box.fibres,
    )
    picture = _begun(box, what, say)
    picture.height = 4000  # room for labels until everything is drawn
    front = BoxFront(box, top=104, drawn=FRONT_PX)
    draw_case(picture, front)
    size_across(picture, front.box.x, front.box.right, 72, f"{box.size_mm[0]:g}")
    size_upright(picture, HEIGHT_X, front.box.y, front.box.bottom, f"{box.size_mm[1]:g}")
    height = Rect(HEIGHT_X, front.box.y, 1, front.box.height)
    labels = Labels(picture.frame, [*(text.rect for text in picture.texts), height])
    draw_stacks(picture, front, labels, {stack.id: _holds(stack, front.scale, say) for stack in box.stacks})
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


def _holds(stack: Stack, scale: float, say: Say) -> str:
    """Write the number of trays in a stack, without the word if the stack is drawn narrow."""
    text = say(said("{n:,} tray|{n:,} trays", n=stack.positions))
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
    picture.texts.append(Text(case.x, top - 26, picture.say(said("from the side")), "name"))
    picture.texts.append(Text(case.right, top - 26, picture.say(said("door")), "note", "end"))
    band = Rect(case.x, case.bottom - high * scale, case.width, (high - low) * scale)
    picture.boxes += [Box(band, "band"), Box(case, "case")]
    size_upright(picture, 62, case.y, case.bottom, f"{depth:g}")
    mark = doubts.mark("track", "z_mm")
    size_upright(
        picture,
        case.right + 22,
        band.y,
        band.bottom,
        picture.say(said("track {low}-{high}{mark}", low=low, high=high, mark=mark)),
        after=True,
    )
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
    picture.texts.append(Text(case.x, case.bottom + 13, picture.say(said("back plate")), "note"))
    return case.bottom + 40


def _track_lines(box: Enclosure, doubts: Doubts) -> list[str]:
    openings = [guide.opening_mm2 for guide in box.track.guides]
    least, most = min(openings), max(openings)
    ring = [(guide.x_mm, guide.y_mm) for guide in box.track.guides]
    around = sum(hypot(a[0] - b[0], a[1] - b[1]) for a, b in zip(ring, (*ring[1:], ring[0]), strict=True))
    area = f"{least:g}" if least == most else said("{low:g} to {high:g}", low=least, high=most)
    mark = doubts.mark("track", "guides", 0, "opening_mm2")
    radius = doubts.mark("track", "min_radius_mm")
    return [
        said(
            "track: about {around:,.0f} mm round, {guides} guides of {area} mm²{mark}, bends of {least:g} mm{radius}",
            around=around, guides=len(openings), area=area, mark=mark, least=box.track.min_radius_mm, radius=radius,
        )
    ]  # fmt: skip


PORT_COLUMNS = (
    (said("port"), 114), (said("bore"), 58), (said("at"), 98), (said("guide"), 62), (said("turns"), 136),
    (said("cables by holes, mm"), 214),
)  # fmt: skip
STACK_COLUMNS = (
    (said("stack"), 100), (said("trays"), 236), (said("corner at"), 92), (said("base"), 50), (said("pitch"), 66),
    (said("entered from"), 138),
)  # fmt: skip
"""Heads and widths in px of the columns of the table of ports and of the table of stacks."""


def _port_row(i: int, port: Port, doubts: Doubts) -> tuple[str, ...]:
    at: DataPath = ("ports", i)
    seals = ", ".join(f"{seal.holes}: {seal.least_mm:g}–{seal.most_mm:g}" for seal in port.seals) or said("none")
    turns = said("either way") if port.turns == "both" else said(port.turns)
    return (
        port.id,
        f"{port.bore_mm:g}{doubts.mark(*at, 'bore_mm')}",
        f"{port.x_mm}, {port.y_mm}{doubts.mark(*at, 'x_mm') or doubts.mark(*at, 'y_mm')}",
        f"{port.guide}{doubts.mark(*at, 'guide')}",
        said("{turns}{mark}", turns=turns, mark=doubts.mark(*at, "turns")),
        said("{seals}{mark}", seals=seals, mark=doubts.mark(*at, "seals")),
    )


def _pitches(stack: Stack) -> str:
    """Write the pitch of each kind of tray, from position 1 outward."""
    return ", ".join(str(pitch) for pitch, _ in groupby(map(stack.pitch_at, range(1, stack.positions + 1))))


def _trays_of(stack: Stack) -> str:
    """Write how many trays of each kind a stack carries, from position 1 outward: ``8 x ribbon-96 and 4 x single-24``."""
    kinds = [(len(list(same)), tray.id) for tray, same in groupby(stack.by_position)]
    return listed([said("{count} x {tray}", count=count, tray=tray) for count, tray in kinds])


def _stack_row(i: int, stack: Stack, doubts: Doubts) -> tuple[str, ...]:
    at: DataPath = ("stacks", i)
    return (
        stack.id,
        _trays_of(stack),
        f"{stack.at_mm[0]}, {stack.at_mm[1]}{doubts.mark(*at, 'at_mm')}",
        f"{stack.base_z_mm}{doubts.mark(*at, 'base_z_mm')}",
        f"{_pitches(stack)}{doubts.mark(*at, 'pitch_mm')}",
        said("{ends}{mark}", ends=listed([end.id for end in stack.ends], "or"), mark=doubts.mark(*at, "ends")),
    )


Columns = Sequence[tuple[str, int]]


def _table(picture: Picture, y: float, columns: Columns, rows: Sequence[Sequence[str]]) -> float:
    """Write rows under their heads, each cell cut to its column, the last one wrapped; return the y of the next line."""
    for line, kind in ((tuple(head for head, _ in columns), "note"), *((row, "figure") for row in rows)):
        x, last = EDGE, columns[-1][1]
        *cells, end = map(picture.say, line)
        for cell, (_, width) in zip(cells, columns, strict=False):
            picture.texts.append(Text(x, y, fitted(cell, width - 6), kind, full=cell))
            x += width
        for part in wrapped(end, last - 6) or [""]:
            picture.texts.append(Text(x, y, fitted(part, last - 6), kind, full=end))
            y += LINE
    return y + 8


# -- trays, cables, tubes ----------------------------------------------------------------------------------------------

DRAWN_PX = 230.0
SHEATH_MM = 2.0
"""Thickness of a sheath in the picture, both sides together."""


def _tray(tray: Tray, doubts: Doubts, say: Say) -> Picture:
    picture = _begun(
        tray,
        said(
            "{fibres} fibres, {sleeves} sleeves for {each} each",
            fibres=tray.fibres,
            sleeves=tray.sleeves,
            each=tray.sleeve_fibres,
        ),
        say,
    )
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
        said("height {size:g} mm{mark}", size=tray.height_mm, mark=doubts.mark("height_mm")),
        said("{fibres} places for fibres{mark}", fibres=tray.fibres, mark=doubts.mark("fibres")),
        said(
            "{sleeves} sleeves{mark} for {each} each{doubt}",
            sleeves=tray.sleeves,
            mark=doubts.mark("sleeves"),
            each=tray.sleeve_fibres,
            doubt=doubts.mark("sleeve_fibres"),
        ),
        said("{legs} legs through an entrance{mark}", legs=tray.entrance_legs, mark=doubts.mark("entrance_legs")),
        said("{inside} mm of fibre inside{mark}", inside=tray.inside_mm, mark=doubts.mark("inside_mm")),
        said("bends of {radius:g} mm{mark} (drawn)", radius=tray.min_radius_mm, mark=doubts.mark("min_radius_mm")),
    ]
    _told(picture, 100, lines, left=300)
    return _finished(picture, max(body.bottom + 24, 220), doubts, tray)


def _cable(cable: Cable, doubts: Doubts, say: Say) -> Picture:
    construction = said(CONSTRUCTIONS[cable.construction])
    what = said(
        "{fibres:,} fibres, {construction}, {kind}", fibres=cable.fibres, construction=construction, kind=cable.fibre
    )
    picture = _begun(cable, what, say)
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
        lines += [
            said(
                "{count} x {fibres} fibres: {n} ribbon of {width}|{count} x {fibres} fibres: {n} ribbons of {width}",
                count=group.count, fibres=group.ribbons * group.ribbon_fibres, n=group.ribbons, width=group.ribbon_fibres,
            ),
            said(
                "  across {size:g} mm{mark}, bends of {radius:g} mm{doubt}", size=group.diameter_mm,
                mark=doubts.mark(*at, "diameter_mm"), radius=group.radius_mm, doubt=doubts.mark(*at, "least_radius_mm"),
            ),
        ]  # fmt: skip
    if cable.ribbon_mm is not None:
        width, height = cable.ribbon_mm
        mark = doubts.mark("ribbon_mm")
        lines.append(said("a ribbon {width:g} x {height:g} mm{mark}", width=width, height=height, mark=mark))
    else:
        lines.append(said("a fibre {size:g} mm{mark}", size=cable.coating_mm, mark=doubts.mark("coating_mm")))
    _told(picture, 110, [*lines, said("drawn: how many and how thick, not how they lie")], left=290)
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


def _tubes(tubes: TubeSet, doubts: Doubts, say: Say) -> Picture:
    picture = _begun(tubes, said("{count} tubes for legs that are divided at the port", count=len(tubes.tubes)), say)
    widest = max(tube.diameter_mm for tube in tubes.tubes)
    scale = 60 / widest
    y = 96.0
    for i, tube in enumerate(tubes.tubes):
        at: DataPath = ("tubes", i)
        radius = tube.diameter_mm * scale / 2
        picture.discs += [Disc(56, y, radius, "sheath"), Disc(56, y, tube.bore_mm * scale / 2, "bore")]
        line = say(
            said(
                "bore {bore:g} mm{a}, diameter {size:g} mm{b}, bends of {radius:g} mm{c}", bore=tube.bore_mm,
                a=doubts.mark(*at, "bore_mm"), size=tube.diameter_mm, b=doubts.mark(*at, "diameter_mm"),
                radius=tube.radius_mm, c=doubts.mark(*at, "least_radius_mm"),
            )
        )  # fmt: skip
        picture.texts.append(Text(110, y, fitted(line, WIDTH - 122), "figure", full=line))
        y += 72
    return _finished(picture, y - 20, doubts, tubes)
