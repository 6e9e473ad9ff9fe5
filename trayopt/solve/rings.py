"""Rings of subunits that keep together: what lies on one is in one tray, whatever the divisions."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from trayopt.domain.cablework import Subunit
from trayopt.domain.job import Job
from trayopt.domain.splicing import Piece

Step = tuple[int, Subunit]
"""The next piece along a subunit, by index, and that subunit."""


class Ring(NamedTuple):
    """Pieces around a ring, by index, and the subunits along which each goes on to the next."""

    pieces: tuple[int, ...]
    subunits: tuple[Subunit, ...]


def overfull_rings(
    job: Job, together: Callable[[Subunit], bool], room: int, placed: Sequence[int] | None = None
) -> list[Ring]:
    """Find rings of subunits that keep together and that no tray of so much room holds in one, at most one a piece.

    ``placed`` gives how many splices of each piece are placed, all where None. A step leads from a piece to the next placed
    one along a subunit that keeps together: its position is no lower, on the same stack. Around a ring all positions are
    equal, so every piece on it lies in one tray. Of the rings through a piece a shortest one is found.
    """
    placed = [piece.count for piece in job.pieces] if placed is None else placed
    steps = _steps(job, together, placed)
    found: dict[frozenset[int], Ring] = {}
    for start in range(len(job.pieces)):
        ring = _ring(steps, start)
        if ring is not None and sum(placed[at] for at in ring.pieces) > room:
            found.setdefault(frozenset(ring.pieces), ring)
    return list(found.values())


def _steps(job: Job, together: Callable[[Subunit], bool], placed: Sequence[int]) -> list[list[Step]]:
    """Give the steps from each piece."""
    along: dict[tuple[str, int], list[tuple[int, int]]] = {}
    for index, piece in enumerate(job.pieces):
        for trunk, number, first in sides(job, piece):
            if placed[index]:
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


def sides(job: Job, piece: Piece) -> Iterator[tuple[str, int, int]]:
    """Give trunk, subunit and first fibre of either side of a piece."""
    for side in (piece.a, piece.b):
        yield side.trunk, job.trunk_by_id[side.trunk].subunit_of(side.first).number, side.first


def _ring(steps: list[list[Step]], start: int) -> Ring | None:
    """Give a shortest ring through a piece."""
    came: dict[int, tuple[int, Subunit]] = {}
    queue = deque([start])
    while queue:
        here = queue.popleft()
        for there, subunit in steps[here]:
            if there == start:
                pieces, subunits = [start], [subunit]
                while here != start:
                    pieces.append(here)
                    here, subunit = came[here]
                    subunits.append(subunit)
                return Ring(tuple(pieces), tuple(subunits))
            if there not in came:
                came[there] = (here, subunit)
                queue.append(there)
    return None
