"""Stretches: runs of fibres that are alike to every division, but for where it cuts them.

A stretch is a *block*, a run of splices between two subunits (``rings.Block``, cut where a join begins or ends that is kept
apart from others), or a *gap*, a run of fibres without a splice in a subunit that has others.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import NamedTuple

from trayopt.domain.cablework import Leg
from trayopt.domain.job import Job
from trayopt.solver.bounds.rings import Block, blocks_of
from trayopt.solver.model.base import Divisions, Key


class Stretch(NamedTuple):
    """Fibres that follow each other: a block has two sides, a gap one; each is a trunk, a subunit and its first fibre there."""

    sides: tuple[tuple[str, int, int], ...]
    fibres: int

    @property
    def keys(self) -> tuple[Key, ...]:
        """The subunits of the stretch, by trunk and number."""
        return tuple(side[:2] for side in self.sides)

    @property
    def spliced(self) -> bool:
        """Whether the stretch is a block."""
        return len(self.sides) > 1


class Stretches:
    """The stretches of a job, and what the legs of its open divisions hold of them; no literal among them.

    Parameters
    ----------
    divisions
        Open k by (trunk, subunit), for every subunit with a spliced fibre.
    """

    def __init__(self, job: Job, divisions: Divisions) -> None:
        self.job = job
        self.found = stretches_of(job)
        """Blocks, then gaps."""
        self.open: dict[Key, tuple[int, ...]] = {key: tuple(of) for key, of in divisions.items()}
        self.along: dict[Key, list[int]] = {
            key: sorted(
                (i for i, stretch in enumerate(self.found) if key in stretch.keys),
                key=lambda i, key=key: self.first_fibre(key, i),  # type: ignore[misc]
            )
            for key in self.open
        }
        """Stretches of each subunit by index, in the order of its fibres."""
        self._parts: dict[Leg, dict[int, int]] = {}

    def first_fibre(self, key: Key, i: int) -> int:
        """Return the fibre of a subunit with which a stretch begins."""
        return next(side[2] for side in self.found[i].sides if side[:2] == key)

    def parts_of(self, leg: Leg) -> Mapping[int, int]:
        """Count the fibres of each stretch that a leg holds, those of its own side; once for each leg."""
        if leg not in self._parts:
            self._parts[leg] = self._count_parts(leg)
        return self._parts[leg]

    def _count_parts(self, leg: Leg) -> dict[int, int]:
        key = (leg.trunk, leg.subunit)
        first, last = self.job.subunit(leg).leg_run(leg)
        found = {}
        for i in self.along[key]:
            start = self.first_fibre(key, i)
            fibres = min(last, start + self.found[i].fibres - 1) - max(first, start) + 1
            if fibres > 0:
                found[i] = fibres
        return found

    def edges(self, i: int, key: Key, of: int) -> frozenset[int]:
        """Return where legs of a division end inside a stretch, in fibres from its start, its own ends included."""
        subunit, size = self.job.subunit_of_leg[key], self.found[i].fibres
        start = self.first_fibre(key, i)
        ends = range(subunit.first, subunit.last + 1, subunit.fibres // of)
        return frozenset({0, size, *(end - start for end in ends if 0 < end - start < size)})

    def begins_in_leg(self, i: int, key: Key, of: int) -> bool:
        """Whether a stretch begins inside a leg of a division, which then holds fibres of the stretch before it, too."""
        subunit, first = self.job.subunit_of_leg[key], self.first_fibre(key, i)
        return subunit.leg_of_fibre(first - 1, of) == subunit.leg_of_fibre(first, of)

    def idle(self, i: int) -> dict[int, int]:
        """Count for each open k of the subunit of a gap the fibres of the gap that lie in legs without a splice."""
        (key,) = self.found[i].keys
        subunit = self.job.subunit_of_leg[key]
        return {
            of: sum(
                part for leg in subunit.legs(of) if len(parts := self.parts_of(leg)) == 1 and (part := parts.get(i))
            )
            for of in self.open[key]
        }


def stretches_of(job: Job) -> list[Stretch]:
    """Return the blocks of a job, cut where a join begins or ends that is kept apart, then the gaps of subunits with a splice."""
    found = [stretch for block in blocks_of(job) for stretch in _cut_apart(job, block)]
    for (trunk, number), runs in job.spliced.items():
        subunit = job.subunit_of_leg[trunk, number]
        edges = [subunit.first - 1, *(fibre for run in runs for fibre in run), subunit.last + 1]
        for before, after in zip(edges[::2], edges[1::2], strict=True):
            if runs and after - before > 1:
                found.append(Stretch(((trunk, number, before + 1),), after - before - 1))
    return found


def joins_apart(job: Job) -> frozenset[int]:
    """Return the joins that are kept apart from others, by index."""
    named = {name for item in job.apart for name in item.joins}
    return frozenset(i for i, join in enumerate(job.joins) if join.name in named)


def _cut_apart(job: Job, block: Block) -> Iterator[Stretch]:
    """Cut a block so that each part lies in one of the joins that are kept apart, or in none of them."""
    apart, (trunk, number, start) = joins_apart(job), block.a
    other, other_number, other_start = block.b
    joins = {piece.a.first: piece.join for piece in job.pieces if piece.a.trunk == trunk} if apart else {}
    firsts = [fibre for fibre in range(start, start + block.splices) if fibre in joins]
    edges = [b for a, b in pairwise(firsts) if joins[a] != joins[b] and {joins[a], joins[b]} & apart]
    for first, end in pairwise([start, *edges, start + block.splices]):
        there = other_start + first - start
        yield Stretch(((trunk, number, first), (other, other_number, there)), end - first)
