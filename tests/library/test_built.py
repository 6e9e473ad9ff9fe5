"""Built pins that contradict each other or the rules, and those that do not."""

from __future__ import annotations

from typing import Any

import pytest

from tests.library.jobs import faults


def leg(run: str, **rest: Any) -> dict[str, Any]:
    return {"leg": run, "built": True, **rest}


def said(*pins: dict[str, Any], **changes: Any) -> list[str]:
    return [line.split(": ", 2)[2].split(";")[0] for line in faults(pins=list(pins), **changes)]


def test_halves_beside_and_above_each_other_stand() -> None:
    assert said(leg("N1:1-72", stack="left", position=1), leg("N1:73-144", stack="left", position=2)) == []
    assert said(leg("N1:1-72", stack="left", position=1), leg("N1:73-144", stack="left", position=1)) == [
        "left/1 is too full (tray_fibres)",
        "left/1 is too full (tray_sleeves)",
    ]


def test_pins_that_are_not_built_may_contradict() -> None:
    pins = [{"leg": "N1:1-72", "stack": "left", "position": 1}, {"leg": "S1:1-72", "stack": "right", "position": 1}]
    assert said(*pins) == []
    assert said(pins[0], {**pins[1], "built": True}) == []


def test_splices_hand_a_place_on_through_other_legs() -> None:
    message = "N1:145-216 and N1:1-72 are spliced to each other and lie in one tray"
    joins = [{"a": "N1:1-72", "b": "S1:1-72"}, {"a": "N1:145-216", "b": "S1:73-144"}]
    apart = [leg("N1:1-72", stack="left"), leg("N1:145-216", stack="right"), leg("S1:1-144", position=1)]
    assert message in said(*apart, joins=joins)
    assert message not in said(*apart[:2], joins=joins)


def test_a_rule_that_is_not_at_must_does_not_contradict() -> None:
    overfull = leg("N1:1-144", stack="left", position=1)
    assert said(overfull) == ["left/1 is too full (tray_fibres)", "left/1 is too full (tray_sleeves)"]
    assert said(overfull, rules={"tray_fibres": "prefer", "tray_sleeves": "off"}) == []


def test_parked_fibres_count() -> None:
    joins = [{"a": "N1:1-12", "b": "S1:1-12"}]
    assert said(leg("N1:1-72", stack="left", position=1), joins=joins) == []
    assert said(leg("N1:1-144", stack="left", position=1), joins=joins) == ["left/1 is too full (tray_fibres)"]


def test_legs_through_one_entrance() -> None:
    legs = [leg(f"N1:{first}-{first + 11}", stack="left", position=1) for first in range(1, 144, 12)]
    assert "too many legs through one entrance of left/1 (entrance_legs)" in said(*legs)
    six = legs[:6]
    assert said(*six) == []
    more = [leg(f"S1:{first}-{first + 11}", stack="left", position=1) for first in range(1, 72, 12)]
    assert said(*six, *more) == []
    ways = [{"trunk": name, "travel": "clockwise", "built": True} for name in ("N1", "S1")]
    assert said(*six, *more, *ways) == ["too many legs through one entrance of left/1 (entrance_legs)"]


def test_divided_at_the_port_halves_may_be_far_apart() -> None:
    pins = [leg("N1:1-72", stack="left", position=1), leg("N1:73-144", stack="right", position=4)]
    assert said(*pins) == [
        "N1:1-72 and N1:73-144 are of one subunit that is divided at the tray",
    ]
    trunks = [{"id": name, "cable": "ribbon-288-2x144", "divide_at": "port"} for name in ("N1", "S1")]
    assert said(*pins, trunks=trunks) == []


def test_a_rise_is_counted_over_idle_legs() -> None:
    joins = [{"a": "N1:1-36", "b": "S1:1-36"}, {"a": "N1:109-144", "b": "S1:145-180"}]
    low, high = leg("N1:1-36", stack="left", position=1), leg("N1:109-144", stack="left", position=2)
    assert said(low, high, joins=joins) == []
    assert said(low, {**high, "position": 3}, joins=joins) == [
        "N1:1-36 and N1:109-144 are of one subunit that is divided at the tray"
    ]


def test_bends() -> None:
    pin = leg("N1:1-72", stack="left", position=1)
    stiff = {
        "id": "stiff", "construction": "ribbon", "diameter_mm": 20, "ribbon_mm": [3.22, 0.36],
        "subunits": [{"count": 2, "ribbons": 12, "ribbon_fibres": 12, "diameter_mm": 8, "least_radius_mm": 81}],
    }  # fmt: skip
    trunks = [{"id": "N1", "cable": stiff}, {"id": "S1", "cable": "ribbon-288-2x144"}]
    assert said(pin, trunks=trunks) == ["the track bends what travels for N1:1-72 too tightly (bend_radius)"]


@pytest.mark.parametrize(("bench_mm", "stands"), [(2391, True), (2392, False)])
def test_reach(bench_mm: int, stands: bool) -> None:
    # bottom-left clockwise by one loop to left/1 of the box of 2 x 6 frees 2391 mm (hand-worked from its guides)
    pins = [
        leg("N1:1-72", stack="left", position=1),
        {"trunk": "N1", "port": "bottom-left", "travel": "clockwise", "loops": 1, "built": True},
    ]
    found = said(*pins, rules={"reach": {"bench_mm": bench_mm}})
    assert found == ([] if stands else ["no way of trunk N1 lets left/1 be brought to the bench (reach)"])


def test_seals_take_what_is_settled_to_enter() -> None:
    pin = {"trunk": "N1", "port": "top-left", "built": True}
    assert said(pin) == []
    trunks = [{"id": name, "cable": "ribbon-288-2x144", "ports": ["top-left"]} for name in ("N1", "S1")]
    assert said(pin, trunks=trunks) == []
    assert said(pin, {"trunk": "S1", "built": True}, trunks=trunks) == [
        "no seal of port top-left takes N1 and S1 (port_seal)"
    ]
