"""Subunits and legs: how a trunk's fibres are numbered and divided."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from trayopt.domain.base import divisors
from trayopt.domain.ranges import span


class Leg(NamedTuple):
    """Group ``group`` of the ``of`` equal groups of a subunit; of = 1 keeps the subunit whole."""

    trunk: str
    subunit: int
    group: int
    of: int

    def __str__(self) -> str:
        """Write as ``N1/3.2``, or ``N1/3`` where the subunit stays whole."""
        return f"{self.trunk}/{self.subunit}" if self.of == 1 else f"{self.trunk}/{self.subunit}.{self.group}"


@dataclass(frozen=True)
class Subunit:
    """One subunit of a trunk: fibres first … first + fibres - 1 of the trunk, in whole ribbons of equal width."""

    trunk: str
    number: int
    first: int
    ribbons: int
    ribbon_fibres: int
    diameter_mm: float
    radius_mm: float
    barred: tuple[int, ...] = ()
    """Divisions that are not to be looked at."""

    @property
    def name(self) -> str:
        """Write as ``N1/3``."""
        return f"{self.trunk}/{self.number}"

    @property
    def fibres(self) -> int:
        """All its fibres."""
        return self.ribbons * self.ribbon_fibres

    @property
    def last(self) -> int:
        """Its last fibre, in the numbering of the trunk."""
        return self.first + self.fibres - 1

    @property
    def divisions(self) -> tuple[int, ...]:
        """Every k into which it can be divided: the divisors of its ribbon count, but those that are barred."""
        return tuple(k for k in divisors(self.ribbons) if k not in self.barred)

    def leg(self, group: int, of: int) -> Leg:
        """Give one of its legs."""
        return Leg(self.trunk, self.number, group, of)

    def legs(self, of: int) -> tuple[Leg, ...]:
        """Give all its legs at a division."""
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
        """Give the leg that holds a fibre at a division."""
        return Leg(self.trunk, self.number, (fibre - self.first) // (self.fibres // of) + 1, of)

    def leg_of_run(self, first: int, last: int) -> Leg | None:
        """Give the leg that is exactly this run; None where no division makes one."""
        size = last - first + 1
        if first < self.first or last > self.last or self.fibres % size:
            return None
        of = self.fibres // size
        if self.ribbons % of or (first - self.first) % size:
            return None
        return Leg(self.trunk, self.number, (first - self.first) // size + 1, of)

    def ribbon_of(self, fibre: int) -> int:
        """Give the number of the ribbon in the subunit, from 1, in which a fibre of the trunk lies."""
        return (fibre - self.first) // self.ribbon_fibres + 1

    def fibre_in_ribbon(self, fibre: int) -> int:
        """Give the number of a fibre of the trunk inside its ribbon, from 1."""
        return (fibre - self.first) % self.ribbon_fibres + 1
