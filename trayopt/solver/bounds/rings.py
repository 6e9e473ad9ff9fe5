"""Precedence cycles of subunits that keep together: all legs of a cycle lie in one tray, or in two, whatever the divisions.

Along a subunit that keeps together positions do not fall, and from one leg to the next they rise by one at most. So what lies
on a way from the end of a block to the beginning of the next one of the same subunit, along other subunits, is between two
positions that follow each other.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import NamedTuple

from trayopt.domain.cablework import Subunit
from trayopt.domain.job import Job

Step = tuple[int, Subunit]
"""The next block along a subunit, by index, and that subunit."""


class Block(NamedTuple):
    """Splices between two subunits that go on from each other on both sides: trunk, subunit and first fibre of either side."""

    a: tuple[str, int, int]
    b: tuple[str, int, int]
    splices: int

    @property
    def keys(self) -> tuple[tuple[str, int], tuple[str, int]]:
        """The two subunits that the block joins, by trunk and number."""
        return self.a[:2], self.b[:2]


class Ring(NamedTuple):
    """Blocks around a ring, by index, the subunits along which each goes on to the next, and the trays that they have at most.

    Where these are two, the last subunit is the one whose two blocks the others go round.
    """

    blocks: tuple[int, ...]
    subunits: tuple[Subunit, ...]
    trays: int = 1


def blocks_of(job: Job) -> list[Block]:
    """Join the pieces of a job to blocks."""
    found: list[Block] = []
    for piece in job.pieces:
        a, b = (
            (side.trunk, job.trunk_by_id[side.trunk].subunit_of(side.first).number, side.first)
            for side in (piece.a, piece.b)
        )
        last = found[-1] if found else None
        if last is not None and all(
            (one[0], one[1], one[2] + last.splices) == other for one, other in ((last.a, a), (last.b, b))
        ):
            found[-1] = last._replace(splices=last.splices + piece.count)
        else:
            found.append(Block(a, b, piece.count))
    return found


def chained(job: Job) -> bool:
    """Whether some block joins two subunits that both have other blocks.

    Where none does, the blocks of a job are as good as its bunches, and the whole model answers sooner (measured on 6,912 to 2 x
    3,456 fibres: least crossings in 11 s against 50 s).
    """
    blocks = blocks_of(job)
    number = Counter(key for block in blocks for key in block.keys)
    return any(all(number[key] > 1 for key in block.keys) for block in blocks)


def overfull_rings(
    job: Job, together: Callable[[Subunit], bool], room: int, placed: Sequence[int] | None = None
) -> list[Ring]:
    """Find rings of subunits that keep together but fit no tray of this room, or no two, at most two rings for each block.

    ``placed`` gives how many splices of each block are placed, all where None. A step leads from a block to the next one
    with placed splices along a subunit that keeps together: its positions are no lower, on the same stack. Around a ring all
    positions are equal, so every block on it lies in one tray. Where a subunit goes on from one block to the next without a
    fibre between them, the position rises by one at most: what lies on another way from the one to the other has two trays.
    Of the rings through a block a shortest one is found.
    """
    blocks = blocks_of(job)
    placed = [block.splices for block in blocks] if placed is None else placed
    steps = _steps(job, together, blocks, placed)
    found: dict[frozenset[int], Ring] = {}
    for start in range(len(blocks)):
        rings = [
            _ring(steps, start),
            *(_round(steps, start, step) for step in steps[start] if _meet(blocks, start, step)),
        ]
        for ring in rings:
            if ring is not None and sum(placed[at] for at in ring.blocks) > room * ring.trays:
                found.setdefault(frozenset(ring.blocks), ring)
    return list(found.values())


def _steps(
    job: Job, together: Callable[[Subunit], bool], blocks: Sequence[Block], placed: Sequence[int]
) -> list[list[Step]]:
    """Return the steps from each block."""
    along: dict[tuple[str, int], list[tuple[int, int]]] = {}
    for index, block in enumerate(blocks):
        for trunk, number, first in (block.a, block.b):
            if placed[index]:
                along.setdefault((trunk, number), []).append((first, index))
    steps: list[list[Step]] = [[] for _ in blocks]
    for key, found in along.items():
        subunit = job.subunit_of_leg[key]
        if not together(subunit):
            continue
        order = [index for _, index in sorted(found)]
        for here, there in pairwise(order):
            steps[here].append((there, subunit))
    return steps


def _meet(blocks: Sequence[Block], here: int, step: Step) -> bool:
    """Whether the next block along a subunit begins at the fibre after the last one of this block."""
    there, subunit = step
    key = (subunit.trunk, subunit.number)
    first, then = (
        next(side[2] for side in (block.a, block.b) if side[:2] == key) for block in (blocks[here], blocks[there])
    )
    return first + blocks[here].splices == then


def _ring(steps: list[list[Step]], start: int) -> Ring | None:
    """Return a shortest ring through a block."""
    way = _way(steps, start, start)
    return None if way is None else Ring((start, *(at for at, _ in way[:-1])), tuple(subunit for _, subunit in way))


def _round(steps: list[list[Step]], start: int, step: Step) -> Ring | None:
    """Return a shortest way from a block to the next one along a subunit, round by other subunits, without these two blocks."""
    way = _way([[other for other in of if other != step] for of in steps], start, step[0])
    if way is None:
        return None
    return Ring(tuple(at for at, _ in way[:-1]), (*(subunit for _, subunit in way), step[1]), trays=2)


def _way(steps: list[list[Step]], start: int, end: int) -> list[Step] | None:
    """Return the steps of a shortest way from a block to another, or back to itself; None where there is none."""
    came: dict[int, tuple[int, Subunit]] = {}
    queue = deque([start])
    while queue:
        here = queue.popleft()
        for there, subunit in steps[here]:
            if there == end:
                way = [(there, subunit)]
                while here != start:
                    before, subunit = came[here]
                    way.append((here, subunit))
                    here = before
                return way[::-1]
            if there not in came and there != start:
                came[there] = (here, subunit)
                queue.append(there)
    return None
