"""The box as seen from the door: case, track, stacks, ports and guides, with their names."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from math import atan2, degrees, hypot

from trayopt.domain.hardware import Enclosure, Port
from trayopt.pictures.base import (
    SIZE,
    WIDTH,
    Box,
    Dot,
    Labels,
    Path,
    Picture,
    Point,
    Rect,
    Text,
    fitted,
    text_width,
    wrapped,
)

MARGIN = 86.0
DRAWN = (WIDTH - 2 * MARGIN, 530.0)
LANE_PX = 7.0
BAND_PX = 42.0
PORT_PX = 7.0
NAME_GAP_PX, MOST_NAME_PX = 22.0, 110.0
"""Room around the name of a port beside a wall, and the width that such a name gets at most."""
FOOT_PX = 22.0
"""Height that an upright name of a stack leaves under it, for the text of the stack."""
SIZES = (SIZE, 10.5, 9.0)
"""Text sizes for the name of a stack; the first size at which the name fits is taken."""


class BoxFront:
    """The layout of a box in px, as seen from the door.

    Parameters
    ----------
    enclosure
        The box.
    lanes
        Number of lanes side by side on the track.
    top
        The y of the upper wall.
    drawn
        Greatest width and height of the drawing.
    across
        Left and right end of the range in which the box is centred.
    """

    def __init__(
        self,
        enclosure: Enclosure,
        lanes: int = 1,
        *,
        top: float = 34.0,
        drawn: tuple[float, float] = DRAWN,
        across: tuple[float, float] = (0.0, WIDTH),
    ) -> None:
        self.enclosure = enclosure
        width, height, _ = enclosure.size_mm
        self.scale = min(drawn[0] / width, drawn[1] / height)
        self.left = (sum(across) - width * self.scale) / 2
        self.top = top
        self.box = Rect(self.left, self.top, width * self.scale, height * self.scale)
        guides = enclosure.track.guides
        self.centre = (
            sum(g.x_mm for g in guides) / len(guides),
            sum(g.y_mm for g in guides) / len(guides),
        )
        self.guides = {guide.id: (guide.x_mm, guide.y_mm) for guide in guides}
        self.ring = [guide.id for guide in guides]
        self.lane_px = min(LANE_PX, BAND_PX / max(1, lanes - 1))
        self.middle = (lanes - 1) / 2

    def at(self, x_mm: float, y_mm: float) -> Point:
        """Convert a place in the box from mm to px."""
        return self.left + x_mm * self.scale, self.top + self.box.height - y_mm * self.scale

    def guide(self, guide: str, lane: float) -> Point:
        """Return the place of a lane at a guide; lanes lie side by side, on both sides of the guide's middle."""
        x, y = self.at(*self.guides[guide])
        cx, cy = self.at(*self.centre)
        reach = hypot(x - cx, y - cy) or 1.0
        off = (lane - self.middle) * self.lane_px
        return x + (x - cx) / reach * off, y + (y - cy) / reach * off


def room_beside(box: Enclosure, x_mm: float, inside: Mapping[str, str]) -> float:
    """Return the room in px in which ports in a side wall can be named, with their texts in ``inside``; 0 if it has none."""
    ports = [port.id for port in box.ports if port.x_mm == x_mm and port.y_mm not in {0, box.size_mm[1]}]
    names = [f"{port}: {inside[port]}" if inside.get(port) else port for port in ports]
    return max([min(text_width(name), MOST_NAME_PX) + NAME_GAP_PX for name in names], default=0.0)


def draw_case(picture: Picture, front: BoxFront) -> None:
    """Draw the walls and the track."""
    picture.boxes.append(Box(front.box, "case"))
    picture.paths.append(Path(tuple(front.at(*front.guides[g]) for g in front.ring), "track", closed=True))


def draw_stacks(picture: Picture, front: BoxFront, labels: Labels, says: Mapping[str, str]) -> None:
    """Draw the stacks, each with its id and, under it, its text in ``says``; an id that is too wide is written upright."""
    for stack in front.enclosure.stacks:
        x, y = front.at(*stack.at_mm)
        width, length = stack.tray.size_mm
        rect = Rect(x, y - length * front.scale, width * front.scale, length * front.scale)
        picture.boxes.append(Box(rect, "stack", {"stack": stack.id}))
        room = rect.width - 6
        size = next((s for s in SIZES if "…" not in "".join(wrapped(stack.id, room, s))), None)
        upright = next((s for s in SIZES if text_width(stack.id, s) <= rect.height - FOOT_PX - 6), None)
        if size is None and upright is not None and upright * 1.1 <= rect.width:
            centre = rect.x + rect.width / 2
            name = Text(
                centre, rect.y + (rect.height - FOOT_PX) / 2, stack.id, "name", "middle", upright, rect, upright=True
            )
            labels.put([name])
            says_at = fitted(says[stack.id], rect.width)
            labels.put(
                [Text(centre, rect.bottom - FOOT_PX / 2, says_at, "name", "middle", within=rect, full=says[stack.id])]
            )
            continue
        size = SIZES[-1] if size is None else size
        lines = [(text, size) for text in wrapped(stack.id, room, size)[:3]]
        lines.append((fitted(says[stack.id], room), SIZE))
        middle = rect.y + (rect.height - 16 * (len(lines) - 1)) / 2
        for i, (text, of) in enumerate(lines):
            at = rect.x + rect.width / 2, middle + 16 * i
            labels.put([Text(*at, text, "name", "middle", of, within=rect, full=stack.id if i == 0 else text)])


def draw_ports(picture: Picture, front: BoxFront, labels: Labels, inside: Mapping[str, str]) -> None:
    """Draw the ports, each with its text in ``inside``; the label is outside the box, on the side of the nearest wall."""
    box = front.box
    avoid = [*_walls(box), *_stacks(picture), *(_mark(*front.at(*guide)) for guide in front.guides.values())]
    for port in front.enclosure.ports:
        x, y = front.at(port.x_mm, port.y_mm)
        names = inside.get(port.id, "")
        picture.dots.append(Dot(x, y, "port used" if names else "port", {"port": port.id}))
        labels.taken.append(_mark(x, y))
        lines = [f"{port.id}: {names}", port.id] if names else [port.id]
        candidates = [text for line in lines for text in _port_labels(front, port, line, labels.frame)]
        labels.put(candidates, avoid=avoid)


def _port_labels(front: BoxFront, port: Port, line: str, frame: Rect) -> list[Text]:
    """Return the candidate labels of a port: outside the box, and for a port in a side wall also inside, which comes last."""
    box = front.box
    x, y = front.at(port.x_mm, port.y_mm)
    below, left = y > box.y + box.height / 2, x < box.x + box.width / 2
    rows = []
    for shift in (0, 1, 2):
        row = y + (18 + 14 * shift) * (1 if below else -1)
        for anchor in ("middle", "start", "end"):
            rows.append(Text(x, row, fitted(line, _room(x, anchor, frame)), "port-name", anchor, full=line))
    if left:
        beside = Text(box.x - 12, y, fitted(line, box.x - 16 - frame.x), "port-name", "end", full=line)
    else:
        beside = Text(box.right + 12, y, fitted(line, frame.right - box.right - 16), "port-name", "start", full=line)
    if port.y_mm in {0, front.enclosure.size_mm[1]}:
        return [*rows, beside]
    whole = [beside] if beside.text == line else []
    return [*whole, *_inside(front, x, y, line), *rows, beside]


def _inside(front: BoxFront, x: float, y: float, line: str) -> list[Text]:
    """Return the candidate labels of a port in a side wall on the inner side of the wall."""
    left = x < front.box.x + front.box.width / 2
    at = x + 12 if left else x - 12
    return [
        Text(at, y + off, line, "port-name", "start" if left else "end", full=line) for off in (0, 20, -20, 34, -34)
    ]


def _mark(x: float, y: float) -> Rect:
    """Return the rectangle that the mark of a port or a guide covers."""
    return Rect(x - PORT_PX, y - PORT_PX, 2 * PORT_PX, 2 * PORT_PX)


def _stacks(picture: Picture) -> list[Rect]:
    """Return the rectangles of the stacks that are drawn."""
    return [box.rect for box in picture.boxes if box.kind == "stack"]


def _walls(box: Rect) -> list[Rect]:
    """Return the lines of the walls, over which no label should lie."""
    sides = [Rect(x, box.y, 1, box.height) for x in (box.x, box.right)]
    return sides + [Rect(box.x, y, box.width, 1) for y in (box.y, box.bottom)]


def _room(x: float, anchor: str, frame: Rect) -> float:
    left, right = x - frame.x - 4, frame.right - 4 - x
    return {"start": right, "end": left, "middle": 2 * min(left, right)}[anchor]


def draw_guides(
    picture: Picture, front: BoxFront, labels: Labels, doubtful: Collection[str] = (), mark: str = ""
) -> None:
    """Draw the guides; a label is inside the ring, clear of all lanes, or otherwise outside the box."""
    cx, cy = front.at(*front.centre)
    avoid = [*_stacks(picture), *_walls(front.box), *(_mark(*front.at(*place)) for place in front.guides.values())]
    for guide in front.ring:
        x, y = front.at(*front.guides[guide])
        reach = hypot(x - cx, y - cy) or 1.0
        ux, uy = (x - cx) / reach, (y - cy) / reach
        angle = round(degrees(atan2(uy, ux)), 1)
        picture.dots.append(Dot(x, y, "guide", {"guide": guide}, angle))
        text = fitted(guide + (mark if guide in doubtful else ""), 80)
        half = text_width(text) / 2
        clear = front.middle * front.lane_px + 12
        candidates = []
        for along in (0, 14, -14, 28, -28, 42, -42):
            for off in (clear, -clear, clear + 10, -clear - 10):
                shift = half * abs(ux) + SIZE * 0.6 * abs(uy)
                reach_px = -off + shift * (1 if off < 0 else -1)
                at = x + ux * reach_px - uy * along, y + uy * reach_px + ux * along
                candidates.append(Text(*at, text, "guide-name", "middle", full=guide))
        labels.put(candidates, avoid=avoid)
