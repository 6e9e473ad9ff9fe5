"""leg_length_mm: the way of all legs together."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.goals.base import Goal
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Expression, Variables


class LegLength(Goal):
    """Sum of route_mm of the placed legs."""

    id = "leg_length_mm"
    unit = "mm"
    statement = "sum of route_mm of the placed legs"

    def measure(self, job: Job, laid: Laid) -> int:
        """Add up the routes of the placed legs."""
        del job
        return sum(item.route_mm for legs in laid.legs.values() for item in legs)

    def encode(self, job: Job, x: Variables) -> Expression:
        """Not yet in the model."""
        raise AssertionError("encoded in a later commit")
