"""legs: how many legs are placed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.goals.base import Goal
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Expression, Variables


class Legs(Goal):
    """Placed legs: each is a division, a mark and a tie-down."""

    id = "legs"
    unit = "legs"
    statement = "placed legs: each is a division, a mark and a tie-down"

    def measure(self, job: Job, laid: Laid) -> int:
        """Count the placed legs."""
        del job
        return len(laid.place_of)

    def encode(self, job: Job, x: Variables) -> Expression:
        """Sum the placed legs."""
        return sum(
            x.placed(leg) for subunit in job.subunits for of in x.divisions(subunit) for leg in x.legs(subunit, of)
        )
