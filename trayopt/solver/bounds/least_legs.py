"""How many legs lie at each tray place at least, as the fibres there ask for: what entrances of trays are told of stretches.

A leg of a division holds so many fibres of its subunit, so those at a place are of as many legs, or more. Of a subunit that is
divided at the port, legs without a splice are in no tray, and neither are they counted.
"""

from __future__ import annotations

from collections.abc import Callable

from trayopt.domain.cablework import Subunit
from trayopt.domain.hardware import Place
from trayopt.domain.trunk import Trunk
from trayopt.rules.variables import Expression
from trayopt.solver.bounds.segment_counts import SegmentCounts
from trayopt.solver.model.base import Key
from trayopt.solver.model.literals import total


class LeastLegs:
    """Counts of the legs of a model of stretches.

    Parameters
    ----------
    model
        The stretches; variables are made in it.
    placed
        How many legs of a subunit are placed.
    """

    def __init__(self, model: SegmentCounts, placed: Callable[[Subunit], Expression]) -> None:
        self.model, self.placed = model, placed
        self.job = model.job

    def legs_at(self, trunk: Trunk, place: Place) -> Expression:
        """How many legs of a trunk are at a place, or fewer: for rules that bound them from above, and no others."""
        return total(self._of_subunit(key)[place] for key in self.model.stretches.along if key[0] == trunk.id)

    def legs_on(self, trunk: Trunk, stack: str) -> Expression:
        """How many legs of a trunk are on a stack, or fewer."""
        return total(self.legs_at(trunk, place) for place in self.model.places if place.stack == stack)

    def most_trunk_legs(self, trunk: Trunk) -> int:
        """Return the greatest number of placed legs of a trunk."""
        return sum(max(of) for key, of in self.model.open.items() if key[0] == trunk.id)

    def most_legs_at(self, place: Place) -> int:
        """Bound the legs at a place by all there are."""
        del place
        return sum(map(self.most_trunk_legs, self.job.trunks))

    def _of_subunit(self, key: Key) -> dict[Place, Expression]:
        """Count the legs of a subunit at each place, no more in all than it has."""
        model = self.model

        def make() -> dict[Place, Expression]:
            subunit = self.job.subunit_of_leg[key]
            open_ = model.divisions(subunit)
            found: dict[Place, Expression] = {}
            for place in model.places:
                found[place] = legs = model.number(max(open_), f"legs of {subunit.name} at {place}", (key, place))
                here = total(model.fibres[i, place] for i in model.stretches.along[key])
                for of in open_:
                    model.require(here <= subunit.fibres // of * legs, model.divided(subunit, of))
            model.require(total(found.values()) <= self.placed(subunit))
            return found

        return model._make(("least legs", key), make)
