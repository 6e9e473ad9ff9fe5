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

FRONT = 380
COLUMN, ROW, TOP = 290, 24, 56


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


class _Drawing:
    def __init__(
        self, job: Job, laid: Laid, marks: dict[Spot, list[tuple[int, bool]]], differing: Collection[str]
    ) -> None:
        self.job, self.laid, self.marks, self.differing = job, laid, marks, differing
        self.parts: list[str] = []

    def svg(self) -> str:
        stacks = self.job.enclosure.stacks
        deepest = max(stack.positions for stack in stacks)
        width = FRONT + 120 + COLUMN * len(stacks)
        height = max(TOP + ROW * deepest + 30, 480)
        self.front(height)
        for i, stack in enumerate(stacks):
            self.stack(stack.id, FRONT + 40 + i * COLUMN, deepest)
        self.pins(Spot("outside", ""), 14, height - 14)
        body = "".join(self.parts)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
            f'aria-label="plan" font-family="sans-serif" font-size="11">{body}</svg>'
        )

    def front(self, height: int) -> None:
        """Draw the box from the front: track, ports with their trunks, stacks."""
        box = self.job.enclosure
        scale = min((FRONT - 40) / box.size_mm[0], (height - 120) / box.size_mm[1])

        def at(x_mm: float, y_mm: float) -> tuple[float, float]:
            return round(20 + x_mm * scale, 1), round(40 + (box.size_mm[1] - y_mm) * scale, 1)

        x, y = at(0, box.size_mm[1])
        self.rect(x, y, box.size_mm[0] * scale, box.size_mm[1] * scale, "#fff", "#555")
        self.text(20, 20, f"{box.id}, seen from the door", bold=True)
        ring = [at(guide.x_mm, guide.y_mm) for guide in box.track.guides]
        points = " ".join(f"{px},{py}" for px, py in ring)
        self.parts.append(f'<polygon points="{points}" fill="none" stroke="#9aa7b5" stroke-width="5"/>')
        for stack in box.stacks:
            x, y = at(stack.at_mm[0], stack.at_mm[1] + stack.tray.size_mm[1])
            self.rect(x, y, stack.tray.size_mm[0] * scale, stack.tray.size_mm[1] * scale, "#eef2f6", "#8a97a5")
            self.text(x + 4, y + 14, stack.id)
        for guide, (px, py) in zip(box.track.guides, ring, strict=True):
            self.parts.append(f'<circle cx="{px}" cy="{py}" r="6" fill="#cfd8e1" stroke="#555"/>')
            self.text(px + 9, py + 4, guide.id)
            self.pins(Spot("guide", guide.id), px - 12, py - 12)
        for port in box.ports:
            px, py = at(port.x_mm, port.y_mm)
            self.rect(px - 6, py - 6, 12, 12, "#333", "#000")
            inside = [
                f"{trunk} {'cw' if way.travel == 'clockwise' else 'ccw'} {way.loops}"
                for trunk, way in self.laid.ways.items()
                if way.port == port.id
            ]
            self.text(min(px - 4, FRONT - 90), py + 20, port.id, bold=True)
            self.text(min(px - 4, FRONT - 90), py + 33, ", ".join(inside)[:28])
            self.pins(Spot("port", port.id), px + 14, py - 10)

    def stack(self, name: str, left: float, deepest: int) -> None:
        """Draw a stack as a column, the door on top and position 1 at the base."""
        stack = self.job.enclosure.stack_by_id[name]
        self.text(left, 20, f"{name}, end {self.laid.ends[name]}", bold=True)
        self.text(left, 36, f"trays of {stack.tray.fibres}; door on top")
        self.pins(Spot("stack", name), left + 196, 30)
        claims: dict[Place, list[str]] = defaultdict(list)
        for claim in self.laid.claims:
            leg = self.job.trunk_by_id[claim.trunk].subunit_of(claim.first).leg_of_run(claim.first, claim.last)
            claims[claim.place].append(str(leg) if leg is not None else f"{claim.trunk}:{claim.first}-{claim.last}")
        for position in range(1, stack.positions + 1):
            place = Place(name, position)
            y = TOP + ROW * (deepest - position)
            held = self.laid.splices(place) + self.laid.parked(place)
            self.rect(left, y, COLUMN - 80, ROW - 4, "#f7f9fb" if place in claims else "#fff", "#8a97a5")
            share = min(1.0, held / stack.tray.fibres)
            if held:
                over = held > stack.tray.fibres
                self.rect(left, y, (COLUMN - 80) * share, ROW - 4, "#f3c3c3" if over else "#cfe3d4", "none")
            if str(place) in self.differing:
                self.rect(left, y, COLUMN - 80, ROW - 4, "none", "#b3261e", 2.5)
            legs = " ".join(claims.get(place, ()))
            short = legs if len(legs) <= 25 else f"{legs[:22]}…"
            counted = f"{held}/{stack.tray.fibres}" if place in claims else ""
            self.text(left + 4, y + 14, f"{position}", bold=True)
            self.parts.append(f"<g><title>{escape(f'{place}: {legs}')}</title>")
            self.text(left + 26, y + 14, short)
            self.parts.append("</g>")
            self.text(left + COLUMN - 124, y + 14, counted)
            self.pins(Spot("place", str(place)), left + COLUMN - 70, y + 10)

    def pins(self, spot: Spot, x: float, y: float) -> None:
        """Draw the numbers of findings at a spot, side by side; no more than six."""
        found = self.marks.get(spot, [])
        for i, (number, fails) in enumerate(found[:6]):
            px = round(x + 17 * i, 1)
            fill = "#b3261e" if fails else "#8a6d00"
            at = f'x="{px}" y="{round(y + 3.5, 1)}"'
            self.parts.append(
                f'<g class="mark"><circle cx="{px}" cy="{round(y, 1)}" r="8.5" fill="{fill}"/>'
                f'<text {at} fill="#fff" font-size="10" text-anchor="middle">{number}</text></g>'
            )
        if len(found) > 6:
            self.text(x + 17 * 6 - 6, y + 4, f"+{len(found) - 6}")

    def rect(self, x: float, y: float, width: float, height: float, fill: str, stroke: str, edge: float = 1) -> None:
        self.parts.append(
            f'<rect x="{round(x, 1)}" y="{round(y, 1)}" width="{round(width, 1)}" height="{round(height, 1)}" '
            f'fill="{fill}" stroke="{stroke}" stroke-width="{edge:g}"/>'
        )

    def text(self, x: float, y: float, words: str, *, bold: bool = False) -> None:
        weight = ' font-weight="bold"' if bold else ""
        if words:
            self.parts.append(f'<text x="{round(x, 1)}" y="{round(y, 1)}"{weight}>{escape(words)}</text>')
