"""What crews do everywhere (common practice, no source): figures that follow from it by counting."""

from __future__ import annotations

from math import comb

from tests.build import assignment_of
from tests.outside.boxes import box, trunk
from trayopt.checker import Report, check_assignment
from trayopt.domain.base import DivideAt
from trayopt.goals.registry import BY_ID
from trayopt.rules.registry import BY_ID as RULES
from trayopt.track.laid import Laid

N_WAY = {"N": ("bl", "clockwise", 1)}


def two_trunks(subunits: int, ribbons: int, positions: int, **tray: int) -> Laid:
    """Join two trunks of so many subunits in whole ribbons of 12 straight through; nothing is placed."""
    group = [{"count": subunits, "ribbons": ribbons, "ribbon_fibres": 12, "diameter_mm": 5}]
    fibres = subunits * ribbons * 12
    joins = [{"a": f"N:1-{fibres}", "b": f"S:1-{fibres}"}]
    job = box(positions, [trunk("N", group), trunk("S", group)], joins, **tray)
    return Laid(job, assignment_of(job, {}, {}))


def crossings(laid: Laid, places: list[str], fibres: int, divide_at: DivideAt = "tray") -> int:
    """Place N's legs of so many fibres in order, and count its crossings."""
    legs = {f"N:{fibres * i + 1}-{fibres * i + fibres}": place for i, place in enumerate(places)}
    placed = Laid(laid.job, assignment_of(laid.job, N_WAY, legs, divide_at={"N": divide_at}))
    return BY_ID["crossings"].measure(laid.job, placed)


def test_whole_legs_in_turn_and_one_stack_first() -> None:
    # 20 whole legs, two stacks of 10: 0 in turn, C(10,2) = 45 a trunk where one stack is filled first
    laid = two_trunks(20, 6, 10)
    in_turn = [f"{stack}/{position}" for position in range(1, 11) for stack in ("left", "right")]
    first = [f"{stack}/{position}" for stack in ("left", "right") for position in range(1, 11)]
    assert crossings(laid, in_turn, 72) == 0
    assert crossings(laid, first, 72) == comb(10, 2) == 45


def test_halved_subunits_in_turn_and_one_stack_first() -> None:
    # 10 subunits of 144 in 2 x 72, both on one stack: 0 in turn. Where one stack is filled first, C(5,2) = 10 pairs of tubes
    # cross that are opened at the trays, and C(5,2) x 4 = 40 pairs of legs in tubes of their own
    laid = two_trunks(10, 12, 10)
    pairs = [(2 * i + 1, 2 * i + 2) for i in range(5)]
    in_turn = [f"{stack}/{position}" for pair in pairs for stack in ("left", "right") for position in pair]
    first = [f"{stack}/{position}" for stack in ("left", "right") for pair in pairs for position in pair]
    assert crossings(laid, in_turn, 72) == 0
    assert crossings(laid, first, 72) == comb(5, 2) == 10
    assert crossings(laid, in_turn, 72, "port") == 0
    assert crossings(laid, first, 72, "port") == comb(5, 2) * 4 == 40


def test_a_full_box_is_exactly_full() -> None:
    # trays of 72 are 6 sleeves of 12; 20 of them hold 1,440, and with a sleeve or a place less they do not
    report = full_box(fibres=72, sleeves=6)
    assert report.unplaced == 0
    assert {tray.ends for tray in report.plan.trays} == {144}
    assert {tray.sleeves for tray in report.plan.trays} == {6}
    assert {found.rule for found in report.findings} <= {"reach", "guide_fill"}
    # subunits of 144 with trays of 72 are each divided into 2 x 72
    assert {leg.of for leg in report.plan.legs} == {2}
    for less, rule in (
        (full_box(fibres=72, sleeves=5), "tray_sleeves"),
        (full_box(fibres=71, sleeves=6), "tray_fibres"),
    ):
        assert [found.rule for found in less.findings if found.rule.startswith("tray_")].count(rule) == 20


def full_box(fibres: int, sleeves: int) -> Report:
    """Lay two trunks of 1,440 fibres, 72 fibres a leg, into 20 trays, and check the box."""
    job = two_trunks(10, 12, 10, fibres=fibres, sleeves=sleeves, sleeve_fibres=12).job
    places = [f"{stack}/{2 * i + g}" for i in range(5) for stack in ("left", "right") for g in (1, 2)]
    legs = {f"{t}:{72 * i + 1}-{72 * i + 72}": place for i, place in enumerate(places) for t in ("N", "S")}
    return check_assignment(job, assignment_of(job, N_WAY | {"S": ("br", "counterclockwise", 1)}, legs))


def test_defaults_of_the_rules() -> None:
    # 3 m exposed, 1 m more for a second loop; one loop, at most two; three tries of 40 mm to splice again
    assert RULES["exposed"].Parameters().model_dump() == {
        "resplice_mm": 3 * 40,
        "allowance_mm": 100,
        "least_mm": 3000,
        "extra_loop_mm": 1000,
    }
    assert RULES["slack_loops"].Parameters().model_dump() == {"least": 1, "most": 2}
