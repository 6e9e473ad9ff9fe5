"""Travellers: a subunit's own tube with all its legs, or a single leg in a tube of the set."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from trayopt.domain.job import Job
from trayopt.domain.plan import PlanLeg, PlanTrunk


class Traveller(NamedTuple):
    """A traveller: its name as in the crossings of a plan, and its placed legs by group."""

    name: str
    trunk: str
    legs: tuple[PlanLeg, ...]
    own: bool
    diameter_mm: float

    @property
    def opened(self) -> bool:
        """Whether the traveller is an own tube that is opened at a tray."""
        return self.own and self.legs[0].of > 1


def travels_own(job: Job, way: PlanTrunk, of: int) -> bool:
    """Whether the legs of a subunit that is divided into ``of`` legs travel in its own tube."""
    return job.trunk_by_id[way.trunk].own_tube_travels(of, way.divide_at or "port")


def travellers_of(
    job: Job, ways: Mapping[str, PlanTrunk], legs: Mapping[str, Sequence[PlanLeg]]
) -> dict[str, Traveller]:
    """Return the travellers of all placed legs by name, in order of trunk, subunit and group."""
    tubes: dict[str, list[PlanLeg]] = {}
    for trunk, placed in legs.items():
        for leg in placed:
            own = travels_own(job, ways[trunk], leg.of)
            tubes.setdefault(f"{trunk}/{leg.subunit}" if own else leg.leg, []).append(leg)
    found = {}
    for name, inside in tubes.items():
        first = inside[0]
        own = travels_own(job, ways[first.trunk], first.of)
        diameter = job.subunit_of_leg[first.trunk, first.subunit].diameter_mm if own else first.tube_mm or 0.0
        found[name] = Traveller(name, first.trunk, tuple(inside), own, diameter)
    return found


def groups_of(places: Iterable[str], tied: Sequence[Sequence[str]]) -> tuple[tuple[int, ...], ...]:
    """Return the groups of trays, by index, that come to the bench together, in the order of their first trays."""
    index = {place: i for i, place in enumerate(places)}
    found = [tuple(sorted(index[place] for place in group)) for group in tied]
    bound = {i for group in found for i in group}
    return tuple(sorted([*found, *((i,) for i in index.values() if i not in bound)]))
