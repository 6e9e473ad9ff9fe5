"""The guess of an order: what all trunks agree on is kept, and items that stand in a ring have no order."""

from __future__ import annotations

from trayopt import load_job, solve
from trayopt.domain.cablework import Leg
from trayopt.solver.heuristics.precedence import Item, slots


def item(**ranks: int) -> Item:
    """Make an item that each of these trunks sees at this rank."""
    return Item(Leg(min(ranks), ranks[min(ranks)], 1, 1), 1, ranks)


def test_no_item_comes_before_one_that_all_trunks_see_before_it() -> None:
    first, one, other, last = item(A=1, B=1), item(A=2, B=3), item(A=3, B=2), item(A=4, B=4)
    made = slots([last, other, first, one], 2)
    slot = {found.ranks["A"]: number for number, here in enumerate(made) for found in here}
    assert slot[1] <= slot[2] <= slot[4]
    assert slot[1] <= slot[3] <= slot[4]
    assert all(len(here) <= 2 for here in made)


def test_items_in_a_ring_have_no_order() -> None:
    assert slots([item(A=1, C=2), item(A=2, B=1), item(B=2, C=1)], 2) == []


def test_a_job_whose_items_stand_in_a_ring_is_solved() -> None:
    names = ("N1", "E1", "S1", "W1")
    job = load_job(
        {
            "schema": "trayopt/job/2",
            "title": "four trunks of two subunits, joined in a ring",
            "enclosure": "cabinet-3x24",
            "trunks": [{"id": name, "cable": "ribbon-288-2x144"} for name in names],
            "joins": [
                {"a": f"{a}:1-144", "b": f"{b}:145-288"} for a, b in zip(names, names[1:] + names[:1], strict=True)
            ],
        }
    )
    assert solve(job, time_limit_s=60).plan.status == "optimal"
