"""Bunches: legs that share a tray, as they are spliced to each other; clusters: bunches that lie on one stack together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from trayopt.domain.base import DivideAt
from trayopt.domain.cablework import Leg
from trayopt.domain.job import Job
from trayopt.domain.tied import tied
from trayopt.solver.model.base import Key

Parting = dict[str, DivideAt]
"""Where each trunk is divided."""


@dataclass
class Bunch:
    """Legs that are spliced to each other and so share a tray, or a parked leg, with fibre ends and sleeves that they bring."""

    legs: list[Leg] = field(default_factory=list)
    ends: int = 0
    sleeves: dict[int, int] = field(default_factory=dict)


def bunches_of(job: Job, divisions: Mapping[Key, int], at: Parting) -> list[Bunch]:
    """Put legs that are spliced to each other together, in the order of trunks, subunits and groups."""

    def leg_of(trunk: str, fibre: int) -> Leg:
        subunit = job.trunk_by_id[trunk].subunit_of(fibre)
        return subunit.leg_of_fibre(fibre, divisions[trunk, subunit.number])

    legs = [leg for key, of in divisions.items() for leg in job.legs_in(job.subunit_of_leg[key], of, at[key[0]])]
    number = tied(
        legs,
        ((leg_of(piece.a.trunk, piece.a.first), leg_of(piece.b.trunk, piece.b.first)) for piece in job.pieces),
    )
    sizes = {tray.sleeve_fibres for tray in job.enclosure.trays}
    found = [Bunch(sleeves=dict.fromkeys(sizes, 0)) for _ in set(number.values())]
    for leg in legs:
        bunch = found[number[leg]]
        bunch.legs.append(leg)
        bunch.ends += job.ends(leg)
    for run in job.sleeve_runs:
        for size in sizes:
            found[number[leg_of(run.a.trunk, run.a.first)]].sleeves[size] += run.sleeves(size)
    return found


def clusters(job: Job, bunches: Sequence[Bunch]) -> Iterator[list[Bunch]]:
    """Group bunches that share a subunit that lies on one stack; a bunch comes after the bunches that its legs follow."""
    of_subunit: dict[Key, list[int]] = defaultdict(list)
    for i, bunch in enumerate(bunches):
        for leg in bunch.legs:
            of_subunit[leg.trunk, leg.subunit].append(i)
    seen: set[int] = set()
    for i in range(len(bunches)):
        if i in seen:
            continue
        seen.add(i)
        todo, found = [i], []
        while todo:
            at = todo.pop()
            found.append(at)
            for leg in bunches[at].legs:
                for other in of_subunit[leg.trunk, leg.subunit]:
                    if other not in seen:
                        seen.add(other)
                        todo.append(other)
        yield [bunches[j] for j in _in_order(bunches, sorted(found))]


def _in_order(bunches: Sequence[Bunch], some: Sequence[int]) -> list[int]:
    """Put bunches into an order where the legs of each subunit rise, as far as there is one: the first that may come comes."""
    of_subunit: dict[Key, list[tuple[Leg, int]]] = defaultdict(list)
    for i in some:
        for leg in bunches[i].legs:
            of_subunit[leg.trunk, leg.subunit].append((leg, i))
    after: dict[int, set[int]] = {i: set() for i in some}
    for found in of_subunit.values():
        for (_, before), (_, i) in pairwise(sorted(found)):
            if before != i:
                after[i].add(before)
    left, made = dict.fromkeys(some), []
    while left:
        i = next((i for i in left if not after[i] & left.keys()), next(iter(left)))
        del left[i]
        made.append(i)
    return made
