"""What the model of crossings tells of the orders in which trunks see strands, and of legs that follow each other, by hand."""

from __future__ import annotations

from typing import Any

import pytest

from tests.build import Json, assignment_of, job_of
from tests.case_files import put
from tests.goals.test_encoded import counted, held
from tests.strategies import worked_example
from trayopt.domain.job import Job
from trayopt.goals.crossings import crossing_pairs
from trayopt.goals.registry import BY_ID
from trayopt.solver.model.model import Model, Orders
from trayopt.solver.model.posting import Policy, build
from trayopt.track.laid import Laid


def swapped(at: str, ribbons: int = 1, **change: Any) -> Json:
    """P and Q with three subunits each; the first of P is joined to the second of Q, and the second to the first."""
    data = worked_example()
    fibres = 12 * ribbons
    for i in (0, 1):
        subunits = {"count": 3, "ribbons": ribbons, "ribbon_fibres": 12, "diameter_mm": 5}
        put(data, f"trunks.{i}.cable.subunits.0", subunits)
        put(data, f"trunks.{i}.divide_at", [at])
        put(data, f"enclosure.stacks.{i}.positions", 3)

    def part(trunk: str, subunit: int) -> str:
        return f"{trunk}:{fibres * (subunit - 1) + 1}-{fibres * subunit}"

    data["joins"] = [{"a": part("P", a), "b": part("Q", b)} for a, b in ((1, 2), (2, 1), (3, 3))]
    return data | change


def halves(job: Job) -> dict[tuple[str, int], tuple[int, ...]]:
    """Settle every subunit at two legs."""
    return {(s.trunk, s.number): (2,) for s in job.subunits}


def told(model: Model) -> Orders:
    """Encode crossings, and give what the model was told of orders."""
    model.goal("crossings")
    assert model.orders is not None
    return model.orders


def seen(orders: Orders) -> dict[tuple[str, str], int]:
    """Give how many trunks see each two strands in an order, by the first leg of each strand."""
    names = [str(legs[0]) for legs in orders.strands]
    return {(names[one], names[other]): times for (one, other), (_, times) in orders.seen.items()}


@pytest.mark.parametrize("at", ["tray", "port"])
def test_orders_that_two_trunks_see(at: str) -> None:
    # joined subunits share all their trays: P sees Q/2, Q/1, Q/3 and Q sees Q/1, Q/2, Q/3
    orders = told(build(job_of(swapped(at)), Policy(), all_placed=True))
    assert seen(orders) == {
        ("Q/2", "Q/1"): 1, ("Q/1", "Q/2"): 1, ("Q/2", "Q/3"): 2, ("Q/1", "Q/3"): 2,
    }  # fmt: skip
    assert orders.weight == 1


def test_strands_of_the_first_trunks_are_known_to_the_last() -> None:
    # P is joined to Q and R: R sees none of the strands that P and Q see in opposite orders
    data = swapped("tray")
    data["trunks"].append(data["trunks"][1] | {"id": "R", "cable": data["trunks"][1]["cable"] | {"id": "cable-r"}})
    data["joins"][2]["b"] = "R:1-12"
    found = seen(told(build(job_of(data), Policy(), all_placed=True)))
    assert found[("Q/2", "Q/1")] == found[("Q/1", "Q/2")] == 1


def test_no_order_is_told_where_splices_may_stay_out() -> None:
    model = build(job_of(swapped("tray")), Policy(), all_placed=False)
    model.goal("crossings")
    assert model.orders is None


@pytest.mark.parametrize(
    ("at", "policy", "weight"),
    [
        # an own tube is one traveller, however many legs it has
        ("tray", Policy(), 1),
        # two tubes of the set cross two: four pairs
        ("port", Policy("hard", "hard"), 4),
        # each leg is a strand of its own
        ("port", Policy(), 1),
    ],
)
def test_the_least_travellers_that_cross(at: str, policy: Policy, weight: int) -> None:
    job = job_of(swapped(at, 2))
    assert told(build(job, policy, all_placed=True, divisions=halves(job))).weight == weight


def test_a_low_is_the_position_of_the_leg_or_of_one_before_it() -> None:
    # first legs are strands that P and Q share; second legs are not, as each may take over the low of another leg
    job = job_of(swapped("port", 2))
    orders = told(build(job, Policy(), all_placed=True, divisions=halves(job)))
    second = [[str(leg) for leg in legs] for legs in orders.strands if len(legs) > 1]
    assert sorted(second) == [
        [f"{subunit}.1", f"{subunit}.2"] for subunit in ("P/1", "P/2", "P/3", "Q/1", "Q/2", "Q/3")
    ]


@pytest.mark.parametrize(
    ("places", "crossings"),
    [
        # lows 1, 3, 2 against 1: Q/1.3 lies one higher than Q/1.1, but Q/1.2 is placed between them, so it crosses Q/2 as well
        (["left/1", "left/3", "left/2", "left/1"], 3),
        # without Q/1.2 in the box it takes over the low of Q/1.1
        (["left/1", None, "left/2", "left/1"], 0),
        # and with Q/1.2 beside Q/1.1 that of both
        (["left/1", "left/1", "left/2", "left/1"], 0),
    ],
)
def test_a_leg_takes_over_the_low_of_the_placed_leg_before_it_alone(places: list[str | None], crossings: int) -> None:
    data = worked_example()
    put(data, "trunks.0.cable.subunits.0", {"count": 6, "ribbons": 1, "ribbon_fibres": 12, "diameter_mm": 5})
    put(data, "trunks.1.cable.subunits.0", {"count": 2, "ribbons": 3, "ribbon_fibres": 12, "diameter_mm": 5})
    put(data, "joins.0", {"a": "P:1-48", "b": "Q:1-48"})
    put(data, "enclosure.stacks.0.positions", 3)
    for i in (0, 1):
        put(data, f"trunks.{i}.divide_at", ["port"])
        put(data, f"enclosure.stacks.{i}.tray.fibres", 36)
        put(data, f"enclosure.stacks.{i}.tray.sleeves", 3)
    data["rules"]["no_empty_below"] = "off"
    runs = [f"{12 * i + 1}-{12 * i + 12}" for i in range(4)]
    legs = {f"{trunk}:{run}": place for trunk in "PQ" for run, place in zip(runs, places, strict=True) if place}
    job = job_of(data)
    ways = {"P": ("bl", "clockwise", 1), "Q": ("br", "counterclockwise", 1)}
    plan = assignment_of(job, ways, legs, {"left": "top"}, {"P": "port", "Q": "port"})
    goal = BY_ID["crossings"]
    laid = Laid(job, plan)
    assert sum(traveller.startswith("Q") for traveller, _ in crossing_pairs(laid)) == crossings
    model = build(job, Policy(), all_placed=False)
    held(model, plan)
    assert counted(model, goal) == goal.measure(job, laid)
