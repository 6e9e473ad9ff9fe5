"""out_of_turn: how often the walk along the splices goes back inward."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.goals.base import Goal
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Expression, Variables


class OutOfTurn(Goal):
    """Steps along the placed splices, in the order of the joins, at which the place order goes down."""

    id = "out_of_turn"
    unit = "steps"
    statement = "steps along the placed splices, in the order of the joins, at which the place order goes down"

    def measure(self, job: Job, laid: Laid) -> int:
        """Walk the placed splices in the order of the joins, each from its lowest a-fibre up."""
        rank = job.enclosure.place_rank
        walk = [rank[place] for _, place in laid.piece_places if place is not None]
        return sum(after < before for before, after in pairwise(walk))

    def encode(self, job: Job, x: Variables) -> Expression:
        """Not yet in the model."""
        raise AssertionError("encoded in a later commit")
