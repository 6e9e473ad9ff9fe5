"""Built pins that contradict each other or the rules, and those that do not."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.library.jobs import faults


def leg(run: str, **rest: Any) -> dict[str, Any]:
    return {"leg": run, "built": True, **rest}


def trunks_divided_at(*places: str) -> list[dict[str, Any]]:
    return [{"id": name, "cable": "ribbon-288-2x144", "divide_at": list(places)} for name in ("N1", "S1")]


AT_TRAY = trunks_divided_at("tray")


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
    # trays of 72 take 144 ends: N1:1-72 brings 72 and its 12 splices 12 more, N1:1-144 brings 144 and 12 more
    joins = [{"a": "N1:1-12", "b": "S1:1-12"}]
    assert said(leg("N1:1-72", stack="left", position=1), joins=joins) == []
    assert said(leg("N1:1-144", stack="left", position=1), joins=joins) == ["left/1 is too full (tray_fibres)"]


@pytest.mark.parametrize(("last", "stands"), [(72, True), (73, False)])
def test_a_tray_holds_two_ends_a_place(last: int, stands: bool) -> None:
    joins = [{"a": "N1:1-36", "b": "S1:1-36"}, {"a": "N1:145-180", "b": f"S1:{last - 35}-{last}"}]
    pins = [leg("S1:1-72", stack="left", position=1), leg("N1:1-36", stack="left", position=1)]
    pins.append(leg("N1:145-180", stack="left", position=1))
    # all of S1:1-72 is spliced, 72 splices, 144 ends; or 71, one parked fibre and a splice to S1:73: 145 ends
    found = said(*pins, joins=joins, rules={"tray_sleeves": "off"})
    assert found == ([] if stands else ["left/1 is too full (tray_fibres)"])


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
    torn = ["N1:1-72 and N1:73-144 are of one subunit that is divided at the tray"]
    assert said(*pins, trunks=AT_TRAY) == torn
    assert said(*pins, trunks=trunks_divided_at("port")) == []
    assert said(*pins) == []
    assert said(*pins, {"trunk": "N1", "divide_at": "tray", "built": True}) == torn
    assert said(*pins, {"trunk": "N1", "divide_at": "tray"}) == []
    assert said(*pins, {"trunk": "N1", "divide_at": "port", "built": True}) == []


def test_a_rise_is_counted_over_parked_legs() -> None:
    # from the first quarter to the fourth, with two parked ones between: up to three places
    joins = [{"a": "N1:1-36", "b": "S1:1-36"}, {"a": "N1:109-144", "b": "S1:145-180"}]
    low, high = leg("N1:1-36", stack="left", position=1), leg("N1:109-144", stack="left", position=4)
    assert said(low, high, joins=joins, trunks=AT_TRAY) == []
    assert said(low, {**high, "position": 5}, joins=joins, trunks=AT_TRAY) == [
        "N1:1-36 and N1:109-144 are of one subunit that is divided at the tray"
    ]


def test_a_built_leg_without_a_splice_is_parked_and_its_tube_opened_at_a_tray() -> None:
    joins = [{"a": "N1:1-72", "b": "S1:1-72"}]
    pins = [leg("N1:1-72", stack="left", position=1), leg("N1:73-144", stack="left", position=2)]
    assert said(*pins, joins=joins) == []
    assert said(pins[0], leg("N1:73-144", stack="right", position=2), joins=joins) == [
        "N1:1-72 and N1:73-144 are of one subunit that is divided at the tray"
    ]
    assert said(*pins, {"trunk": "N1", "divide_at": "port", "built": True}, joins=joins) == [
        "N1:73-144 has no splice, and a trunk that is divided at the port parks no leg"
    ]


@pytest.mark.parametrize(
    ("run", "position", "where"),
    [
        # both halves spliced bring 288 ends, which two trays of 144 take; the second lies at the first's position or above
        ("N1:1-72", 5, None),
        ("N1:1-72", 6, "there is no room for N1:1-144 in left/6"),
        ("N1:73-144", 2, None),
        ("N1:73-144", 1, "there is no room for N1:1-144 in left/1"),
    ],
)
def test_an_opened_tube_finds_room_for_all_of_it(run: str, position: int, where: str | None) -> None:
    pin = leg(run, stack="left", position=position)
    found = said(pin, trunks=AT_TRAY)
    assert found == ([] if where is None else [f"the tube of N1/1 is opened, and {where} (tray_fibres)"])
    assert said(pin) == []
    rules = dict.fromkeys(("tray_fibres", "tray_sleeves"), "prefer")
    assert said(pin, trunks=AT_TRAY, rules=rules) == []


def test_what_is_built_beside_an_opened_tube_takes_its_room() -> None:
    # left/5 and left/6 take 288 ends; the tube of N1/1 brings 288, and S1:145-156 with its splices 24
    pins = [leg("N1:1-72", stack="left", position=5), leg("S1:145-156", stack="left", position=6)]
    trunks = [AT_TRAY[0], trunks_divided_at("port")[1]]
    assert said(*pins, trunks=trunks) == [
        "the tube of N1/1 is opened, and there is no room for N1:1-144 in left/5 to left/6 (tray_fibres)"
    ]
    assert said(pins[0], {**pins[1], "position": 4}, trunks=trunks) == []


def test_a_tube_that_is_larger_than_its_stack() -> None:
    # six trays of 72 take 864 ends: 432 splices, or 420 splices and 24 parked fibres, but not 421 and 23
    tube = {"count": 1, "ribbons": 36, "ribbon_fibres": 12, "diameter_mm": 14, "least_radius_mm": 70}
    wide = {
        "id": "wide", "construction": "ribbon", "diameter_mm": 32, "ribbon_mm": [3.22, 0.36], "subunits": [tube],
    }  # fmt: skip
    longer = {**wide, "id": "longer", "subunits": [{**tube, "ribbons": 37}]}
    other = {"id": "S1", "cable": {**longer, "id": "other"}, "divide_at": "port"}
    pin = leg("N1:1-12", stack="left")
    rules = {"entrance_legs": "off", "tray_sleeves": "off"}
    for cable, fibres, joined, stands in ((wide, 432, 432, True), (longer, 444, 420, True), (longer, 444, 421, False)):
        trunks = [{"id": "N1", "cable": cable, "divide_at": "tray"}, other]
        joins = [{"a": f"N1:1-{joined}", "b": f"S1:1-{joined}"}]
        found = said(pin, trunks=trunks, joins=joins, rules=rules)
        message = (
            f"the tube of N1/1 is opened, and there is no room for N1:1-{fibres} in left/1 to left/6 (tray_fibres)"
        )
        assert found == ([] if stands else [message])


def test_legs_of_an_opened_tube_travel_one_way() -> None:
    # twelve legs of one ribbon, of which the last tray takes eight through its entrance
    joins = [{"a": "N1:1-12", "b": "S1:1-12"}]
    pin = leg("N1:1-12", stack="left", position=6)
    rules = {"tray_fibres": "prefer"}
    assert said(pin, joins=joins, trunks=AT_TRAY, rules=rules) == [
        "the tube of N1/1 is opened, and there is no room for N1:1-144 in left/6 (entrance_legs)"
    ]
    assert said({**pin, "position": 5}, joins=joins, trunks=AT_TRAY, rules=rules) == []


def test_what_travels_depends_on_where_the_trunk_is_divided() -> None:
    thin = {"id": "thin", "tubes": [{"bore_mm": 2, "diameter_mm": 3}]}
    pin = leg("N1:1-72", stack="left", position=1)
    held = ["no tube of the set holds N1:1-72 (leg tube)"]
    assert said(pin, tubes=thin) == []
    assert said(pin, tubes=thin, trunks=trunks_divided_at("port")) == held
    assert said(pin, {"trunk": "N1", "divide_at": "port", "built": True}, tubes=thin) == held


def test_without_tubes_a_whole_subunit_needs_a_tube_of_the_set() -> None:
    thin = {"id": "thin", "tubes": [{"bore_mm": 2, "diameter_mm": 3}]}
    pin = leg("N1:1-144", stack="left")
    rules = dict.fromkeys(("tray_fibres", "tray_sleeves"), "prefer")
    trunks = [{"id": "N1", "cable": "partly-bonded-288-2x144"}, {"id": "S1", "cable": "ribbon-288-2x144"}]
    # 0.25 × √(144 / 0.6) = 3.87 mm
    assert said(pin, tubes=thin, trunks=trunks, rules=rules) == ["no tube of the set holds N1:1-144 (leg tube)"]
    assert said(pin, tubes=thin, rules=rules) == []


def test_a_position_that_the_stack_of_a_spliced_leg_does_not_have() -> None:
    box = str(Path(__file__).parent / "bad" / "files" / "two-heights.yaml")
    pins = [leg("N1:1-72", stack="left"), leg("S1:1-72", position=6)]
    assert said(*pins, enclosure=box) == ["S1:1-72 asks for a position that stack left does not have"]
    assert said(pins[0], leg("S1:1-72", position=5), enclosure=box) == []
    assert said(leg("N1:1-72", stack="right"), pins[1], enclosure=box) == []


def test_bends() -> None:
    pin = leg("N1:1-72", stack="left", position=1)
    stiff = {
        "id": "stiff", "construction": "ribbon", "diameter_mm": 20, "ribbon_mm": [3.22, 0.36],
        "subunits": [{"count": 2, "ribbons": 12, "ribbon_fibres": 12, "diameter_mm": 8, "least_radius_mm": 81}],
    }  # fmt: skip
    trunks: list[dict[str, Any]] = [{"id": "N1", "cable": stiff}, {"id": "S1", "cable": "ribbon-288-2x144"}]
    assert said(pin, trunks=trunks) == []
    trunks[0]["divide_at"] = "tray"
    assert said(pin, trunks=trunks) == ["the track bends what travels for N1:1-72 too tightly (bend_radius)"]


@pytest.mark.parametrize(("bench_mm", "stands"), [(2318, True), (2319, False)])
def test_reach(bench_mm: int, stands: bool) -> None:
    # bottom-left clockwise by one loop to left/1 of the box of 2 x 6 frees 2318 mm, worked by hand from its guides:
    # 100 to its guide, 2 x 215 up the side, a ring of 4 x 187 + 4 x 215, 175 to the entrance, 5 back to the tray
    pins = [
        leg("N1:1-72", stack="left", position=1),
        {"trunk": "N1", "port": "bottom-left", "travel": "clockwise", "loops": 1, "built": True},
    ]
    found = said(*pins, rules={"reach": {"bench_mm": bench_mm}})
    assert found == ([] if stands else ["trunk N1 has no way on which left/1 reaches the bench (reach)"])


def test_seals_take_what_is_settled_to_enter() -> None:
    pin = {"trunk": "N1", "port": "side", "built": True}
    assert said(pin) == []
    trunks = [{"id": name, "cable": "ribbon-288-2x144", "ports": ["side"]} for name in ("N1", "S1")]
    assert said(pin, trunks=trunks) == []
    assert said(pin, {"trunk": "S1", "built": True}, trunks=trunks) == [
        "no seal of port side takes N1 and S1 (port_seal)"
    ]
