"""Shapes, the width of texts, and labels that never overlap."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Literal, NamedTuple
from unicodedata import combining, east_asian_width

Anchor = Literal["start", "middle", "end"]
Point = tuple[float, float]
Keys = Mapping[str, str]
"""What a shape shows: the names under ``leg``, ``tray``, ``trunk``, ``guide`` or ``port``."""

SIZE = 12.0
"""Text size in px: the smallest that can be read on a tablet at arm's length."""
ADVANCE = 0.61
"""Width of a character of a monospaced font, as a part of the text size (0.600 to 0.606 in common fonts)."""
WIDTH = 700.0
"""Width of a picture in px: it fits an upright tablet, and the type area of A4 and Letter at real size."""


class Rect(NamedTuple):
    """A rectangle by its upper left corner, y downwards."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """The right edge."""
        return self.x + self.width

    @property
    def bottom(self) -> float:
        """The lower edge."""
        return self.y + self.height

    def meets(self, other: Rect, gap: float = 0.0) -> bool:
        """Whether this rectangle overlaps another, or comes nearer to it than a gap."""
        return (
            self.x < other.right + gap - 1e-6
            and other.x < self.right + gap - 1e-6
            and self.y < other.bottom + gap - 1e-6
            and other.y < self.bottom + gap - 1e-6
        )

    def holds(self, other: Rect) -> bool:
        """Whether another rectangle lies inside this rectangle."""
        return (
            other.x >= self.x - 1e-6
            and other.y >= self.y - 1e-6
            and other.right <= self.right + 1e-6
            and other.bottom <= self.bottom + 1e-6
        )


@dataclass(frozen=True)
class Box:
    """A rectangle that is drawn; ``kind`` selects its style."""

    rect: Rect
    kind: str
    keys: Keys = field(default_factory=dict)
    title: str = ""


@dataclass(frozen=True)
class Path:
    """Straight pieces through points, open or closed."""

    points: tuple[Point, ...]
    kind: str
    keys: Keys = field(default_factory=dict)
    closed: bool = False
    title: str = ""


@dataclass(frozen=True)
class Dot:
    """A small mark, turned by ``turn`` degrees clockwise from pointing right."""

    x: float
    y: float
    kind: str
    keys: Keys = field(default_factory=dict)
    turn: float = 0.0


@dataclass(frozen=True)
class Disc:
    """A circle by its centre and radius."""

    x: float
    y: float
    radius: float
    kind: str


@dataclass(frozen=True)
class Text:
    """One line of text; x, y is the anchor on its middle line, and ``within`` is the rectangle that it must not leave.

    An ``upright`` text is read from below to above; its anchor is its middle.
    """

    x: float
    y: float
    text: str
    kind: str = "note"
    anchor: Anchor = "start"
    size: float = SIZE
    within: Rect | None = None
    keys: Keys = field(default_factory=dict)
    full: str = ""
    """The whole text, if ``text`` had to be cut."""
    upright: bool = False

    @property
    def rect(self) -> Rect:
        """The rectangle that the text covers."""
        width = text_width(self.text, self.size)
        if self.upright:
            return Rect(self.x - self.size * 0.55, self.y - width / 2, self.size * 1.1, width)
        left = {"start": self.x, "middle": self.x - width / 2, "end": self.x - width}[self.anchor]
        return Rect(left, self.y - self.size * 0.55, width, self.size * 1.1)


@dataclass
class Picture:
    """One picture: its size, a description in words, and its shapes in the order in which they are drawn."""

    id: str
    width: float
    height: float
    title: str
    description: str = ""
    say: Callable[[str], str] = str
    """Says a text in the language of the picture."""
    boxes: list[Box] = field(default_factory=list)
    discs: list[Disc] = field(default_factory=list)
    paths: list[Path] = field(default_factory=list)
    dots: list[Dot] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)

    @property
    def frame(self) -> Rect:
        """The whole picture."""
        return Rect(0, 0, self.width, self.height)

    def outside(self) -> list[Text]:
        """List the texts that leave the picture, or the rectangle that should hold them."""
        return [
            t
            for t in self.texts
            if not self.frame.holds(t.rect) or (t.within is not None and not t.within.holds(t.rect))
        ]

    def overlaps(self) -> list[tuple[Text, Text]]:
        """List the pairs of texts that overlap."""
        ordered = sorted(self.texts, key=lambda t: t.rect.y)
        return [(a, b) for a, b in _near(ordered) if a.rect.meets(b.rect)]


def _near(ordered: Sequence[Text]) -> Iterator[tuple[Text, Text]]:
    for i, a in enumerate(ordered):
        for b in ordered[i + 1 :]:
            if b.rect.y > a.rect.bottom:
                break
            yield a, b


def wrapped(text: str, width: float, size: float = SIZE) -> list[str]:
    """Break a text after hyphens and spaces into lines of a width; a piece that is too long for a line is cut."""
    lines: list[str] = []
    for piece in re.findall(r"[^- ]*[- ]?", text):
        if lines and text_width((lines[-1] + piece).rstrip(), size) <= width:
            lines[-1] += piece
        elif piece:
            lines.append(piece)
    return [fitted(line.rstrip(), width, size) for line in lines]


def text_width(text: str, size: float = SIZE) -> float:
    """Return the width of a text in px; wide East Asian characters count twice, combining characters do not count."""
    cells = sum(0 if combining(char) else 2 if east_asian_width(char) in "WF" else 1 for char in text)
    return cells * ADVANCE * size


def fitted(text: str, width: float, size: float = SIZE) -> str:
    """Cut a text to a width, with an ellipsis; the result is empty if not even one character fits before the ellipsis."""
    if text_width(text, size) <= width:
        return text
    while text and text_width(text + "…", size) > width:
        text = text[:-1]
    return text.rstrip() + "…" if text else ""


APART_PX = 3.0
"""Room that is left beside a label: nearer, two names in a line read as one."""


class Labels:
    """Places texts where there is no other text yet; texts without a place are listed in ``left``."""

    def __init__(self, frame: Rect, taken: Iterable[Rect] = ()) -> None:
        self.frame = frame
        self.taken = list(taken)
        self.placed: list[Text] = []
        self.left: list[str] = []

    def put(self, candidates: Sequence[Text], avoid: Sequence[Rect] = ()) -> bool:
        """Place the first candidate that is inside the frame and meets no other text; prefer candidates clear of ``avoid``."""
        free = [text for text in candidates if self._fits(text)]
        clear = [text for text in free if not any(text.rect.meets(other, 2.0) for other in avoid)]
        for text in (*clear, *free)[:1]:
            self.taken.append(text.rect)
            self.placed.append(text)
            return True
        self.left += [text.full or text.text for text in candidates[:1]]
        return False

    def _fits(self, text: Text) -> bool:
        rect = text.rect
        wide = Rect(rect.x - APART_PX, rect.y, rect.width + 2 * APART_PX, rect.height)
        return bool(text.text) and self.frame.holds(rect) and not any(wide.meets(other, 1.0) for other in self.taken)


def crossing_point(a: tuple[Point, Point], b: tuple[Point, Point]) -> Point | None:
    """Return the point at which two straight pieces cross; None if they do not cross."""
    (ax, ay), (bx, by) = a
    (cx, cy), (dx, dy) = b
    turn = (bx - ax) * (dy - cy) - (by - ay) * (dx - cx)
    if abs(turn) < 1e-12:
        return None
    along = ((cx - ax) * (dy - cy) - (cy - ay) * (dx - cx)) / turn
    across = ((cx - ax) * (by - ay) - (cy - ay) * (bx - ax)) / turn
    if not (0 < along < 1 and 0 < across < 1):
        return None
    return ax + along * (bx - ax), ay + along * (by - ay)


def count_crossings(lines: Sequence[tuple[Point, Point]]) -> int:
    """Count the pairs of straight pieces that cross."""
    return sum(crossing_point(a, b) is not None for a, b in combinations(lines, 2))
