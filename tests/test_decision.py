"""One shape of a decision: a pin, a decision that was given, and an expected one say of a way the same."""

from __future__ import annotations

import pytest

from trayopt.domain.assignment import Way
from trayopt.domain.decision import GoesBy
from trayopt.domain.hardware import Place
from trayopt.domain.pins import LegPin, TrunkPin
from trayopt.domain.ranges import Run

WAY = Way("north", "clockwise", 1)


@pytest.mark.parametrize(
    ("pin", "differs"),
    [
        (TrunkPin(trunk="A"), ()),
        (TrunkPin(trunk="A", port="north", travel="clockwise", loops=1, divide_at="port", built=True), ()),
        (TrunkPin(trunk="A", loops=0), ("loops",)),
        (TrunkPin(trunk="A", port="south", travel="counterclockwise", loops=1), ("port", "travel")),
    ],
)
def test_what_is_open_admits_every_way(pin: TrunkPin, differs: tuple[str, ...]) -> None:
    assert pin.decision.differing(WAY) == differs
    assert pin.decision.admits(WAY) == (not differs)


def test_a_way_is_whole_where_all_of_it_is_decided() -> None:
    assert GoesBy("A", *WAY).whole == WAY
    assert GoesBy("A", *WAY, "tray").admits(WAY)
    assert GoesBy("A", "north", None, 1).whole is None
    assert GoesBy("A", "north", "clockwise", 0).whole == Way("north", "clockwise", 0)


def test_a_pin_of_a_leg_admits_the_places_that_it_leaves_open() -> None:
    places = [Place("left", 1), Place("left", 2), Place("right", 2)]
    asked = {"everywhere": LegPin(leg=Run("A", 1, 12)), "stack": LegPin(leg=Run("A", 1, 12), stack="left")}
    asked["position"] = LegPin(leg=Run("A", 1, 12), position=2)
    admitted = {name: [place for place in places if pin.admits(place)] for name, pin in asked.items()}
    assert admitted == {"everywhere": places, "stack": places[:2], "position": places[1:]}
