"""Subunits and legs: how a trunk's fibres are numbered and divided."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from trayopt.domain.base import divisors
from trayopt.domain.ranges import span


class Leg(NamedTuple):
    """Group number ``group`` of the ``of`` equal groups into which a subunit is divided; with ``of`` 1 it stays whole."""

    trunk: str
    subunit: int
    group: int
    of: int

    def __str__(self) -> str:
        """Write as ``N1/3.2``, or ``N1/3`` where the subunit stays whole."""
        return f"{self.trunk}/{self.subunit}" if self.of == 1 else f"{self.trunk}/{self.subunit}.{self.group}"


@dataclass(frozen=True)
class Subunit:
    """One subunit of a trunk: fibres ``first`` to ``last`` of the trunk, in whole ribbons of equal width."""

    trunk: str
    number: int
    first: int
    ribbons: int
    ribbon_fibres: int
    diameter_mm: float
    radius_mm: float
    barred: tuple[int, ...] = ()
    """Numbers of legs into which the subunit must not be divided."""

    @property
    def name(self) -> str:
        """Write as ``N1/3``."""
        return f"{self.trunk}/{self.number}"

    @property
    def fibres(self) -> int:
        """Number of fibres in the subunit."""
        return self.ribbons * self.ribbon_fibres

    @property
    def last(self) -> int:
        """The last fibre of the subunit, in the numbering of the trunk."""
        return self.first + self.fibres - 1

    @property
    def divisions(self) -> tuple[int, ...]:
        """Every number of legs into which the subunit can be divided: the divisors of its ribbon count that are not barred."""
        return tuple(k for k in divisors(self.ribbons) if k not in self.barred)

    def leg(self, group: int, of: int) -> Leg:
        """Return leg ``group`` of the ``of`` legs of the subunit."""
        return Leg(self.trunk, self.number, group, of)

    def legs(self, of: int) -> tuple[Leg, ...]:
        """Return all legs of the subunit when it is divided into ``of`` legs."""
        return tuple(Leg(self.trunk, self.number, group, of) for group in range(1, of + 1))

    def leg_run(self, leg: Leg) -> tuple[int, int]:
        """First and last fibre of a leg, in the numbering of the trunk."""
        size = self.fibres // leg.of
        first = self.first + (leg.group - 1) * size
        return first, first + size - 1

    def leg_span(self, leg: Leg) -> str:
        """Write the fibres of a leg as ``1-72``."""
        return span(*self.leg_run(leg))

    def leg_of_fibre(self, fibre: int, of: int) -> Leg:
        """Return the leg that holds a fibre when the subunit is divided into ``of`` legs."""
        return Leg(self.trunk, self.number, (fibre - self.first) // (self.fibres // of) + 1, of)

    def leg_of_run(self, first: int, last: int) -> Leg | None:
        """Return the leg that has exactly the fibres first to last; None if no division makes such a leg."""
        size = last - first + 1
        if first < self.first or last > self.last or self.fibres % size:
            return None
        of = self.fibres // size
        if self.ribbons % of or (first - self.first) % size:
            return None
        return Leg(self.trunk, self.number, (first - self.first) // size + 1, of)

    def ribbon_of(self, fibre: int) -> int:
        """Return the number of the ribbon that holds a fibre of the trunk, counted from 1 in the subunit."""
        return (fibre - self.first) // self.ribbon_fibres + 1

    def fibre_in_ribbon(self, fibre: int) -> int:
        """Return the position of a fibre of the trunk in its ribbon, counted from 1."""
        return (fibre - self.first) % self.ribbon_fibres + 1
