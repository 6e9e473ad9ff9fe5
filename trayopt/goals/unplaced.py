"""unplaced: splices that have no tray."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.goals.base import Goal
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Expression, Variables


class Unplaced(Goal):
    """Splices without a tray."""

    id = "unplaced"
    unit = "splices"
    statement = "splices without a tray"

    def measure(self, job: Job, laid: Laid) -> int:
        """Count the splices whose two fibres are not in one tray."""
        del job
        return sum(piece.count for piece, place in laid.piece_places if place is None)

    def encode(self, job: Job, x: Variables) -> Expression:
        """Sum the splices of the pieces that are not placed."""
        return sum(piece.count * (1 - x.piece_placed(piece)) for piece in job.pieces)
