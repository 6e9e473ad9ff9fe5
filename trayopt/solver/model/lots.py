"""Lots: splices that every plan places together or leaves out together.

A leg lies in a tray with all that it is spliced to. So all of a ribbon is placed as soon as one splice of it is, or all of a
subunit, where its trunk is divided at the tray alone; and so is all that is spliced to it, and so on. A lot with such a subunit
lies on one stack, and any other in one tray.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable
from typing import NamedTuple

from trayopt.domain.job import Job
from trayopt.domain.ranges import Run
from trayopt.domain.splicing import Piece
from trayopt.solver.model.base import Key


class Lot(NamedTuple):
    """Pieces of joins that are placed together or not at all, and the subunits that are whole in it."""

    pieces: tuple[Piece, ...]
    wholes: frozenset[Key]


def lots_of(job: Job) -> list[Lot]:
    """Part the splices of a job into its lots, once for each job object."""
    return job.once(_lots)


def _lots(job: Job) -> list[Lot]:
    hang_on: dict[Hashable, list[int]] = defaultdict(list)
    for i, piece in enumerate(job.pieces):
        for side in (piece.a, piece.b):
            hang_on[_unit(job, side)].append(i)
    left = dict.fromkeys(range(len(job.pieces)))
    lots = []
    while left:
        todo, found, wholes = [next(iter(left))], set[int](), set[Key]()
        while todo:
            i = todo.pop()
            if i in found:
                continue
            found.add(i)
            del left[i]
            for side in (job.pieces[i].a, job.pieces[i].b):
                if not _by_ribbons(job, side):
                    wholes.add(_subunit(job, side))
                todo += hang_on.pop(_unit(job, side), ())
        lots.append(Lot(tuple(job.pieces[i] for i in sorted(found)), frozenset(wholes)))
    return lots


def _by_ribbons(job: Job, side: Run) -> bool:
    """Whether the trunk of a fibre may be divided at the port, so that single ribbons of a subunit can be placed."""
    return "port" in job.trunk_by_id[side.trunk].divide_at


def _subunit(job: Job, side: Run) -> Key:
    return side.trunk, job.trunk_by_id[side.trunk].subunit_of(side.first).number


def _unit(job: Job, side: Run) -> Hashable:
    """Name what goes with a fibre, in or out: its ribbon, or its subunit."""
    if not _by_ribbons(job, side):
        return _subunit(job, side)
    subunit = job.trunk_by_id[side.trunk].subunit_of(side.first)
    return *_subunit(job, side), subunit.ribbon_of(side.first)
