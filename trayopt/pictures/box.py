"""Pictures of boxes without a plan: from the door, from the right side, and tables of ports and stacks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby
from math import hypot

from trayopt.domain.hardware import Enclosure, Port, Stack
from trayopt.domain.said import listed, said
from trayopt.pictures.base import Dot, Labels, Path, Picture, Rect, Text, text_width, wrapped
from trayopt.pictures.doubts import MARK, NO_DOUBTS, DataPath, Doubts
from trayopt.pictures.front import BoxFront, draw_case, draw_guides, draw_ports, draw_stacks
from trayopt.pictures.hardware_parts import EDGE, LINE, Say, begun, finished, told
from trayopt.pictures.side import HEIGHT_X, draw_side, layout_of
from trayopt.pictures.sizes import size_across, size_upright

TOP = 104.0
"""The y of the upper wall."""


def box_picture(
    box: Enclosure,
    doubts: Doubts = NO_DOUBTS,
    trunks: Mapping[str, Sequence[str]] | None = None,
    notes: Sequence[str] = (),
    say: Say = str,
) -> Picture:
    """Draw a box from the door and from its right side, with its ports.

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
    picture = begun(box, what, say)
    picture.height = 4000  # room for labels until everything is drawn
    entering = {port.id: ", ".join((trunks or {}).get(port.id, ())) for port in box.ports}
    layout = layout_of(box, entering)
    width, height, _ = box.size_mm
    right = layout.front_right(box)
    drawn = width * layout.front, height * layout.front
    front = BoxFront(box, top=TOP, drawn=drawn, across=layout.across(box))
    draw_case(picture, front)
    size_across(picture, front.box.x, front.box.right, 72, f"{box.size_mm[0]:g}")
    size_upright(picture, HEIGHT_X, front.box.y, front.box.bottom, f"{box.size_mm[1]:g}")
    line = Rect(HEIGHT_X, front.box.y, 1, front.box.height)
    labels = Labels(Rect(0, 0, right, picture.height), [*(text.rect for text in picture.texts), line])
    draw_stacks(picture, front, labels, {stack.id: _holds(stack, front.scale, say) for stack in box.stacks})
    _entrances(picture, front)
    draw_ports(picture, front, labels, entering)
    assumed = {g.id for i, g in enumerate(box.track.guides) if doubts.of("track", "guides", i, "x_mm")}
    draw_guides(picture, front, labels, assumed, MARK)
    picture.texts += labels.placed
    lowest = max([front.box.bottom + 24, *(text.rect.bottom for text in labels.placed)])
    y = draw_side(picture, box, doubts, layout, TOP if layout.beside else lowest + 60)
    y = max(y, lowest) + 16
    y = told(picture, y, _track_lines(box, doubts))
    y = _table(picture, y + 8, PORT_COLUMNS, [_port_row(i, port, doubts) for i, port in enumerate(box.ports)])
    y = _table(picture, y, STACK_COLUMNS, [_stack_row(i, stack, doubts) for i, stack in enumerate(box.stacks)])
    return finished(picture, told(picture, y, notes), doubts, box)


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
    """Write rows under their heads, each cell wrapped in its column; return the y of the next line."""
    for line, kind in ((tuple(head for head, _ in columns), "note"), *((row, "figure") for row in rows)):
        x, most = EDGE, 1
        for cell, (_, width) in zip(map(picture.say, line), columns, strict=True):
            parts = wrapped(cell, width - 6)
            for i, part in enumerate(parts):
                picture.texts.append(Text(x, y + i * LINE, part, kind, full=cell))
            x, most = x + width, max(most, len(parts))
        y += most * LINE
    return y + 8
