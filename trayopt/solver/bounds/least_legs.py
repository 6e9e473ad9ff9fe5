"""How many legs lie at each tray place at least, as the fibres there ask for: what entrances of trays are told of stretches.

A leg of a division holds so many fibres of its subunit, so those at a place are of as many legs, or more. Of a subunit that is
divided at the port, legs without a splice are in no tray, and neither are they counted.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Mapping
from itertools import product

from trayopt.domain.base import TRAVELS
from trayopt.domain.cablework import Subunit
from trayopt.domain.hardware import Place
from trayopt.domain.trunk import Trunk
from trayopt.rules.variables import Expression
from trayopt.solver.bounds.segment_counts import SegmentCounts
from trayopt.solver.model.base import Divisions, Key
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

    def fit(self, divisions: Divisions, fibres: Mapping[tuple[int, Place], int]) -> bool:
        """Whether the legs of a layout fit the entrances by some ways of the trunks; ``fibres`` are of stretches at places."""
        legs: dict[Place, Counter[str]] = defaultdict(Counter)
        for key, (of,) in ((key, of_) for key, of_ in divisions.items() if of_):
            size = self.job.subunit_of_leg[key].fibres // of
            for place in self.model.places:
                here = sum(fibres.get((i, place), 0) for i in self.model.stretches.along[key])
                legs[place][key[0]] += -(-here // size)
        crowded = [
            (here, most)
            for place, here in legs.items()
            if here.total() > (most := self.job.enclosure.tray_at(place).entrance_legs)
        ]
        travels = {trunk.id: sorted({way.travel for way in self.model.ways(trunk)}) for trunk in self.job.trunks}
        ids = [trunk for trunk, some in travels.items() if some]
        return not crowded or any(
            all(
                sum(here[trunk] for trunk, goes in zip(ids, chosen, strict=True) if goes == travel) <= most
                for here, most in crowded
                for travel in TRAVELS
            )
            for chosen in product(*(travels[trunk] for trunk in ids))
        )

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
