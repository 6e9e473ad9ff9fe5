"""crossings: pairs of legs of a trunk that cross on their way into the depth of the box."""

from __future__ import annotations

from bisect import bisect_right, insort
from itertools import combinations
from typing import TYPE_CHECKING

from trayopt.domain.cablework import Leg
from trayopt.domain.job import Job
from trayopt.goals.base import Goal
from trayopt.goals.crossing_model import crossings as crossing_model
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Expression, Variables


def crossing_pairs(laid: Laid) -> list[tuple[Leg, Leg]]:
    """List the pairs of placed legs g before h of one trunk with low(g) > low(h), by trunk, then g, then h."""
    lows = laid.lows
    return [
        (g.leg, h.leg) for legs in laid.legs.values() for g, h in combinations(legs, 2) if lows[g.leg] > lows[h.leg]
    ]


class Crossings(Goal):
    """Pairs of placed legs of one trunk, one before the other, of which the first turns off further out."""

    id = "crossings"
    unit = "crossings"
    statement = "pairs of placed legs of one trunk, one before the other, of which the first turns off further out"

    def measure(self, job: Job, laid: Laid) -> int:
        """Count the crossing pairs, without listing them."""
        del job
        total = 0
        for legs in laid.legs.values():
            before: list[int] = []
            for item in legs:
                low = laid.lows[item.leg]
                total += len(before) - bisect_right(before, low)
                insort(before, low)
        return total

    def encode(self, job: Job, x: Variables) -> Expression:
        """Count crossing pairs by the lows of subunits or legs."""
        return crossing_model(x)
