"""crossings: pairs of travellers of a trunk that cross on their way into the depth of the box."""

from __future__ import annotations

from bisect import bisect_right, insort
from itertools import combinations
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.goals.base import Goal
from trayopt.goals.crossing_model import crossings as crossing_model
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Expression, Variables


def crossing_pairs(laid: Laid) -> list[tuple[str, str]]:
    """List, by name, the pairs of travellers u before v of one trunk where a leg of u turns off further out than a leg of v."""
    return [
        (u.name, v.name)
        for trunk in laid.legs
        for u, v in combinations(laid.strands(trunk), 2)
        if u.most_low > v.least_low
    ]


class Crossings(Goal):
    """Pairs of travellers of one trunk, own tubes or legs in tubes of the set, of which the first turns off further out."""

    id = "crossings"
    unit = "crossings"
    statement = (
        "pairs of travellers of one trunk, an own tube with all its legs or a leg in a tube of the set, "
        "of which the first turns off further out"
    )

    def measure(self, job: Job, laid: Laid) -> int:
        """Count the crossing pairs, without listing them."""
        del job
        total = 0
        for trunk in laid.legs:
            before: list[int] = []
            for strand in laid.strands(trunk):
                total += len(before) - bisect_right(before, strand.least_low)
                insort(before, strand.most_low)
        return total

    def encode(self, job: Job, x: Variables) -> Expression:
        """Count crossing pairs by the lows of travellers."""
        del job
        return crossing_model(x)
