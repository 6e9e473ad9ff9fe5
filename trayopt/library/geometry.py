"""Plane geometry of boxes, in whole and half millimetres: rings of points and rectangles."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple


class Point(NamedTuple):
    """A point seen from the door: x to the right, y up."""

    x: float
    y: float


class Rectangle(NamedTuple):
    """A rectangle with sides parallel to the axes."""

    left: float
    bottom: float
    right: float
    top: float

    @property
    def corners(self) -> tuple[Point, Point, Point, Point]:
        """The corners, clockwise from the lower left."""
        return (
            Point(self.left, self.bottom),
            Point(self.left, self.top),
            Point(self.right, self.top),
            Point(self.right, self.bottom),
        )

    def holds(self, point: Point) -> bool:
        """Whether a point lies inside the rectangle and not on its edge."""
        return self.left < point.x < self.right and self.bottom < point.y < self.top

    def overlaps(self, other: Rectangle) -> bool:
        """Whether the two rectangles share more than an edge."""
        wide = min(self.right, other.right) > max(self.left, other.left)
        return wide and min(self.top, other.top) > max(self.bottom, other.bottom)

    def off_edge(self, point: Point) -> float:
        """Return the distance of a point from the edge of the rectangle, along the axes."""
        outside = max(self.left - point.x, point.x - self.right, self.bottom - point.y, point.y - self.top)
        if outside >= 0:
            return outside
        return min(point.x - self.left, self.right - point.x, point.y - self.bottom, self.top - point.y)


def turn(a: Point, b: Point, c: Point) -> float:
    """Return the cross product of ab and ac; it is positive if c lies to the left of the line from a to b."""
    return (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x)


def area2(ring: Sequence[Point]) -> float:
    """Return twice the area of a ring of points; negative if the ring runs clockwise."""
    return sum(a.x * b.y - b.x * a.y for a, b in zip(ring, (*ring[1:], ring[0]), strict=True))


def crossing_sides(ring: Sequence[Point]) -> tuple[int, int] | None:
    """Return two sides of a ring that touch outside their common corner (side i leaves point i); None if the ring is simple."""
    n = len(ring)
    for i in range(n):
        for j in range(i + 1, n):
            a, b, c, d = ring[i], ring[(i + 1) % n], ring[j], ring[(j + 1) % n]
            if j == i + 1 or (i == 0 and j == n - 1):
                shared, before, after = (b, a, d) if j == i + 1 else (a, b, c)
                back = turn(before, shared, after) == 0 and _ahead(shared, before, after)
                if back or before == shared or after == shared:
                    return i, j
            elif segments_meet(a, b, c, d):
                return i, j
    return None


def _ahead(shared: Point, one: Point, other: Point) -> bool:
    """Whether two points lie on the same side of a third point on one line."""
    return (one.x - shared.x) * (other.x - shared.x) + (one.y - shared.y) * (other.y - shared.y) > 0


def segments_meet(a: Point, b: Point, c: Point, d: Point) -> bool:
    """Whether two segments share a point."""
    if (a.x < c.x and a.x < d.x and b.x < c.x and b.x < d.x) or (a.x > c.x and a.x > d.x and b.x > c.x and b.x > d.x):
        return False
    if (a.y < c.y and a.y < d.y and b.y < c.y and b.y < d.y) or (a.y > c.y and a.y > d.y and b.y > c.y and b.y > d.y):
        return False
    turns = turn(a, b, c), turn(a, b, d), turn(c, d, a), turn(c, d, b)
    if turns[0] * turns[1] < 0 and turns[2] * turns[3] < 0:
        return True
    return any(
        value == 0 and _between(start, end, point)
        for value, start, end, point in zip(turns, (a, a, c, c), (b, b, d, d), (c, d, a, b), strict=True)
    )


def _between(a: Point, b: Point, point: Point) -> bool:
    return min(a.x, b.x) <= point.x <= max(a.x, b.x) and min(a.y, b.y) <= point.y <= max(a.y, b.y)


def inside(ring: Sequence[Point], point: Point) -> bool:
    """Whether a point lies strictly inside a simple ring."""
    n = len(ring)
    within = False
    for i in range(n):
        a, b = ring[i], ring[(i + 1) % n]
        if turn(a, b, point) == 0 and _between(a, b, point):
            return False
        if (a.y > point.y) != (b.y > point.y) and point.x < (b.x - a.x) * (point.y - a.y) / (b.y - a.y) + a.x:
            within = not within
    return within


def clear_inside(ring: Sequence[Point], rectangle: Rectangle) -> bool:
    """Whether a rectangle lies inside a simple ring without touching it."""
    if not all(inside(ring, corner) for corner in rectangle.corners):
        return False
    corners = rectangle.corners
    sides = list(zip(corners, (*corners[1:], corners[0]), strict=True))
    return not any(
        segments_meet(a, b, c, d) for a, b in zip(ring, (*ring[1:], ring[0]), strict=True) for c, d in sides
    ) and not any(rectangle.holds(point) for point in ring)
