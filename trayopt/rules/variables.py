"""What rules and goals may ask of the model. The solver's floor implements it; no solver is imported here."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol, TypeAlias

from trayopt.domain.assignment import Way
from trayopt.domain.base import Travel
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job, Trunk

Literal: TypeAlias = Any
"""A 0/1 variable of the solver or its negation (``~literal``), usable in sums."""
Expression: TypeAlias = Any
"""A linear expression over variables, with integer coefficients."""


class Variables(Protocol):
    """Literals and sums of one model; all are made on demand."""

    job: Job

    def divisions(self, subunit: Subunit) -> Sequence[int]:
        """Every k that is open for a subunit in this model."""

    def divided(self, subunit: Subunit, of: int) -> Literal:
        """Whether a subunit is divided by this k."""

    def legs(self, subunit: Subunit) -> Sequence[Leg]:
        """Every leg of a subunit that can be placed, over all open divisions; idle legs are not among them."""

    def at(self, leg: Leg, place: Place) -> Literal:
        """Whether a leg is placed at a place."""

    def on(self, leg: Leg, stack: str) -> Literal:
        """Whether a leg is placed on a stack."""

    def placed(self, leg: Leg) -> Literal:
        """Whether a leg is placed."""

    def has_placed(self, subunit: Subunit) -> Literal:
        """Whether a subunit has a placed leg."""

    def used(self, place: Place) -> Literal:
        """Whether a tray place is used."""

    def load2(self, place: Place) -> Expression:
        """Twice the splices and parked fibres of a place."""

    def sleeves2(self, place: Place) -> Expression:
        """Twice the sleeves of a place."""

    def in_box(self, trunk: Trunk) -> Literal:
        """Whether a trunk has a placed leg."""

    def ways(self, trunk: Trunk) -> Sequence[Way]:
        """Every way that is open for a trunk in this model."""

    def goes(self, trunk: Trunk, way: Way) -> Literal:
        """Whether a trunk in the box goes this way; none holds for a trunk outside."""

    def enters(self, trunk: Trunk, port: str) -> Literal:
        """Whether a trunk in the box enters at a port."""

    def travels(self, trunk: Trunk, travel: Travel) -> Literal:
        """Whether a trunk in the box travels this way round."""

    def end(self, stack: str, end: str) -> Literal:
        """Whether a stack uses this end."""
