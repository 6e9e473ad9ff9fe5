"""Patterns: groups of legs that splices hold together and no splice leaves, which lie in one tray as a whole or in none."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from trayopt.certificate.check import TooMany
from trayopt.domain.cablework import Leg
from trayopt.domain.job import Job
from trayopt.domain.splicing import SleeveRun

Key = tuple[str, int]
Divisions = Mapping[Key, Sequence[int]]
MOST = 20_000
"""Of more patterns than this nothing is said."""
MOST_STEPS = 400_000


@dataclass(frozen=True, eq=False)
class Pattern:
    """Legs that share a tray, in order, and what they bring to it."""

    job: Job
    legs: tuple[Leg, ...]
    pieces: frozenset[int]

    @property
    def name(self) -> str:
        """Write its legs with their divisions: ``N1/3.2:4 S1/3:1``."""
        return " ".join(f"{leg.trunk}/{leg.subunit}.{leg.group}:{leg.of}" for leg in self.legs)

    @cached_property
    def ends(self) -> int:
        """Fibre ends."""
        return sum(self.job.subunit(leg).fibres // leg.of for leg in self.legs)

    @cached_property
    def splices(self) -> int:
        """Splices."""
        return sum(self.job.pieces[i].count for i in self.pieces)

    @cached_property
    def by_trunk(self) -> Mapping[str, int]:
        """Legs by trunk."""
        return Counter(leg.trunk for leg in self.legs)

    @cached_property
    def pairs(self) -> frozenset[tuple[str, str]]:
        """Pairs of trunks that it joins, each in alphabetical order."""
        return frozenset(
            (min(piece.a.trunk, piece.b.trunk), max(piece.a.trunk, piece.b.trunk))
            for piece in (self.job.pieces[i] for i in self.pieces)
        )

    @cached_property
    def joins(self) -> frozenset[str]:
        """Names of the joins whose splices it holds."""
        return frozenset(self.job.joins[self.job.pieces[i].join].name for i in self.pieces)

    def sleeves(self, size: int, work: Job | None = None) -> int:
        """Sleeves of so many fibres, at least, or with what another job says of ribbons: a run lies in one pattern as a whole."""
        runs = (work or self.job).once(_runs_by_subunit)
        return sum(
            run.sleeves(size)
            for leg in self.legs
            for first, last in (self.job.subunit(leg).leg_run(leg),)
            for run in runs.get((leg.trunk, leg.subunit), ())
            if first <= run.a.first <= last
        )


def _runs_by_subunit(job: Job) -> dict[Key, list[SleeveRun]]:
    """Return the runs of splices by the subunit of their side a."""
    found: dict[Key, list[SleeveRun]] = {}
    for run in job.sleeve_runs:
        subunit = job.trunk_by_id[run.a.trunk].subunit_of(run.a.first)
        found.setdefault((subunit.trunk, subunit.number), []).append(run)
    return found


def patterns(job: Job, divisions: Divisions, parked: Divisions, room: int) -> list[Pattern]:
    """List every pattern of at most so many fibre ends.

    Parameters
    ----------
    job
        The job.
    divisions
        By subunit with a splice, every k that a plan may divide it by.
    parked
        Of these, those that may be opened at a tray: each leg without a splice is then a pattern by itself.
    room
        Most fibre ends of a tray.

    Notes
    -----
    Each is found once, from its piece of the lowest number: a leg of a missing side is added in every division that its subunit
    may have, and with it its other pieces, until no side is missing.

    Raises
    ------
    TooMany
        If there are more than are listed.
    """
    sides = [
        tuple(
            (side.trunk, job.trunk_by_id[side.trunk].subunit_of(side.first).number, side.first) for side in (p.a, p.b)
        )
        for p in job.pieces
    ]
    held: dict[Leg, list[int]] = {}
    for i, both in enumerate(sides):
        for trunk, number, fibre in both:
            for of in divisions[trunk, number]:
                held.setdefault(job.subunit_of_leg[trunk, number].leg_of_fibre(fibre, of), []).append(i)
    found = [
        Pattern(job, (leg,), frozenset())
        for (trunk, number), ks in parked.items()
        for of in ks
        for leg in job.subunit_of_leg[trunk, number].legs(of)
        if leg not in held
    ]
    steps = 0
    for start in range(len(sides)):
        open_: list[tuple[frozenset[Leg], int, frozenset[int]]] = [(frozenset(), 0, frozenset({start}))]
        while open_:
            legs, ends, pieces = open_.pop()
            steps += 1
            if len(found) > MOST or steps > MOST_STEPS:
                raise TooMany
            missing = next(_missing(job, sides, legs, pieces), None)
            if missing is None:
                found.append(Pattern(job, tuple(sorted(legs)), pieces))
                continue
            trunk, number, fibre = missing
            subunit = job.subunit_of_leg[trunk, number]
            known = {leg.of for leg in legs if (leg.trunk, leg.subunit) == (trunk, number)}
            for of in known or divisions[trunk, number]:
                leg = subunit.leg_of_fibre(fibre, of)
                more = ends + subunit.fibres // of
                if more <= room and min(held[leg]) >= start:
                    open_.append((legs | {leg}, more, pieces | set(held[leg])))
    return found


def _missing(
    job: Job, sides: Sequence[tuple[tuple[str, int, int], ...]], legs: frozenset[Leg], pieces: frozenset[int]
) -> Iterator[tuple[str, int, int]]:
    """Yield the sides of pieces that no leg holds."""
    of = {(leg.trunk, leg.subunit): leg.of for leg in legs}
    for i in pieces:
        for trunk, number, fibre in sides[i]:
            k = of.get((trunk, number))
            if k is None or job.subunit_of_leg[trunk, number].leg_of_fibre(fibre, k) not in legs:
                yield trunk, number, fibre
