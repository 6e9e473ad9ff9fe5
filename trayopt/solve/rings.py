"""Rings of subunits that keep together: what lies on one is in one tray, whatever the divisions."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from itertools import pairwise

from trayopt.domain.cablework import Subunit
from trayopt.domain.job import Job
from trayopt.domain.splicing import Piece

Step = tuple[int, Subunit]
"""The next piece along a subunit, by index, and that subunit."""


def overfull_rings(job: Job, together: Callable[[Subunit], bool], room: int) -> list[tuple[Subunit, ...]]:
    """Find rings of subunits that keep together and that no tray of so much room holds in one, at most one a piece.

    A step leads from a piece to the next one along a subunit that keeps together: its position is no lower, on the same
    stack. Around a ring all positions are equal, so every piece on it lies in one tray. Of the rings through a piece a
    shortest one is found.
    """
    steps = _steps(job, together)
    found: dict[tuple[tuple[str, int], ...], tuple[Subunit, ...]] = {}
    for start in range(len(job.pieces)):
        ring = _ring(steps, start)
        if ring is None or sum(job.pieces[at].count for at, _ in ring) <= room:
            continue
        subunits = {(subunit.trunk, subunit.number): subunit for _, subunit in ring}
        found.setdefault(tuple(sorted(subunits)), tuple(subunits.values()))
    return list(found.values())


def _steps(job: Job, together: Callable[[Subunit], bool]) -> list[list[Step]]:
    """Give the steps from each piece."""
    along: dict[tuple[str, int], list[tuple[int, int]]] = {}
    for index, piece in enumerate(job.pieces):
        for trunk, number, first in _sides(job, piece):
            along.setdefault((trunk, number), []).append((first, index))
    steps: list[list[Step]] = [[] for _ in job.pieces]
    for key, pieces in along.items():
        subunit = job.subunit_of_leg[key]
        if not together(subunit):
            continue
        order = [index for _, index in sorted(pieces)]
        for here, there in pairwise(order):
            steps[here].append((there, subunit))
    return steps


def _sides(job: Job, piece: Piece) -> Iterator[tuple[str, int, int]]:
    for side in (piece.a, piece.b):
        yield side.trunk, job.trunk_by_id[side.trunk].subunit_of(side.first).number, side.first


def _ring(steps: list[list[Step]], start: int) -> list[Step] | None:
    """Give a shortest ring through a piece: its pieces, each with the subunit along which it was reached."""
    came: dict[int, tuple[int, Subunit]] = {}
    queue = deque([start])
    while queue:
        here = queue.popleft()
        for there, subunit in steps[here]:
            if there == start:
                ring = [(start, subunit)]
                while here != start:
                    ring.append((here, came[here][1]))
                    here = came[here][0]
                return ring
            if there not in came:
                came[there] = (here, subunit)
                queue.append(there)
    return None
