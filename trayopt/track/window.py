"""The window in the sheath of a trunk that goes through: its length, and the way of the uncut tubes in it.

Both ends of a cut tube come out of the window. Uncut tubes fill the window from port to port: from the port by which the trunk
enters they travel as that end travels, make as many whole loops as the longest cut tube needs, and go on to the other port.
Lengths are in mm; each straight piece is rounded up by itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from trayopt.domain.assignment import Way
from trayopt.domain.base import ceil_to, straight_mm
from trayopt.domain.job import Job
from trayopt.domain.through import Through
from trayopt.domain.trunk import Trunk
from trayopt.track.cuts import cuts_by_place
from trayopt.track.lengths import CUT_STEP_MM, Lengths, Lying
from trayopt.track.routes import all_ways, routes_of


class Window(NamedTuple):
    """The window of a trunk that goes through: its length, and the loops and the direct way of the uncut tubes."""

    through: Through
    length_mm: int
    loops: int
    direct: tuple[str, ...]


class Passage:
    """The way of the uncut tubes from port to port, for given ways of the two ends.

    Attributes
    ----------
    direct
        Guides of the direct way, including the guides of both ports.
    least_mm
        Length without a loop and without the allowance for the lay, in mm.
    """

    def __init__(self, job: Job, through: Through, enters: Way, leaves_by: str, lengths: Lengths) -> None:
        ring = routes_of(job).ring
        one, other = (job.enclosure.port_by_id[port] for port in (enters.port, leaves_by))
        self.lengths, self.ring_mm = lengths, ring.length_mm
        self.direct = ring.direct(one.guide, other.guide, enters.travel)
        self.least_mm = (
            sum(job.trunk_by_id[end].transition_mm for end in through.ends)
            + spur_mm(job, one.id)
            + ring.direct_mm(one.guide, other.guide, enters.travel)
            + spur_mm(job, other.id)
        )

    def exact_mm(self, loops: int) -> int:
        """Return the length with so many loops, in mm, not yet rounded up."""
        return self.least_mm + self.lengths.allowance_mm + loops * self.a_loop_mm

    @property
    def a_loop_mm(self) -> int:
        """Length of each further loop, in mm."""
        return self.ring_mm + self.lengths.allowance_mm

    def length_mm(self, loops: int) -> int:
        """Return the length of the window with so many loops, in mm."""
        return ceil_to(self.exact_mm(loops), CUT_STEP_MM)

    def loops_for(self, need_mm: int) -> int:
        """Return the fewest loops with which the window is at least ``need_mm`` long."""
        short = need_mm - (CUT_STEP_MM - 1) - self.exact_mm(0)
        return max(0, -(-short // self.a_loop_mm))


def spur_mm(job: Job, port: str) -> int:
    """Return the length from a port to its guide, in mm."""
    ring = routes_of(job).ring
    at = job.enclosure.port_by_id[port]
    guide = ring.guides[ring.number[at.guide]]
    return straight_mm(at.x_mm, at.y_mm, guide.x_mm, guide.y_mm)


def capped_mm(job: Job, trunk: str, way: Way, lengths: Lengths) -> int:
    """Return the length of a cut end that is spliced to nothing, in mm. It is capped and stored in the loops of its side."""
    loops = way.loops * (routes_of(job).ring.length_mm + lengths.allowance_mm)
    return ceil_to(job.trunk_by_id[trunk].transition_mm + spur_mm(job, way.port) + loops, CUT_STEP_MM)


def farthest_mm(job: Job, trunk: Trunk, way: Way, lengths: Lengths) -> int:
    """Return the length that a leg of a trunk needs, on one way, to reach the farthest tray of the box, in mm."""
    return max(_cuts_mm(job, trunk, way, lengths))


def _cuts_mm(job: Job, trunk: Trunk, way: Way, lengths: Lengths) -> list[int]:
    """Return the lengths at which a leg of a trunk on one way is cut, in mm, for each place and each end of its stack."""
    return [cut for cuts in cuts_by_place(job, trunk, way, lengths).values() for cut in cuts]


def need_mm(laid: Lying, through: Through, lengths: Lengths) -> int:
    """Return the length that the longest cut tube needs, in mm: the longest leg of one end plus the longest of the other."""
    job, needs = laid.job, [0]
    for unit in job.trunk_by_id[through.ends[0]].subunits:
        both = 0
        for end in through.ends:
            legs = laid.by_subunit.get((end, unit.number), ())
            both += max(
                (lengths.cut_of(laid, leg) for leg in legs), default=capped_mm(job, end, laid.ways[end], lengths)
            )
        needs.append(both)
    return max(needs)


def window_of(laid: Lying, through: Through, lengths: Lengths) -> Window | None:
    """Return the window of a trunk that goes through; None if the trunk stays outside."""
    if through.ends[0] not in laid.ways:
        return None
    need = need_mm(laid, through, lengths)
    enters, leaves = (laid.ways[end] for end in through.ends)
    passage = Passage(laid.job, through, enters, leaves.port, lengths)
    if not laid.job.trunk_by_id[through.ends[0]].uncut:
        return Window(through, need, 0, passage.direct)
    loops = passage.loops_for(need)
    return Window(through, passage.length_mm(loops), loops, passage.direct)


def passages(job: Job, through: Through, lengths: Lengths) -> list[tuple[Way, str, Passage]]:
    """Return every passage inside the limits of the two ends, with the first end's way without loops and the other end's port."""
    enters, leaves = (job.trunk_by_id[end] for end in through.ends)
    return [
        (way, port, Passage(job, through, way, port, lengths))
        for way in dict.fromkeys(way._replace(loops=0) for way in all_ways(job, enters))
        for port in leaves.allowed_ports(job.enclosure)
    ]


def extents_mm(job: Job, trunk: Trunk, lengths: Lengths) -> dict[Way, tuple[int, int]]:
    """Return, for each way of a cable end, the least and the greatest length that it can take of a cut tube, in mm."""
    found = {}
    spliced = any(job.spliced[trunk.id, unit.number] for unit in trunk.subunits)
    for way in all_ways(job, trunk):
        cuts = _cuts_mm(job, trunk, way, lengths)
        capped = capped_mm(job, trunk.id, way, lengths)
        found[way] = min([capped, *cuts]), max([capped, *(cuts if spliced else ())])
    return found


def together_mm(job: Job, through: Through, lengths: Lengths) -> dict[tuple[Way, Way], int]:
    """Return, for each two ways of the ends, the least length of the longest cut tube in plans that place every splice, in mm.

    Two ends that are spliced to each other, such as the ends of a tube that was cut by mistake, lie in one tray.
    """
    one, other = (job.trunk_by_id[end] for end in through.ends)
    sides = [
        {
            way: (capped_mm(job, trunk.id, way, lengths), _cuts_mm(job, trunk, way, lengths))
            for way in all_ways(job, trunk)
        }
        for trunk in (one, other)
    ]
    again = {
        one.subunit_of(run.first).number
        for piece in job.pieces
        for run, back in ((piece.a, piece.b), (piece.b, piece.a))
        if (run.trunk, back.trunk) == through.ends
        and one.subunit_of(run.first).number == other.subunit_of(back.first).number
    }
    kinds = {
        (unit.number in again, *(bool(job.spliced[end, unit.number]) for end in through.ends)) for unit in one.subunits
    }
    found = {}
    for a, (a_capped, a_cuts) in sides[0].items():
        for b, (b_capped, b_cuts) in sides[1].items():
            apart = {
                (joined, *placed): (min(a_cuts) if placed[0] else a_capped) + (min(b_cuts) if placed[1] else b_capped)
                for joined, *placed in kinds
                if not joined
            }
            same = [min(map(sum, zip(a_cuts, b_cuts, strict=True)))] if any(joined for joined, *_ in kinds) else []
            found[a, b] = max([*apart.values(), *same], default=0)
    return found


def loops_between(job: Job, through: Through, lengths: Lengths) -> tuple[int, int]:
    """Return the fewest and the most loops that the uncut tubes of a trunk in the box make in any plan."""
    found = [
        passage.loops_for(need) for passage, least, most in _needs_mm(job, through, lengths) for need in (least, most)
    ]
    return (min(found), max(found)) if found else (0, 0)


def _needs_mm(job: Job, through: Through, lengths: Lengths) -> Iterator[tuple[Passage, int, int]]:
    """Yield every passage with the ways of both ends, and the least and the greatest length that a cut tube can take there."""
    sides = [extents_mm(job, job.trunk_by_id[end], lengths) for end in through.ends]
    for flat, port, passage in passages(job, through, lengths):
        one = [extent for way, extent in sides[0].items() if way._replace(loops=0) == flat]
        other = [extent for way, extent in sides[1].items() if way.port == port]
        for a in one:
            for b in other:
                yield passage, a[0] + b[0], a[1] + b[1]


def least_mm(job: Job, through: Through, lengths: Lengths) -> int:
    """Return a lower bound of the length of a trunk's window in any plan that places every splice, in mm."""
    together = together_mm(job, through, lengths)
    if not job.trunk_by_id[through.ends[0]].uncut:
        return min(together.values(), default=0)
    found = [
        passage.length_mm(passage.loops_for(need))
        for flat, port, passage in passages(job, through, lengths)
        for (one, other), need in together.items()
        if one._replace(loops=0) == flat and other.port == port
    ]
    return min(found, default=min(together.values(), default=0))


def most_mm(job: Job, through: Through, lengths: Lengths) -> int:
    """Return an upper bound of the length of a trunk's window in any plan, in mm."""
    uncut = bool(job.trunk_by_id[through.ends[0]].uncut)
    return max(
        (
            passage.length_mm(passage.loops_for(most)) if uncut else most
            for passage, _, most in _needs_mm(job, through, lengths)
        ),
        default=0,
    )
