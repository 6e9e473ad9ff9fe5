"""Pairs of legs that cross, and joined subunits that two trunks see in opposite orders."""

from __future__ import annotations

from itertools import combinations

from trayopt.domain.cablework import Leg
from trayopt.domain.job import Job
from trayopt.track.laid import Laid


def crossing_pairs(laid: Laid) -> list[tuple[Leg, Leg]]:
    """Give every pair of legs of a trunk that cross, in the order of the job."""
    return [
        (one.leg, other.leg)
        for legs in laid.legs.values()
        for one, other in combinations(legs, 2)
        if laid.lows[one.leg] > laid.lows[other.leg]
    ]


def partners(job: Job, a: str, b: str) -> dict[int, int]:
    """Give the subunits of one trunk that are spliced to one subunit of the other and to nothing else, both ways."""
    there: dict[int, set[tuple[str, int]]] = {}
    back: dict[tuple[str, int], set[tuple[str, int]]] = {}
    for piece in job.pieces:
        for here, other in ((piece.a, piece.b), (piece.b, piece.a)):
            mine = job.trunk_by_id[here.trunk].subunit_of(here.first).number
            its = job.trunk_by_id[other.trunk].subunit_of(other.first).number
            back.setdefault((here.trunk, mine), set()).add((other.trunk, its))
            if here.trunk == a:
                there.setdefault(mine, set()).add((other.trunk, its))
    return {
        mine: next(iter(others))[1]
        for mine, others in sorted(there.items())
        if len(others) == 1 and next(iter(others))[0] == b and back[next(iter(others))] == {(a, mine)}
    }


def opposite(order: dict[int, int]) -> list[tuple[int, int]]:
    """Give the pairs of subunits of the first trunk whose partners stand in the other order."""
    return [(i, j) for i, j in combinations(order, 2) if order[i] > order[j]]
