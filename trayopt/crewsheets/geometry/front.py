"""The box as seen from the door: ports, track, guides, stacks, and the way of every trunk."""

from __future__ import annotations

from collections import Counter
from math import atan2, degrees, hypot

from trayopt.crewsheets.book import Book
from trayopt.crewsheets.passing import Passing
from trayopt.crewsheets.step_facts import direct_of
from trayopt.crewsheets.units import Teller
from trayopt.domain.hardware import End
from trayopt.domain.plan import PlanLeg
from trayopt.pictures.base import WIDTH, Dot, Labels, Path, Picture, Point, Rect, Text, wrapped
from trayopt.pictures.front import DRAWN, MARGIN, BoxFront, draw_case, draw_guides, draw_ports, draw_stacks, room_beside

ROW_PX = 19.0
LEGEND_PX = WIDTH - 72
STYLES = 12
"""Number of styles of ways, which differ in ink and dashes. After that they repeat, and the name on a way tells them apart."""


class Front(BoxFront):
    """The layout of the front in px, with the lanes of all trunks."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self.lanes: dict[str, int] = {}
        used = 0
        for trunk in book.trunks:
            self.lanes[trunk.id] = used
            used += 1 + (book.ways[trunk.id].loops or 0)
        for item in book.passing:
            self.lanes[item.name] = used
            used += 1 + item.loops
        box, inside = book.job.enclosure, _inside(book)
        margin = max(MARGIN, *(room_beside(box, x, inside) for x in (0, box.size_mm[0])))
        super().__init__(box, used, drawn=(WIDTH - 2 * margin, DRAWN[1]))

    def way(self, leg: PlanLeg) -> list[Point]:
        """Return the points of a leg's way: port, loops, direct way, entrance."""
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

    def passage(self, item: Passing) -> list[Point]:
        """Return the points of the way of uncut tubes: port, loops, direct way, the other port."""
        ports = [self.book.job.enclosure.port_by_id[self.book.ways[end].port or ""] for end in item.ends]
        start = self.ring.index(ports[0].guide)
        step = 1 if self.book.ways[item.ends[0]].travel == "clockwise" else -1
        lane, points = self.lanes[item.name], [self.at(ports[0].x_mm, ports[0].y_mm)]
        for turn in range(item.loops):
            ring = [self.ring[(start + step * i) % len(self.ring)] for i in range(len(self.ring))]
            points += [self.guide(guide, lane + turn) for guide in ring]
        points += [self.guide(guide, lane + item.loops) for guide in item.guides]
        return [*points, self.at(ports[1].x_mm, ports[1].y_mm)]

    def end(self, leg: PlanLeg) -> End:
        """Return the end of the stack at which a leg enters."""
        return next(end for end in self.book.stack(leg).ends if end.id == leg.end)


def style_of(book: Book, trunk: str) -> str:
    """Return the style of a trunk's way: ``way-1`` … ``way-12``."""
    return f"way-{book.job.trunk_rank[trunk] % STYLES + 1}"


def front_picture(book: Book, tell: Teller) -> Picture:
    """Draw the box as seen from the door."""
    front = Front(book)
    legends = _legends(book, tell)
    picture = Picture("front", WIDTH, 4000, tell("picture.front"), tell("picture.front.says", n=len(book.trunks)))
    draw_case(picture, front)
    labels = Labels(picture.frame)
    used = Counter(tray.stack for tray in book.trays)
    draw_stacks(picture, front, labels, {s.id: f"{used[s.id]}/{s.positions}" for s in book.job.enclosure.stacks})
    _ways(picture, front)
    draw_ports(picture, front, labels, _inside(book))
    draw_guides(picture, front, labels)
    picture.texts += labels.placed
    legend = max([front.box.bottom + 44, *(text.rect.bottom + 6 for text in labels.placed)])
    picture.height = legend + ROW_PX * sum(len(lines) for _, _, lines in legends) + 8
    y = legend + ROW_PX * 0.5
    for trunk, kind, lines in legends:
        picture.paths.append(Path(((8, y), (52, y)), f"way {kind}", {"trunk": trunk}))
        picture.dots.append(Dot(52, y, f"arrow {kind}", {"trunk": trunk}))
        for line in lines:
            frame = Rect(64, y - ROW_PX / 2, LEGEND_PX, ROW_PX)
            picture.texts.append(Text(64, y, line, "legend", within=frame, keys={"trunk": trunk}, full=line))
            y += ROW_PX
    return picture


def _inside(book: Book) -> dict[str, str]:
    """Return the names of the trunks in each port."""
    found: dict[str, list[str]] = {}
    for trunk, way in book.ways.items():
        if way.port is not None:
            found.setdefault(way.port, []).append(trunk)
    return {port: ", ".join(names) for port, names in found.items()}


def _legends(book: Book, tell: Teller) -> list[tuple[str, str, list[str]]]:
    """Return the trunk, the style and the lines of each entry of the legend: the ways of trunks and of uncut tubes."""
    found = [(trunk.id, style_of(book, trunk.id), _legend(book, tell, trunk.id)) for trunk in book.trunks]
    for item in book.passing:
        if item.uncut:
            enters, leaves = (book.ways[end] for end in item.ends)
            line = tell(
                "picture.front.uncut", n=item.loops, trunk=item.trunk, units=item.numbers, port=enters.port,
                other=leaves.port, travel=tell(f"travel.{enters.travel}"),
            )  # fmt: skip
            found.append((item.ends[0], f"{style_of(book, item.ends[0])} uncut", line))
    return [(trunk, kind, wrapped(line, LEGEND_PX)) for trunk, kind, line in found]


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
        tubes=tubes or tell("picture.front.capped"),
    )


def _ways(picture: Picture, front: Front) -> None:
    for item in front.book.passing:
        if item.uncut:
            style = f"{style_of(front.book, item.ends[0])} uncut"
            points = front.passage(item)
            picture.paths.append(Path(tuple(points), f"way {style}", {"trunk": item.ends[0]}))
            picture.dots += _arrows(points, style, item.ends[0])
    for trunk, legs in front.book.legs.items():
        if not legs:
            continue
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
    """Return an arrow on every second piece of a way, so that its direction is visible everywhere."""
    found = []
    for i in range(0, len(points) - 1, 2):
        (x0, y0), (x1, y1) = points[i], points[i + 1]
        if hypot(x1 - x0, y1 - y0) < 24:
            continue
        turn = round(degrees(atan2(y1 - y0, x1 - x0)), 1)
        found.append(Dot((x0 + x1) / 2, (y0 + y1) / 2, f"arrow {style}", {"trunk": trunk}, turn))
    return found
