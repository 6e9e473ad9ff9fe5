"""A small picture of a plan: the box from the front, its stacks tray by tray, and the findings at their places."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Sequence
from typing import NamedTuple

from trayopt.domain.hardware import Place, Stack
from trayopt.domain.job import Job
from trayopt.domain.ranges import parse_run
from trayopt.pictures.base import Anchor, Box, Disc, Labels, Path, Picture, Point, Rect, Text, fitted, text_width
from trayopt.pictures.front import BoxFront, draw_case, draw_guides, draw_ports, draw_stacks
from trayopt.pictures.svg import svg_text
from trayopt.review.remarks import Remark
from trayopt.rules.pin import Pinned
from trayopt.rules.registry import BY_ID
from trayopt.track.laid import Claim, Laid

FRONT = 320
COLUMN, ROW, TOP, BESIDE = 240, 28, 56, 2
TRAY = COLUMN - 76
WIDTH = FRONT + COLUMN * BESIDE
"""Width in px: no more than a narrow page, so that text stays readable; further stacks are drawn below."""
LEAST_HEIGHT = 560
PIN_PX, PIN_TEXT = 17.0, 10.0
ANCHORS: tuple[Anchor, ...] = ("middle", "start", "end")
MOST_PINS = 3


class Spot(NamedTuple):
    """The place at which a finding is drawn: its kind (``place``, ``stack``, ``port``, ``guide`` or ``outside``) and its name."""

    kind: str
    name: str


def picture(job: Job, laid: Laid, remarks: Sequence[Remark] = (), differing: Collection[str] = ()) -> str:
    """Draw a plan as an SVG element; remarks are marked with numbers from 1, and trays that differ have a thick edge."""
    marks: dict[Spot, list[tuple[int, bool]]] = defaultdict(list)
    for number, remark in enumerate(remarks, start=1):
        for spot in spots(job, laid, remark)[:4]:
            marks[spot].append((number, remark.fails))
    return svg_text(_Drawing(job, laid, marks, differing).drawn())


def spots(job: Job, laid: Laid, remark: Remark) -> list[Spot]:
    """Return the places of a finding in the picture."""
    rule = BY_ID.get(remark.rule)
    kind = rule.subject if rule is not None else ""
    subject = remark.subject
    found: list[Spot] = []
    if kind == "tray place":
        found = [Spot("place", subject)]
    elif kind in {"stack", "port", "guide"}:
        found = [Spot(kind, subject)]
    elif kind == "subunit":
        trunk, _, number = subject.rpartition("/")
        found = [Spot("place", str(item.place)) for item in laid.by_subunit.get((trunk, int(number)), ())]
    elif remark.rule in {"unplaced", "complete", Pinned.id, "table"} and ":" in subject:
        found = [Spot("place", str(claim.place)) for claim in laid.claims if _overlaps(claim, subject)]
    elif kind == "leg" or remark.rule in {"cut_mm", "idle"}:
        found = [
            Spot("place", str(claim.place)) for claim in laid.claims if _named(job, claim.trunk, claim.first, subject)
        ]
    else:
        trunks = [name for name in subject.split("+") if name in laid.ways]
        found = [Spot("port", laid.ways[trunk].port) for trunk in trunks]
    if not found and "/" in subject:
        words = subject.split(" ")[0]
        found = [Spot("place", words)] if words in {str(place) for place in job.enclosure.places} else []
    return list(dict.fromkeys(found)) or [Spot("outside", "")]


def _overlaps(claim: Claim, subject: str) -> bool:
    """Whether a claim shares fibres with a subject that is a run, such as ``N1:1-72``."""
    try:
        run = parse_run(subject)
    except ValueError:
        return False
    return claim.trunk == run.trunk and claim.first <= run.last and claim.last >= run.first


def _named(job: Job, trunk: str, first: int, subject: str) -> bool:
    """Whether a subject such as ``N1/3.2`` or ``N1:1-72`` names a leg or run that begins with this fibre."""
    subunit = job.trunk_by_id[trunk].subunit_of(first)
    if subject.startswith(f"{trunk}:{first}-"):
        return True
    return any(str(leg) == subject for of in subunit.divisions for leg in (subunit.leg_of_fibre(first, of),)
               if subunit.leg_run(leg)[0] == first)  # fmt: skip


def _few(names: list[str], most: int) -> list[str]:
    """Return the first names, the last of them with the number of further names."""
    return names if len(names) <= most else [*names[: most - 1], f"{names[most - 1]} +{len(names) - most}"]


class _Drawing:
    """The drawing: the box from the front on the left, and columns for the stacks on the right, two side by side."""

    def __init__(
        self, job: Job, laid: Laid, marks: dict[Spot, list[tuple[int, bool]]], differing: Collection[str]
    ) -> None:
        self.job, self.laid, self.marks, self.differing = job, laid, marks, differing
        stacks = job.enclosure.stacks
        self.deepest = max(stack.positions for stack in stacks)
        self.band = TOP + ROW * self.deepest + 20
        height = max(self.band * -(-len(stacks) // BESIDE), LEAST_HEIGHT)
        self.picture = Picture("plan", WIDTH, height, "plan", f"{job.enclosure.id} with its trunks and trays")
        self.labels = Labels(Rect(0, 0, FRONT - 8, height))
        self.claims: dict[Place, list[str]] = defaultdict(list)
        for claim in laid.claims:
            leg = job.trunk_by_id[claim.trunk].subunit_of(claim.first).leg_of_run(claim.first, claim.last)
            name = str(leg) if leg is not None else f"{claim.trunk}:{claim.first}-{claim.last}"
            self.claims[claim.place].append(name)

    def drawn(self) -> Picture:
        """Draw and return the picture."""
        self.front()
        for i, stack in enumerate(self.job.enclosure.stacks):
            self.stack(stack, FRONT + (i % BESIDE) * COLUMN, self.band * (i // BESIDE))
        self.pins(Spot("outside", ""), [(14, self.picture.height - 14)])
        self.picture.texts += self.labels.placed
        return self.picture

    def front(self) -> None:
        """Draw the box from the front: track, ports with their trunks, stacks, and the findings of ports and guides."""
        box, labels = self.job.enclosure, self.labels
        front = BoxFront(box, top=100, drawn=(FRONT - 80, LEAST_HEIGHT - 190), across=(0, FRONT - 8))
        labels.put([Text(8, 20, fitted(f"{box.id}, seen from the door", FRONT - 24), "name", full=box.id)])
        draw_case(self.picture, front)
        used = Counter(place.stack for place in self.claims)
        draw_stacks(self.picture, front, labels, {s.id: f"{used[s.id]}/{s.positions}" for s in box.stacks})
        draw_ports(self.picture, front, labels, {})
        guides = {guide.id: front.at(guide.x_mm, guide.y_mm) for guide in box.track.guides}
        labels.taken += [Rect(x - 8, y - 8, 16, 16) for x, y in guides.values()]
        for port in box.ports:
            x, y = front.at(port.x_mm, port.y_mm)
            self.trunks_in(port.id, x, y, 1 if y > front.box.y + front.box.height / 2 else -1)
        for guide, (x, y) in guides.items():
            self.pins(Spot("guide", guide), [(x + dx, y + dy) for dy in (-16, 16, 34, -34) for dx in (-10, 6, -30)])
        draw_guides(self.picture, front, labels)

    def trunks_in(self, port: str, x: float, y: float, down: int) -> None:
        """Write the trunks in a port with their ways, and the findings of the port."""
        inside = [
            f"{trunk} {'cw' if way.travel == 'clockwise' else 'ccw'} {way.loops} {self.laid.divide_at[trunk]}"
            for trunk, way in self.laid.ways.items()
            if way.port == port
        ]
        for name in _few(inside, 3):
            rows = [y + down * (33 + 15 * i) for i in range(5)]
            self.labels.put([Text(x, row, name, "note", anchor) for row in rows for anchor in ANCHORS])
        self.pins(Spot("port", port), [(x + dx, y - down * dy) for dy in (16, 34) for dx in (16, -16, -44)])

    def stack(self, stack: Stack, left: float, top: float) -> None:
        """Draw a stack as a column, the door on top and position 1 at the base."""
        takes = " and ".join(str(2 * tray.fibres) for tray in stack.kinds)
        texts = self.picture.texts
        head = fitted(f"{stack.id}, end {self.laid.ends[stack.id]}", TRAY)
        texts.append(Text(left, top + 16, head, "name", full=stack.id))
        texts.append(Text(left, top + 32, f"trays of {takes} ends; door on top", "note"))
        self.pins(Spot("stack", stack.id), [(left + TRAY + 10, top + 28)])
        for position in range(1, stack.positions + 1):
            self.tray(
                Place(stack.id, position), 2 * stack.by_position[position - 1].fibres, self.slab(left, top, position)
            )
        for group in self.laid.tied:
            if group[0].stack == stack.id:
                self.tie(group, left, top)

    def slab(self, left: float, top: float, position: int) -> Rect:
        """Return the rectangle of a tray in the column of its stack."""
        return Rect(left, top + TOP + ROW * (self.deepest - position), TRAY, ROW - 4)

    def tie(self, group: Sequence[Place], left: float, top: float) -> None:
        """Draw a bracket next to trays that opened tubes tie to each other."""
        slabs = [self.slab(left, top, place.position) for place in group]
        first, last = min(slab.y for slab in slabs) + 3, max(slab.bottom for slab in slabs) - 3
        x = left + TRAY + 2
        points = ((x - 2, first), (x, first), (x, last), (x - 2, last))
        self.picture.paths.append(
            Path(points, "bracket tie", title=f"tied by opened tubes: {', '.join(map(str, group))}")
        )

    def tray(self, place: Place, most: int, slab: Rect) -> None:
        """Draw a tray: its load, its content, and its findings."""
        held, named = self.laid.ends_at(place), self.claims.get(place, [])
        fails = any(fail for _, fail in self.marks.get(Spot("place", str(place)), ()))
        title = f"{place}: {'fails: ' if fails else ''}{' '.join(named)}"
        boxes, texts, middle = self.picture.boxes, self.picture.texts, slab.y + slab.height / 2
        boxes.append(Box(slab, "slab held" if named else "slab unused", title=title))
        if held:
            kind = "fill over" if held > most or fails else "fill"
            boxes.append(Box(slab._replace(width=slab.width * min(1.0, held / most)), kind, title=title))
        if fails or str(place) in self.differing:
            boxes.append(Box(slab, "slab differs", title=title))
        texts.append(Text(slab.x + 4, middle, f"{place.position}{'!' if fails else ''}", "name slab-text"))
        if named:
            counted = f"{held}/{most}"
            texts.append(Text(slab.right - 4, middle, counted, "slab-text", "end"))
            room = slab.width - 40 - text_width(counted)
            texts.append(Text(slab.x + 30, middle, fitted(" ".join(_few(named, 1)), room), "slab-text", full=title))
        self.pins(Spot("place", str(place)), [(slab.right + 12, middle)])

    def pins(self, spot: Spot, places: Sequence[Point]) -> None:
        """Draw the numbers of the findings at a spot side by side, at most three, at the first free place."""
        found = self.marks.get(spot, [])
        if not found:
            return
        wide = PIN_PX * min(len(found), MOST_PINS + 1)
        rooms = [Rect(x - PIN_PX / 2, y - PIN_PX / 2, wide, PIN_PX) for x, y in places]
        taken, frame = self.labels.taken, self.picture.frame
        free = (room for room in rooms if frame.holds(room) and not any(room.meets(other) for other in taken))
        room = next(free, rooms[0])
        taken.append(room)
        y = room.y + PIN_PX / 2
        for i, (number, fails) in enumerate(found[:MOST_PINS]):
            x = room.x + PIN_PX * (i + 0.5)
            self.picture.discs.append(Disc(x, y, PIN_PX / 2 - 0.5, "pin fails" if fails else "pin"))
            self.picture.texts.append(Text(x, y, str(number), "pin-number", "middle", PIN_TEXT))
        if len(found) > MOST_PINS:
            more = f"+{len(found) - MOST_PINS}"
            self.picture.texts.append(Text(room.x + PIN_PX * MOST_PINS + 2, y, more, "note", size=PIN_TEXT))
