"""The box from the door: ports, track, guides, stacks, and the way of every trunk."""

from __future__ import annotations

from math import atan2, degrees, hypot

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.geometry.base import (
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
from trayopt.crewsheets.step_words import direct_of
from trayopt.crewsheets.units import Teller
from trayopt.domain.hardware import End
from trayopt.domain.plan import PlanLeg

MARGIN = 86.0
DRAWN = (WIDTH - 2 * MARGIN, 530.0)
LANE_PX = 7.0
BAND_PX = 42.0
ROW_PX = 19.0
PORT_PX = 7.0
STYLES = 12
"""Ways differ in ink and in dashes; after so many styles they repeat, and the name on the way tells them apart."""


class Front:
    """Places of the front in px."""

    def __init__(self, book: Book) -> None:
        self.book = book
        width, height, _ = book.job.enclosure.size_mm
        self.scale = min(DRAWN[0] / width, DRAWN[1] / height)
        self.left = (WIDTH - width * self.scale) / 2
        self.top = 34.0
        self.box = Rect(self.left, self.top, width * self.scale, height * self.scale)
        guides = book.job.enclosure.track.guides
        self.centre = (
            sum(g.x_mm for g in guides) / len(guides),
            sum(g.y_mm for g in guides) / len(guides),
        )
        self.guides = {guide.id: (guide.x_mm, guide.y_mm) for guide in guides}
        self.ring = [guide.id for guide in guides]
        self.lanes: dict[str, int] = {}
        used = 0
        for trunk in book.trunks:
            self.lanes[trunk.id] = used
            used += 1 + (book.ways[trunk.id].loops or 0)
        self.lane_px = min(LANE_PX, BAND_PX / max(1, used - 1))
        self.middle = (used - 1) / 2

    def at(self, x_mm: float, y_mm: float) -> Point:
        """Turn a place in the box into px."""
        return self.left + x_mm * self.scale, self.top + self.box.height - y_mm * self.scale

    def guide(self, guide: str, lane: float) -> Point:
        """Place of a lane at a guide: lanes lie side by side, inwards and outwards of the guide's middle."""
        x, y = self.at(*self.guides[guide])
        cx, cy = self.at(*self.centre)
        reach = hypot(x - cx, y - cy) or 1.0
        off = (lane - self.middle) * self.lane_px
        return x + (x - cx) / reach * off, y + (y - cy) / reach * off

    def way(self, leg: PlanLeg) -> list[Point]:
        """Give the way of a leg: port, its loops, the direct way, the entrance."""
        row = self.book.ways[leg.trunk]
        port = self.book.job.enclosure.port_by_id[row.port or ""]
        lane = self.lanes[leg.trunk]
        start = self.ring.index(port.guide)
        step = 1 if row.travel == "clockwise" else -1
        points = [self.at(port.x_mm, port.y_mm)]
        for turn in range(row.loops or 0):
            points += [
                self.guide(self.ring[(start + step * i) % len(self.ring)], lane + turn) for i in range(len(self.ring))
            ]
        points += [self.guide(guide, lane + (row.loops or 0)) for guide in direct_of(self.book, leg.leg)]
        entrance = self.end(leg).entrance(row.travel or "clockwise")
        return [*points, self.at(entrance.x_mm, entrance.y_mm)]

    def end(self, leg: PlanLeg) -> End:
        """End of the stack at which a leg enters."""
        return next(end for end in self.book.stack(leg).ends if end.id == leg.end)


def style_of(book: Book, trunk: str) -> str:
    """Give the style of a trunk's way: ``way-1`` … ``way-12``."""
    return f"way-{book.job.trunk_rank[trunk] % STYLES + 1}"


def front_picture(book: Book, tell: Teller) -> Picture:
    """Draw the front."""
    front = Front(book)
    legend = front.box.bottom + 44
    picture = Picture(
        "front",
        WIDTH,
        legend + ROW_PX * len(book.trunks) + 8,
        tell("picture.front"),
        tell("picture.front.says", n=len(book.trunks)),
    )
    picture.boxes.append(Box(front.box, "case"))
    picture.paths.append(Path(tuple(front.at(*front.guides[g]) for g in front.ring), "track", closed=True))
    labels = Labels(picture.frame)
    _stacks(picture, front, labels)
    _ways(picture, front)
    _ports(picture, front, labels, tell)
    _guides(picture, front, labels)
    picture.texts += labels.placed
    for i, trunk in enumerate(book.trunks):
        y = legend + ROW_PX * (i + 0.5)
        picture.paths.append(Path(((8, y), (52, y)), f"way {style_of(book, trunk.id)}", {"trunk": trunk.id}))
        picture.dots.append(Dot(52, y, f"arrow {style_of(book, trunk.id)}", {"trunk": trunk.id}))
        line = _legend(book, tell, trunk.id)
        frame = Rect(64, y - ROW_PX / 2, WIDTH - 72, ROW_PX)
        picture.texts.append(
            Text(64, y, fitted(line, frame.width), "legend", within=frame, keys={"trunk": trunk.id}, full=line)
        )
    return picture


def _legend(book: Book, tell: Teller, trunk: str) -> str:
    way = book.ways[trunk]
    new = [tell("step.route.tubes", n=count, size=tell.size(size)) for size, count in book.tubes_of(trunk)]
    tubes = ", ".join([tell("picture.front.built"), *new] if trunk in book.built_trunks else new)
    return tell(
        "picture.front.way",
        n=way.loops or 0,
        trunk=trunk,
        port=way.port,
        travel=tell(f"travel.{way.travel}"),
        tubes=tubes,
    )


def _stacks(picture: Picture, front: Front, labels: Labels) -> None:
    for stack in front.book.job.enclosure.stacks:
        x, y = front.at(*stack.at_mm)
        width, length = stack.tray.size_mm
        rect = Rect(x, y - length * front.scale, width * front.scale, length * front.scale)
        picture.boxes.append(Box(rect, "stack", {"stack": stack.id}))
        used = sum(tray.stack == stack.id for tray in front.book.trays)
        lines = [*wrapped(stack.id, rect.width - 6)[:3], fitted(f"{used}/{stack.positions}", rect.width - 6)]
        middle = rect.y + (rect.height - 16 * (len(lines) - 1)) / 2
        for i, text in enumerate(lines):
            at = rect.x + rect.width / 2, middle + 16 * i
            labels.put([Text(*at, text, "name", "middle", within=rect, full=stack.id if i == 0 else text)])


def _ways(picture: Picture, front: Front) -> None:
    for trunk, legs in front.book.legs.items():
        style = style_of(front.book, trunk)
        stacks = {(leg.stack, leg.end): leg for leg in legs}
        longest = max(stacks.values(), key=lambda leg: len(front.way(leg)))
        points = front.way(longest)
        picture.paths.append(Path(tuple(points), f"way {style}", {"trunk": trunk}))
        picture.dots += _arrows(points, style, trunk)
        for leg in stacks.values():
            spur = front.way(leg)[-2:]
            if leg is not longest:
                picture.paths.append(Path(tuple(spur), f"way {style}", {"trunk": trunk}))
            picture.dots.append(Dot(*spur[-1], f"entrance {style}", {"trunk": trunk, "stack": leg.stack or ""}))


def _arrows(points: list[Point], style: str, trunk: str) -> list[Dot]:
    """Give an arrow on every second piece, so that the direction is seen anywhere on the way."""
    found = []
    for i in range(0, len(points) - 1, 2):
        (x0, y0), (x1, y1) = points[i], points[i + 1]
        if hypot(x1 - x0, y1 - y0) < 24:
            continue
        turn = round(degrees(atan2(y1 - y0, x1 - x0)), 1)
        found.append(Dot((x0 + x1) / 2, (y0 + y1) / 2, f"arrow {style}", {"trunk": trunk}, turn))
    return found


def _ports(picture: Picture, front: Front, labels: Labels, tell: Teller) -> None:
    """Draw ports; the label stands outside the box, on the side of the port's nearest edge."""
    del tell
    box = front.box
    for port in front.book.job.enclosure.ports:
        x, y = front.at(port.x_mm, port.y_mm)
        names = ", ".join(trunk for trunk, way in front.book.ways.items() if way.port == port.id)
        picture.dots.append(Dot(x, y, "port used" if names else "port", {"port": port.id}))
        labels.taken.append(Rect(x - PORT_PX, y - PORT_PX, 2 * PORT_PX, 2 * PORT_PX))
        lines = [f"{port.id}: {names}", port.id] if names else [port.id]
        below = y > box.y + box.height / 2
        candidates = []
        for line in lines:
            for shift in (0, 1, 2):
                row = y + (18 + 14 * shift) * (1 if below else -1)
                for anchor in ("middle", "start", "end"):
                    room = _room(x, anchor, picture.width)
                    candidates.append(Text(x, row, fitted(line, room), "port-name", anchor, full=line))
            side = Text(box.x - 12, y, fitted(line, box.x - 16), "port-name", "end", full=line)
            other = Text(
                box.right + 12, y, fitted(line, picture.width - box.right - 16), "port-name", "start", full=line
            )
            candidates += [side] if x < box.x + box.width / 2 else [other]
        labels.put(candidates)


def _room(x: float, anchor: str, width: float) -> float:
    left, right = x - 4, width - 4 - x
    return {"start": right, "end": left, "middle": 2 * min(left, right)}[anchor]


def _guides(picture: Picture, front: Front, labels: Labels) -> None:
    """Draw guides; a label stands inside the ring, clear of all lanes, else outside of the box."""
    cx, cy = front.at(*front.centre)
    stacks = [box.rect for box in picture.boxes if box.kind == "stack"]
    case = front.box
    edges = [Rect(side, case.y, 1, case.height) for side in (case.x, case.right)]
    edges += [Rect(case.x, side, case.width, 1) for side in (case.y, case.bottom)]
    for guide in front.ring:
        x, y = front.at(*front.guides[guide])
        reach = hypot(x - cx, y - cy) or 1.0
        ux, uy = (x - cx) / reach, (y - cy) / reach
        angle = round(degrees(atan2(uy, ux)), 1)
        picture.dots.append(Dot(x, y, "guide", {"guide": guide}, angle))
        text = fitted(guide, 80)
        half = text_width(text) / 2
        clear = front.middle * front.lane_px + 12
        candidates = []
        for along in (0, 14, -14, 28, -28, 42, -42):
            for off in (clear, -clear, clear + 10, -clear - 10):
                shift = half * abs(ux) + SIZE * 0.6 * abs(uy)
                reach_px = -off + shift * (1 if off < 0 else -1)
                at = x + ux * reach_px - uy * along, y + uy * reach_px + ux * along
                candidates.append(Text(*at, text, "guide-name", "middle", full=guide))
        labels.put(candidates, avoid=[*stacks, *edges])
