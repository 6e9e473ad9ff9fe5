"""A small picture of a plan: the box from the front, its stacks tray by tray, findings at their place."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from html import escape
from typing import NamedTuple

from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.ranges import parse_run
from trayopt.review.remarks import Remark
from trayopt.rules.pin import Pinned
from trayopt.rules.registry import BY_ID
from trayopt.track.laid import Claim, Laid

FRONT = 320
COLUMN, ROW, TOP, BESIDE = 240, 28, 56, 2
TRAY = COLUMN - 70
WIDTH = FRONT + COLUMN * BESIDE
"""No wider than a narrow page, so that text of 13 stays readable; further stacks stand below."""
MOST_PINS = 3


class Spot(NamedTuple):
    """What a finding is drawn at: kind ``place``, ``stack``, ``port``, ``guide`` or ``outside``, and its name."""

    kind: str
    name: str


def picture(job: Job, laid: Laid, remarks: Sequence[Remark] = (), differing: Collection[str] = ()) -> str:
    """Draw a plan as one SVG element; remark i is marked with the number i + 1, trays that differ have a thick edge."""
    marks: dict[Spot, list[tuple[int, bool]]] = defaultdict(list)
    for number, remark in enumerate(remarks, start=1):
        for spot in spots(job, laid, remark)[:4]:
            marks[spot].append((number, remark.fails))
    return _Drawing(job, laid, marks, differing).svg()


def spots(job: Job, laid: Laid, remark: Remark) -> list[Spot]:
    """Tell where in the picture a finding is."""
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
    """Whether a claim shares fibres with a run such as ``N1:1-72``; a subject that is none shares nothing."""
    try:
        run = parse_run(subject)
    except ValueError:
        return False
    return claim.trunk == run.trunk and claim.first <= run.last and claim.last >= run.first


def _named(job: Job, trunk: str, first: int, subject: str) -> bool:
    """Whether a subject such as ``N1/3.2`` or ``N1:1-72`` names a run that begins with this fibre."""
    subunit = job.trunk_by_id[trunk].subunit_of(first)
    if subject.startswith(f"{trunk}:{first}-"):
        return True
    return any(str(leg) == subject for of in subunit.divisions for leg in (subunit.leg_of_fibre(first, of),)
               if subunit.leg_run(leg)[0] == first)  # fmt: skip


def _few(names: list[str], most: int) -> list[str]:
    """Give the first names, and how many more there are."""
    return names if len(names) <= most else [*names[: most - 1], f"{names[most - 1]} +{len(names) - most}"]


class _Drawing:
    def __init__(
        self, job: Job, laid: Laid, marks: dict[Spot, list[tuple[int, bool]]], differing: Collection[str]
    ) -> None:
        self.job, self.laid, self.marks, self.differing = job, laid, marks, differing
        self.parts: list[str] = []
        self.taken: list[tuple[float, float, float, float]] = []
        """Left, top, right and bottom of what is written on the front, so that nothing is written over it."""
        self.down: float = 0
        """How far below the top the stack in work stands."""

    def svg(self) -> str:
        stacks = self.job.enclosure.stacks
        deepest = max(stack.positions for stack in stacks)
        band = TOP + ROW * deepest + 20
        height = max(band * -(-len(stacks) // BESIDE), 560)
        self.front(560)
        for i, stack in enumerate(stacks):
            self.down = band * (i // BESIDE)
            self.stack(stack.id, FRONT + (i % BESIDE) * COLUMN, deepest)
        self.down = 0
        self.pins(Spot("outside", ""), 14, height - 14)
        body = "".join(self.parts)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" '
            f'aria-label="plan" font-family="sans-serif" font-size="13">{body}</svg>'
        )

    def front(self, height: int) -> None:
        """Draw the box from the front: track, ports with their trunks, stacks."""
        box = self.job.enclosure
        scale = min((FRONT - 80) / box.size_mm[0], (height - 190) / box.size_mm[1])

        def at(x_mm: float, y_mm: float) -> tuple[float, float]:
            return round(30 + x_mm * scale, 1), round(100 + (box.size_mm[1] - y_mm) * scale, 1)

        x, y = at(0, box.size_mm[1])
        self.rect(x, y, box.size_mm[0] * scale, box.size_mm[1] * scale, "#fff", "#555")
        self.text(20, 20, f"{box.id}, seen from the door", bold=True)
        ring = [at(guide.x_mm, guide.y_mm) for guide in box.track.guides]
        points = " ".join(f"{px},{py}" for px, py in ring)
        self.parts.append(f'<polygon points="{points}" fill="none" stroke="#9aa7b5" stroke-width="5"/>')
        for stack in box.stacks:
            x, y = at(stack.at_mm[0], stack.at_mm[1] + stack.tray.size_mm[1])
            self.rect(x, y, stack.tray.size_mm[0] * scale, stack.tray.size_mm[1] * scale, "#eef2f6", "#8a97a5")
            self.write(x + 4, y + 14, stack.id, 15)
        for guide, (px, py) in zip(box.track.guides, ring, strict=True):
            self.parts.append(f'<circle cx="{px}" cy="{py}" r="6" fill="#cfd8e1" stroke="#555"/>')
            self.pins(Spot("guide", guide.id), px - 12, py - 12)
            self.write(px + 10, py + 18 if py < height / 2 else py - 10, guide.id, 15 if py < height / 2 else -15)
        for port in box.ports:
            px, py = at(port.x_mm, port.y_mm)
            self.rect(px - 6, py - 6, 12, 12, "#333", "#000")
            inside = [
                f"{trunk} {'cw' if way.travel == 'clockwise' else 'ccw'} {way.loops} {self.laid.divide_at[trunk]}"
                for trunk, way in self.laid.ways.items()
                if way.port == port.id
            ]
            below = py > height / 2
            right = px > FRONT / 2
            self.pins(Spot("port", port.id), px - 62 if right else px + 16, py)
            for words, bold in [(port.id, True), *((name, False) for name in _few(inside, 3))]:
                y = py + 22 if below else py - 12
                self.write(px + 8 if right else px - 8, y, words, 15 if below else -15, bold=bold, end=right)

    def stack(self, name: str, left: float, deepest: int) -> None:
        """Draw a stack as a column, the door on top and position 1 at the base."""
        stack = self.job.enclosure.stack_by_id[name]
        self.text(left, 20, f"{name}, end {self.laid.ends[name]}", bold=True)
        self.text(left, 36, f"trays of {2 * stack.tray.fibres} ends; door on top")
        self.pins(Spot("stack", name), left + TRAY + 10, 30)
        claims: dict[Place, list[str]] = defaultdict(list)
        for claim in self.laid.claims:
            leg = self.job.trunk_by_id[claim.trunk].subunit_of(claim.first).leg_of_run(claim.first, claim.last)
            claims[claim.place].append(str(leg) if leg is not None else f"{claim.trunk}:{claim.first}-{claim.last}")
        for position in range(1, stack.positions + 1):
            place = Place(name, position)
            y = TOP + ROW * (deepest - position)
            held, room = self.laid.ends_at(place), 2 * stack.tray.fibres
            fails = any(fail for _, fail in self.marks.get(Spot("place", str(place)), ()))
            self.rect(left, y, TRAY, ROW - 4, "#f7f9fb" if place in claims else "#fff", "#8a97a5")
            share = min(1.0, held / room)
            if held:
                over = held > room
                self.rect(left, y, TRAY * share, ROW - 4, "#f3c3c3" if over or fails else "#cfe3d4", "none")
            if fails or str(place) in self.differing:
                self.rect(left, y, TRAY, ROW - 4, "none", "#b3261e", 2.5)
            legs = " ".join(claims.get(place, ()))
            short = " ".join(_few(claims.get(place, []), 1))
            short = short if len(short) <= 13 else f"{short[:12]}…"
            counted = f"{held}/{room}" if place in claims else ""
            self.text(left + 4, y + 17, f"{position}{'!' if fails else ''}", bold=True)
            state = "fails: " if fails else ""
            self.parts.append(f"<g><title>{escape(f'{place}: {state}{legs}')}</title>")
            self.text(left + 28, y + 17, short)
            self.parts.append("</g>")
            self.text(left + TRAY - 4, y + 17, counted, end=True)
            self.pins(Spot("place", str(place)), left + TRAY + 12, y + 12)
        for group in self.laid.tied:
            if group[0].stack == name:
                self.tie(group, left, deepest)

    def tie(self, group: Sequence[Place], left: float, deepest: int) -> None:
        """Draw a bracket beside trays that opened tubes tie to each other."""
        places = ", ".join(map(str, group))
        ys = [TOP + ROW * (deepest - place.position) for place in group]
        top, foot = min(ys) + self.down + 3, max(ys) + self.down + ROW - 7
        x = left + TRAY + 3
        points = f"{x - 3},{top} {x},{top} {x},{foot} {x - 3},{foot}"
        self.parts.append(
            f'<g class="tie"><title>{escape(f"tied by opened tubes: {places}")}</title>'
            f'<polyline points="{points}" fill="none" stroke="#333" stroke-width="2"/></g>'
        )

    def write(self, x: float, y: float, words: str, step: float, *, bold: bool = False, end: bool = False) -> None:
        """Write on the front where nothing is written yet: at a place, or so many steps of a line from there."""
        wide = 8.0 * len(words)
        left = x - wide if end else x
        y += self.room(left, y - 12, left + wide, y + 3, step)
        self.text(x, y, words, bold=bold, end=end)

    def room(self, left: float, top: float, right: float, bottom: float, step: float) -> float:
        """Take a free place on the front, and give how far below the wanted one it is."""
        moved = 0.0
        while any(
            left < box[2] and box[0] < right and top + moved < box[3] and box[1] < bottom + moved for box in self.taken
        ):
            moved += step
        self.taken.append((left, top + moved, right, bottom + moved))
        return moved

    def pins(self, spot: Spot, x: float, y: float) -> None:
        """Draw the numbers of findings at a spot, side by side; no more than three."""
        found = self.marks.get(spot, [])
        if found and spot.kind in {"guide", "port"}:
            y += self.room(x - 9, y - 9, x + 17 * (min(len(found), MOST_PINS) + 1), y + 9, 18)
        for i, (number, fails) in enumerate(found[:MOST_PINS]):
            px = round(x + 17 * i, 1)
            fill = "#b3261e" if fails else "#8a6d00"
            at = f'x="{px}" y="{round(y + self.down + 3.5, 1)}"'
            self.parts.append(
                f'<g class="mark"><circle cx="{px}" cy="{round(y + self.down, 1)}" r="8.5" fill="{fill}"/>'
                f'<text {at} fill="#fff" font-size="10" text-anchor="middle">{number}</text></g>'
            )
        if len(found) > MOST_PINS:
            self.text(x + 17 * MOST_PINS - 7, y + 4, f"+{len(found) - MOST_PINS}")

    def rect(self, x: float, y: float, width: float, height: float, fill: str, stroke: str, edge: float = 1) -> None:
        self.parts.append(
            f'<rect x="{round(x, 1)}" y="{round(y + self.down, 1)}" width="{round(width, 1)}" height="{round(height, 1)}" '
            f'fill="{fill}" stroke="{stroke}" stroke-width="{edge:g}"/>'
        )

    def text(self, x: float, y: float, words: str, *, bold: bool = False, end: bool = False) -> None:
        weight = ' font-weight="bold"' if bold else ""
        if words:
            anchor = ' text-anchor="end"' if end else ""
            at = f'x="{round(x, 1)}" y="{round(y + self.down, 1)}"'
            self.parts.append(f"<text {at}{weight}{anchor}>{escape(words)}</text>")
