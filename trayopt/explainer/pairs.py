"""Joined subunits that two trunks see in opposite orders."""

from __future__ import annotations

from itertools import combinations

from trayopt.domain.job import Job


def partners(job: Job, a: str, b: str) -> dict[int, int]:
    """Return the subunits of one trunk that are spliced to one subunit of the other and to nothing else, both ways.

    Each of their ribbons has a splice, so that no leg of them is parked and both lie in the same trays.
    """
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
        if all(_spliced_through(job, *key) for key in ((a, mine), next(iter(others))))
    }


def _spliced_through(job: Job, trunk: str, number: int) -> bool:
    """Whether every ribbon of a subunit has a splice."""
    subunit = job.subunit_of_leg[trunk, number]
    return len(job.spliced_legs(subunit, subunit.ribbons)) == subunit.ribbons


def opposite(order: dict[int, int]) -> list[tuple[int, int]]:
    """Return the pairs of subunits of the first trunk whose partners stand in the other order."""
    return [(i, j) for i, j in combinations(order, 2) if order[i] > order[j]]
