"""out_of_turn: how often the walk along the splices goes back inward."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.splicing import Piece
from trayopt.goals.base import Goal
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Expression, Literal, Variables


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
        """Compare each piece of the walk with the last placed one before it, over every rank of place order."""
        ranks = range(len(job.enclosure.places) - 1)
        drops = []
        last: list[Literal] = [1 for _ in ranks]
        before: Piece | None = None
        for piece in job.pieces:
            if before is not None and x.same_place(before, piece):
                continue
            before = piece
            here = [x.piece_up_to(piece, rank) for rank in ranks]
            placed = x.piece_placed(piece)
            drop = x.literal(f"down at {piece.a}")
            drops.append(drop)
            for rank in ranks:
                x.clause(x.no(here[rank]), last[rank], drop)
            if isinstance(placed, int):
                last = here
                continue
            now = [x.literal(f"up to {rank} at {piece.a}") for rank in ranks]
            for rank in ranks:
                x.require(now[rank] - here[rank] <= 1 - placed)
                x.require(here[rank] - now[rank] <= 1 - placed)
                x.require(now[rank] - last[rank] <= placed)
                x.require(last[rank] - now[rank] <= placed)
            last = now
        return sum(drops)
