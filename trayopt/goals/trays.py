"""trays: how many tray places are used."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.goals.base import Goal
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Expression, Variables


class Trays(Goal):
    """Tray places in which a leg lies."""

    id = "trays"
    unit = "trays"
    statement = "used tray places: each is opened, filled, closed and tested"

    def measure(self, job: Job, laid: Laid) -> int:
        """Count the used places."""
        del job
        return len(laid.trays)

    def encode(self, job: Job, x: Variables) -> Expression:
        """Sum the used places."""
        return sum(x.used(place) for place in job.enclosure.places)
