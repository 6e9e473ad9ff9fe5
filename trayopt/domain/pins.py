"""Pins: decisions on a leg or a trunk that are made before the search, or are built already."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, field_validator

from trayopt.domain.base import DivideAt, Frozen, Id, RibbonWord, Travel
from trayopt.domain.decision import GoesBy
from trayopt.domain.hardware import Place
from trayopt.domain.ranges import Run
from trayopt.domain.run_text import RunText, read_run


class LegPin(Frozen):
    """A leg whose tray place (or only its stack, or its position) is decided, or built.

    Two facts may be known of a built leg: ``measured_mm``, the mark on the leg that was measured at its entrance, and
    ``tries_left``, how often its splices can still be made again.
    """

    leg: Annotated[Run, RunText()]
    stack: Id | None = None
    position: Annotated[int, Field(ge=1)] | None = None
    built: bool = False
    measured_mm: Annotated[int, Field(ge=1, le=200_000)] | None = None
    tries_left: Annotated[int, Field(ge=0, le=1_000)] | None = None

    _read = field_validator("leg", mode="before")(read_run)

    @property
    def subject(self) -> str:
        """The subject of a finding about this pin: ``N1:1-72``."""
        return str(self.leg)

    def admits(self, place: Place) -> bool:
        """Whether a tray place agrees with everything that is decided."""
        return self.stack in {None, place.stack} and self.position in {None, place.position}


class TrunkPin(Frozen):
    """A trunk whose port, travel, loops, place of division or ribbon work is decided, or built."""

    trunk: Id
    port: Id | None = None
    travel: Travel | None = None
    loops: Annotated[int, Field(ge=0, le=9)] | None = None
    divide_at: DivideAt | None = None
    ribbons: RibbonWord | None = None
    built: bool = False

    @property
    def subject(self) -> str:
        """The subject of a finding about this pin: the id of the trunk."""
        return self.trunk

    @property
    def decision(self) -> GoesBy:
        """The decision that the pin makes for the trunk."""
        return GoesBy(self.trunk, self.port, self.travel, self.loops, self.divide_at, self.ribbons)
