"""The closed ring of guides: hops, direct ways and lengths, in whole mm. Each straight piece is rounded up by itself."""

from __future__ import annotations

from functools import cached_property

from trayopt.domain.base import Travel, straight_mm
from trayopt.domain.hardware import Enclosure, End, Port, Stack


class Ring:
    """The track of an enclosure; its guides are numbered from 0, clockwise."""

    def __init__(self, enclosure: Enclosure) -> None:
        self.enclosure = enclosure
        self.guides = enclosure.track.guides
        self.number = {guide.id: i for i, guide in enumerate(self.guides)}

    @cached_property
    def hops(self) -> tuple[int, ...]:
        """Length in mm of the hop from each guide to the next one clockwise."""
        guides = self.guides
        return tuple(
            straight_mm(a.x_mm, a.y_mm, b.x_mm, b.y_mm) for a, b in zip(guides, (*guides[1:], guides[0]), strict=True)
        )

    @cached_property
    def length_mm(self) -> int:
        """Length of the whole ring, in mm."""
        return sum(self.hops)

    def direct(self, start: str, goal: str, travel: Travel) -> tuple[str, ...]:
        """Return the guides on the direct way from start to goal, both included, in the order in which they are passed."""
        step = 1 if travel == "clockwise" else -1
        at, end = self.number[start], self.number[goal]
        passed = [self.guides[at].id]
        while at != end:
            at = (at + step) % len(self.guides)
            passed.append(self.guides[at].id)
        return tuple(passed)

    def direct_mm(self, start: str, goal: str, travel: Travel) -> int:
        """Return the length of the hops on the direct way, in mm; 0 if start and goal are the same guide."""
        a, b = self.number[start], self.number[goal]
        if travel == "counterclockwise":
            a, b = b, a
        return sum(self.hops[i % len(self.hops)] for i in range(a, b if b >= a else b + len(self.hops)))


def plane_mm(ring: Ring, port: Port, travel: Travel, loops: int, end: End) -> int:
    """Return the length of a route in the x, y plane, in mm: port to guide, hops, loops, guide to entrance."""
    start = ring.guides[ring.number[port.guide]]
    entrance = end.entrance(travel)
    leaves = ring.guides[ring.number[entrance.guide]]
    return (
        straight_mm(port.x_mm, port.y_mm, start.x_mm, start.y_mm)
        + ring.direct_mm(port.guide, entrance.guide, travel)
        + loops * ring.length_mm
        + straight_mm(leaves.x_mm, leaves.y_mm, entrance.x_mm, entrance.y_mm)
    )


def rise_mm(enclosure: Enclosure, stack: Stack, position: int) -> int:
    """Return the distance of a tray place from the band of the track, in mm; 0 inside the band."""
    low, high = enclosure.track.z_mm
    z = stack.z_mm(position)
    return max(low - z, z - high, 0)
