"""Classes of subunits that are alike in everything that counts, and what they bring to trays at each division."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable
from typing import NamedTuple

from trayopt.domain.base import DivideAt
from trayopt.domain.cablework import Subunit
from trayopt.domain.job import Job
from trayopt.solver.model.groups import Question

Choice = tuple[int, DivideAt]
"""A division: k, and where the trunk is divided if k is above 1."""


class Division(NamedTuple):
    """One division of a class at the tray or the port: per subunit its placed legs and all that it brings, per leg the least.

    ``ends`` are the fibre ends of each leg; ``least_spliced`` and ``most_spliced`` of them are spliced, ``spliced`` of all legs
    together. ``sleeves2`` is twice the sleeves of a leg at least, ``all_sleeves2`` of all placed legs together. ``splices`` are
    those of one leg where all its legs have as many, else None.
    """

    of: int
    at: DivideAt
    legs: int
    ends: int
    least_spliced: int
    most_spliced: int
    spliced: int
    sleeves2: int
    all_sleeves2: int
    splices: int | None

    @property
    def choice(self) -> Choice:
        """By what the division is told from the others of its class."""
        return self.of, self.at

    @property
    def all_ends(self) -> int:
        """Fibre ends of all placed legs of a subunit."""
        return self.legs * self.ends


class Class(NamedTuple):
    """Subunits of a trunk that are equal in everything that counts, and the trunks that they are spliced to."""

    trunk: str
    members: tuple[Subunit, ...]
    partners: tuple[str, ...]
    divisions: tuple[Division, ...]


def classes_of(question: Question) -> list[Class]:
    """Sort the spliced subunits into classes; one that a pin or an expectation names stands alone."""
    job = question.wide
    named = {pin.leg.trunk: set[int]() for pin in job.leg_pins}
    for pin in job.leg_pins:
        named[pin.leg.trunk].add(job.trunk_by_id[pin.leg.trunk].subunit_of(pin.leg.first).number)
    sleeves = _sleeves(job)
    partners = _partners(job)
    found: dict[tuple[Hashable, ...], Class] = {}
    for subunit in job.subunits:
        if not job.spliced[subunit.trunk, subunit.number]:
            continue
        options = job.trunk_by_id[subunit.trunk].divide_at
        made = tuple(
            _division(job, subunit, of, at, sleeves)
            for of in subunit.divisions
            for at in (options if of > 1 else options[:1])
        )
        alone = subunit.number if subunit.number in named.get(subunit.trunk, ()) else 0
        with_ = partners[subunit.trunk, subunit.number]
        key = (
            subunit.trunk,
            subunit.ribbons,
            subunit.ribbon_fibres,
            subunit.diameter_mm,
            subunit.radius_mm,
            made,
            with_,
            alone,
        )
        members = (*found[key].members, subunit) if key in found else (subunit,)
        found[key] = Class(subunit.trunk, members, with_, made)
    return list(found.values())


def _division(job: Job, subunit: Subunit, of: int, at: DivideAt, sleeves: dict[tuple[str, int, int], int]) -> Division:
    legs = job.legs_in(subunit, of, at)
    spliced = [job.spliced_fibres(leg) for leg in legs]
    ribbons = subunit.ribbons // of
    brought = [
        sum(sleeves.get((subunit.trunk, subunit.number, (leg.group - 1) * ribbons + r + 1), 0) for r in range(ribbons))
        for leg in legs
    ]
    return Division(
        of,
        at,
        len(legs),
        subunit.fibres // of,
        min(spliced),
        max(spliced),
        sum(spliced),
        min(brought),
        sum(brought),
        spliced[0] if len(set(spliced)) == 1 else None,
    )


def _sleeves(job: Job) -> dict[tuple[str, int, int], int]:
    """Count the sleeves of the splices of each ribbon (trunk, subunit, ribbon), in trays of the largest sleeves."""
    size = max(tray.sleeve_fibres for tray in job.enclosure.trays)
    found: dict[tuple[str, int, int], int] = defaultdict(int)
    for run in job.sleeve_runs:
        for side in run[:2]:
            subunit = job.trunk_by_id[side.trunk].subunit_of(side.first)
            found[side.trunk, subunit.number, subunit.ribbon_of(side.first)] += run.sleeves(size)
    return found


def _partners(job: Job) -> dict[tuple[str, int], tuple[str, ...]]:
    """Name the trunks that each subunit is spliced to."""
    found: dict[tuple[str, int], dict[str, None]] = defaultdict(dict)
    for piece in job.pieces:
        for one, other in ((piece.a, piece.b), (piece.b, piece.a)):
            subunit = job.trunk_by_id[one.trunk].subunit_of(one.first)
            found[one.trunk, subunit.number][other.trunk] = None
    return {key: tuple(sorted(names)) for key, names in found.items()}
