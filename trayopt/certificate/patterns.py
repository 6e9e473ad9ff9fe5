"""Patterns: closed groups of legs that splices hold together. A pattern lies in one tray as a whole, or in none."""

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
"""Greatest number of patterns that are listed."""
MOST_STEPS = 400_000


@dataclass(frozen=True, eq=False)
class Pattern:
    """A pattern: its legs in order, which share a tray, and the pieces of joins between them."""

    job: Job
    legs: tuple[Leg, ...]
    pieces: frozenset[int]

    @property
    def name(self) -> str:
        """The legs with their divisions, as text: ``N1/3.2:4 S1/3:1``."""
        return " ".join(f"{leg.trunk}/{leg.subunit}.{leg.group}:{leg.of}" for leg in self.legs)

    @cached_property
    def ends(self) -> int:
        """Number of fibre ends."""
        return sum(self.job.subunit(leg).fibres // leg.of for leg in self.legs)

    @cached_property
    def splices(self) -> int:
        """Number of splices."""
        return sum(self.job.pieces[i].count for i in self.pieces)

    @cached_property
    def by_trunk(self) -> Mapping[str, int]:
        """Number of legs by trunk."""
        return Counter(leg.trunk for leg in self.legs)

    @cached_property
    def pairs(self) -> frozenset[tuple[str, str]]:
        """Pairs of trunks that the pattern joins, each in alphabetical order."""
        return frozenset(
            (min(piece.a.trunk, piece.b.trunk), max(piece.a.trunk, piece.b.trunk))
            for piece in (self.job.pieces[i] for i in self.pieces)
        )

    @cached_property
    def joins(self) -> frozenset[str]:
        """Names of the joins with splices in the pattern."""
        return frozenset(self.job.joins[self.job.pieces[i].join].name for i in self.pieces)

    def sleeves(self, size: int, work: Job | None = None) -> int:
        """Return the fewest sleeves of ``size`` fibres for the pattern; ``work`` is the job with settled ribbon work."""
        runs = (work or self.job).once(_runs_by_subunit)
        return sum(
            run.sleeves(size)
            for leg in self.legs
            for first, last in (self.job.subunit(leg).leg_run(leg),)
            for run in runs.get((leg.trunk, leg.subunit), ())
            if first <= run.a.first <= last
        )


def _runs_by_subunit(job: Job) -> dict[Key, list[SleeveRun]]:
    """Return the sleeve runs by the subunit of their side a."""
    found: dict[Key, list[SleeveRun]] = {}
    for run in job.sleeve_runs:
        subunit = job.trunk_by_id[run.a.trunk].subunit_of(run.a.first)
        found.setdefault((subunit.trunk, subunit.number), []).append(run)
    return found


def patterns(job: Job, divisions: Divisions, parked: Divisions, room: int) -> list[Pattern]:
    """List every pattern of at most ``room`` fibre ends.

    Parameters
    ----------
    job
        The job.
    divisions
        For each subunit with a splice, the numbers of legs into which a plan may divide it.
    parked
        The divisions that may be opened at a tray, so that each leg without a splice is a pattern by itself.
    room
        Greatest number of fibre ends of a tray.

    Notes ----- Each pattern is found once, starting from its piece of the lowest number. A leg of a missing side is added,
    for every division of its subunit, together with its other pieces, until no side is missing.

    Raises
    ------
    TooMany
        If there are more than ``MOST`` patterns.
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
    """Yield the sides of pieces that none of the legs holds."""
    of = {(leg.trunk, leg.subunit): leg.of for leg in legs}
    for i in pieces:
        for trunk, number, fibre in sides[i]:
            k = of.get((trunk, number))
            if k is None or job.subunit_of_leg[trunk, number].leg_of_fibre(fibre, k) not in legs:
                yield trunk, number, fibre
