"""Stand-ins for the legs of subunits whose division is open, as rules of guides see them: no thicker than in any plan.

Guides ask how much passes them. What the legs of a subunit take together differs from division to division; the least of that is
shared out evenly among so many stand-ins that the legs of each division are a whole number of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import lcm, sqrt
from typing import Protocol

from trayopt.domain.base import DivideAt
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.job import Job
from trayopt.domain.trunk import Trunk
from trayopt.rules.guide_fill import AREA_UNITS, area_units
from trayopt.rules.variables import CannotSay, Expression, Literal
from trayopt.solver.model.base import Key
from trayopt.track.routes import Routes, Traveller


class WithoutLegs(Protocol):
    """What stand-ins ask of a model without legs: which divisions are open, and where subunits lie."""

    job: Job
    open: Mapping[Key, Sequence[int]]

    def divide_options(self, trunk: Trunk) -> tuple[DivideAt, ...]:
        """Where a trunk may be divided."""

    def is_spliced(self, subunit: Subunit) -> bool:
        """Whether a subunit has a spliced fibre."""

    def shares(self, subunit: Subunit, of: int, stack: str) -> Expression:
        """How many of so many equal parts of a subunit are on a stack."""

    def whole_on(self, subunit: Subunit, stack: str) -> Literal:
        """Whether all of a subunit is on a stack."""


class ThinnestRoutes(Routes):
    """Routes on which the legs of a subunit have together the least cross-section that any division at the port comes to.

    That is shared out evenly among so many stand-ins that the legs of each division are a whole number of them. Where a trunk
    is divided at the tray alone its subunits make the way in their own tubes.
    """

    def __init__(self, outline: WithoutLegs) -> None:
        super().__init__(outline.job)
        self._outline = outline
        self._found: dict[Key, tuple[int, Traveller] | None] = {}

    def parts(self, subunit: Subunit) -> int:
        """Count the stand-ins of a spliced subunit."""
        found = self._shared_out(subunit)
        return 1 if found is None else found[0]

    def traveller(self, trunk: Trunk, subunit: Subunit, of: int, at: DivideAt) -> Traveller | None:
        """Return the tube of a stand-in; an idle subunit and one that is divided at the tray go in their own."""
        del of
        found = self._shared_out(subunit) if at == "port" else None
        return super().traveller(trunk, subunit, 1, at) if found is None else found[1]

    def _shared_out(self, subunit: Subunit) -> tuple[int, Traveller] | None:
        key = (subunit.trunk, subunit.number)
        if key not in self._found:
            self._found[key] = self._share_out(self.job.trunk_by_id[subunit.trunk], subunit)
        return self._found[key]

    def _share_out(self, trunk: Trunk, subunit: Subunit) -> tuple[int, Traveller] | None:
        if "port" not in self._outline.divide_options(trunk):
            return None
        legs: list[int] = []
        areas: list[int] = []
        for of in self._outline.open.get((trunk.id, subunit.number), ()):
            tube = super().traveller(trunk, subunit, of, "port")
            if tube is not None:
                legs.append(len(self.job.spliced_legs(subunit, of)))
                areas.append(legs[-1] * area_units(tube.diameter_mm))
        if not legs:
            return None
        number = lcm(*legs)
        return number, Traveller(sqrt(min(areas) // number / AREA_UNITS), 0.0, own=False)


class StandIns:
    """An outline as guides see it: of each subunit so many stand-ins as ``ThinnestRoutes`` shares it out among.

    They have together the least cross-section that any division comes to: no more of it passes a guide than in a plan.
    """

    def __init__(self, outline: WithoutLegs) -> None:
        self.outline = outline
        self.routes = ThinnestRoutes(outline)

    def divisions(self, subunit: Subunit) -> tuple[int, ...]:
        """Return one number of stand-ins for whatever divisions a spliced subunit has."""
        return (self.routes.parts(subunit),) if self.outline.is_spliced(subunit) else ()

    def divided(self, subunit: Subunit, of: int) -> int:
        """Whether a subunit has so many stand-ins."""
        return int(of in self.divisions(subunit))

    def legs(self, subunit: Subunit, of: int) -> tuple[Leg, ...]:
        """Return one leg that stands for all of a subunit."""
        del of
        return (Leg(subunit.trunk, subunit.number, 1, 1),)

    def number_placed(self, subunit: Subunit, of: int) -> int:
        """Every stand-in is placed."""
        del subunit
        return of

    def number_on(self, subunit: Subunit, of: int, stack: str) -> Expression:
        """How many stand-ins of a subunit are on a stack."""
        return self.outline.shares(subunit, of, stack)

    def placed(self, leg: Leg) -> int:
        """Every spliced subunit is placed."""
        del leg
        return 1

    def on(self, leg: Leg, stack: str) -> Literal:
        """Whether all of a subunit is on a stack."""
        return self.outline.whole_on(self.outline.job.subunit(leg), stack)

    def any_on(self, subunit: Subunit, stack: str) -> Literal:
        """Where the legs of a subunit lie that is parted, nobody tells."""
        raise CannotSay(type(self.outline).__name__, f"whether a leg of {subunit.name} is on {stack}")
