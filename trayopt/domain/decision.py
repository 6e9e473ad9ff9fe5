"""One decision of a plan: where fibres lie, how a trunk goes, at which end a stack is entered.

Pins, decisions that were given, and decisions that are expected are all of these shapes.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from trayopt.domain.assignment import Way
from trayopt.domain.base import DivideAt, RibbonWord, Travel
from trayopt.domain.hardware import Place
from trayopt.domain.ranges import Run


class RunAt(NamedTuple):
    """Fibres first … last of a trunk lie at a place; ``leg`` tells that they are one leg, not only a part."""

    trunk: str
    first: int
    last: int
    place: Place
    leg: bool = True

    @property
    def run(self) -> Run:
        """The fibres."""
        return Run(self.trunk, self.first, self.last)


class GoesBy(NamedTuple):
    """What is decided of a trunk's way, where it is divided and what is done with its ribbons; None where it is open."""

    trunk: str
    port: str | None = None
    travel: Travel | None = None
    loops: int | None = None
    divide_at: DivideAt | None = None
    ribbons: RibbonWord | None = None

    def differing(self, way: Way) -> tuple[Literal["port", "travel", "loops"], ...]:
        """Name what of a way is decided otherwise."""
        differs = {
            "port": self.port not in {None, way.port},
            "travel": self.travel not in {None, way.travel},
            "loops": self.loops not in {None, way.loops},
        }
        return tuple(part for part in ("port", "travel", "loops") if differs[part])

    def admits(self, way: Way) -> bool:
        """Whether a way is as decided, or open."""
        return not self.differing(way)

    @property
    def whole(self) -> Way | None:
        """The way, where port, travel and loops are all decided."""
        if self.port is None or self.travel is None or self.loops is None:
            return None
        return Way(self.port, self.travel, self.loops)


class EntersAt(NamedTuple):
    """The end at which legs enter the trays of a stack."""

    stack: str
    end: str


Decision = RunAt | GoesBy | EntersAt
