"""A decision of a plan: where fibres lie, how a trunk goes, at which end a stack is entered.

Pins, decisions that were given, and decisions that are expected all have one of these shapes.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from trayopt.domain.assignment import Way
from trayopt.domain.base import DivideAt, RibbonWord, Travel
from trayopt.domain.hardware import Place
from trayopt.domain.ranges import Run


class RunAt(NamedTuple):
    """Fibres first to last of a trunk lie at a place. With ``leg`` they are a whole leg; otherwise they are a part of a leg."""

    trunk: str
    first: int
    last: int
    place: Place
    leg: bool = True

    @property
    def run(self) -> Run:
        """The fibres as a run."""
        return Run(self.trunk, self.first, self.last)


class GoesBy(NamedTuple):
    """What is decided for a trunk: its way, its place of division, its ribbon work. None where the decision is open."""

    trunk: str
    port: str | None = None
    travel: Travel | None = None
    loops: int | None = None
    divide_at: DivideAt | None = None
    ribbons: RibbonWord | None = None

    def differing(self, way: Way) -> tuple[Literal["port", "travel", "loops"], ...]:
        """Return the parts of a way that contradict this decision."""
        differs = {
            "port": self.port not in {None, way.port},
            "travel": self.travel not in {None, way.travel},
            "loops": self.loops not in {None, way.loops},
        }
        return tuple(part for part in ("port", "travel", "loops") if differs[part])

    def admits(self, way: Way) -> bool:
        """Whether a way agrees with everything that is decided."""
        return not self.differing(way)

    @property
    def whole(self) -> Way | None:
        """The way, if port, travel and loops are all decided; otherwise None."""
        if self.port is None or self.travel is None or self.loops is None:
            return None
        return Way(self.port, self.travel, self.loops)


class EntersAt(NamedTuple):
    """The end at which legs enter the trays of a stack."""

    stack: str
    end: str


Decision = RunAt | GoesBy | EntersAt
