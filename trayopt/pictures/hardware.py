"""Pictures of hardware without a plan: boxes, trays, cables and tubes with their sizes; assumed values are marked."""

from __future__ import annotations

from collections.abc import Sequence
from math import asin, cos, pi, sin

from trayopt.domain.cable import Cable
from trayopt.domain.hardware import Enclosure, Tray, TubeSet
from trayopt.domain.said import said
from trayopt.pictures.base import WIDTH, Box, Disc, Picture, Rect, Text, fitted
from trayopt.pictures.box import box_picture
from trayopt.pictures.doubts import NO_DOUBTS, DataPath, Doubts, Model
from trayopt.pictures.hardware_parts import Say, begun, finished, told
from trayopt.pictures.sizes import size_across, size_upright

CONSTRUCTIONS = {
    "ribbon": "ribbon", "central_tube": "central tube", "slotted_core": "slotted core",
    "partly_bonded_ribbon": "partly bonded ribbon", "loose_tube": "loose tube",
}  # fmt: skip


def hardware_picture(model: Model, doubts: Doubts = NO_DOUBTS, say: Say = str) -> Picture:
    """Draw an entry of the library; ``say`` says its texts in a language."""
    if isinstance(model, Enclosure):
        return box_picture(model, doubts, say=say)
    if isinstance(model, Tray):
        return _tray(model, doubts, say)
    return _cable(model, doubts, say) if isinstance(model, Cable) else _tubes(model, doubts, say)


# -- trays, cables, tubes ----------------------------------------------------------------------------------------------

DRAWN_PX = 230.0
SHEATH_MM = 2.0
"""Thickness of a sheath in the picture, both sides together."""


def _tray(tray: Tray, doubts: Doubts, say: Say) -> Picture:
    picture = begun(
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
    told(picture, 100, lines, left=300)
    return finished(picture, max(body.bottom + 24, 220), doubts, tray)


def _cable(cable: Cable, doubts: Doubts, say: Say) -> Picture:
    construction = said(CONSTRUCTIONS[cable.construction])
    what = said(
        "{fibres:,} fibres, {construction}, {kind}", fibres=cable.fibres, construction=construction, kind=cable.fibre
    )
    picture = begun(cable, what, say)
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
    told(picture, 110, [*lines, said("drawn: how many and how thick, not how they lie")], left=290)
    return finished(picture, y + radius + 24, doubts, cable)


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
    picture = begun(tubes, said("{count} tubes for legs that are divided at the port", count=len(tubes.tubes)), say)
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
    return finished(picture, y - 20, doubts, tubes)
