"""The seven goals, measured by hand on the worked example and what is changed in it."""

from __future__ import annotations

from typing import Any

import pytest

from tests.build import assignment_of, job_of
from tests.rules.test_cases import LEGS, WAYS, lay
from tests.strategies import worked_example
from trayopt.goals.crossings import crossing_pairs
from trayopt.goals.registry import BY_ID, GOALS, MOVABLE, measure_all, order
from trayopt.track.laid import Laid

FOUR = {
    "trunks.0.cable.subunits.0.count": 4,
    "trunks.1.cable.subunits.0.count": 2,
    "joins.0": {"a": "P:1-96", "b": "Q:1-96"},
    "enclosure.stacks.0.positions": 4,
    "enclosure.stacks.1.positions": 4,
}
"""P with four subunits of 24, Q with two of 48."""


def measured(goal: str, **case: Any) -> int:
    laid = lay(case)
    return BY_ID[goal].measure(laid.job, laid)


def test_the_worked_example() -> None:
    # spec, section 10
    assert list(measure_all(lay({})).values()) == [0, 0, 1, 4, 0, 9232, 0]


def test_bench_at_its_default() -> None:
    # spec, section 10: both trunks travel the other way, broken_prefer 3, leg_length_mm 10368
    ways = {"P": ["bl", "counterclockwise", 1], "Q": ["br", "clockwise", 1]}
    assert list(measure_all(lay({"set": {"rules": {}}, "ways": ways})).values()) == [0, 0, 3, 4, 0, 10368, 0]


def test_two_loops() -> None:
    # spec, section 10: were loops [1, 2] allowed, P would make two: broken_prefer 1, leg_length_mm 11888
    ways = {"P": ["bl", "clockwise", 2], "Q": ["br", "counterclockwise", 1]}
    change = {"rules": {}, "trunks.0.loops": [1, 2], "trunks.1.loops": [1, 2]}
    assert list(measure_all(lay({"set": change, "ways": ways})).values()) == [0, 0, 1, 4, 0, 11888, 0]


@pytest.mark.parametrize(
    ("legs", "count"),
    [
        (LEGS, 0),
        ({"P:1-24": "left/1", "Q:1-24": "left/1"}, 24),
        # Q whole in left/1 with P/1 alone: P/2's 24 splices have no tray
        ({"P:1-24": "left/1", "Q:1-48": "left/1"}, 24),
        # spliced fibres in different trays are not placed
        ({"P:1-24": "left/1", "P:25-48": "left/2", "Q:1-24": "left/1", "Q:25-48": "right/2"}, 24),
        ({}, 48),
    ],
)
def test_unplaced(legs: dict[str, str], count: int) -> None:
    assert measured("unplaced", legs=legs, ways=WAYS if legs else {}) == count


def test_broken_must_counts_subjects_and_not_weights() -> None:
    # reach at 1931 breaks P; slack_loops at least 2 breaks P and Q; weights count nothing here
    rules = {"reach": {"bench_mm": 1931, "weight": 9}, "slack_loops": {"least": 2}}
    assert measured("broken_must", set={"rules": rules}) == 3


def test_broken_prefer_counts_weights() -> None:
    # alternate_stacks P/2, weight 4; reach (prefer, weight 5) P; natural_travel off
    rules = {
        "alternate_stacks": {"weight": 4},
        "reach": {"bench_mm": 1931, "level": "prefer", "weight": 5},
    }
    assert measured("broken_prefer", set={"rules": rules}) == 9
    assert measured("broken_must", set={"rules": rules}) == 0


def test_what_is_off_counts_nothing() -> None:
    rules = {"alternate_stacks": "off", "reach": {"bench_mm": 1931, "level": "off"}}
    assert measured("broken_prefer", set={"rules": rules}) == 0
    assert measured("broken_must", set={"rules": rules}) == 0


def test_what_always_holds_counts_nowhere() -> None:
    # P may not loop twice, and reach falls away at 3258: only alternate_stacks counts
    ways = {"P": ["bl", "clockwise", 2], "Q": ["br", "counterclockwise", 1]}
    assert measured("broken_must", ways=ways) == 0
    assert measured("broken_prefer", ways=ways) == 1


def test_legs() -> None:
    assert measured("legs") == 4
    assert measured("legs", legs={"P:1-24": "left/1", "Q:1-12": "left/1", "Q:13-24": "left/1"}) == 3


@pytest.mark.parametrize(
    ("places", "pairs"),
    [
        (["left/1", "left/2", "left/3", "left/4"], []),
        # alternating: depth never falls
        (["left/1", "right/1", "left/2", "right/2"], []),
        # one stack first: P/2 lies deeper out than P/3
        (["left/1", "left/2", "right/1", "right/2"], [("P/2", "P/3")]),
        (["left/4", "left/3", "left/2", "left/1"], 6),
        # places of one position do not cross
        (["left/2", "right/2", "left/2", "right/2"], []),
    ],
)
def test_crossings_of_whole_subunits(places: list[str], pairs: list[tuple[str, str]] | int) -> None:
    legs = {f"P:{24 * i + 1}-{24 * i + 24}": place for i, place in enumerate(places)}
    laid = lay({"set": FOUR, "legs": legs})
    found = [(str(g), str(h)) for g, h in crossing_pairs(laid)]
    assert measured("crossings", set=FOUR, legs=legs) == len(found)
    assert len(found) == pairs if isinstance(pairs, int) else found == pairs


@pytest.mark.parametrize(
    ("places", "lows", "crossings"),
    [
        # Q/1 in left/1 and left/2: the second leg takes over the low 1; Q/2 starts at left/1: nothing crosses
        (["left/1", "left/2", "left/1", "left/2"], [1, 1, 1, 1], 0),
        # on one stack upward: 1, 1, then 3, 3
        (["left/1", "left/2", "left/3", "left/4"], [1, 1, 3, 3], 0),
        # Q/2 from left/1, Q/1 from left/3: both legs of Q/1 cross both of Q/2
        (["left/3", "left/4", "left/1", "left/2"], [3, 3, 1, 1], 4),
        # the stack changes: the leg keeps its own position
        (["left/1", "right/2", "right/1", "right/2"], [1, 2, 1, 1], 2),
        # two higher is not one higher
        (["left/1", "left/3", "left/1", "left/1"], [1, 3, 1, 1], 2),
        # lower is not higher
        (["left/2", "left/1", "left/2", "left/2"], [2, 1, 2, 2], 1),
        # a leg of another subunit takes over nothing
        (["left/1", "left/1", "left/2", "left/2"], [1, 1, 2, 2], 0),
    ],
)
def test_lows(places: list[str], lows: list[int], crossings: int) -> None:
    change = FOUR | {"trunks.1.divide_at": "port"}
    legs = {f"Q:{24 * i + 1}-{24 * i + 24}": place for i, place in enumerate(places)}
    laid = lay({"set": change, "legs": legs})
    assert [laid.lows[item.leg] for item in laid.legs["Q"]] == lows
    assert measured("crossings", set=change, legs=legs) == crossings
    assert len(crossing_pairs(laid)) == crossings


def test_crossings_are_of_one_trunk() -> None:
    # P/1 in left/2 and Q/1.1 in left/1 are legs of two trunks
    assert measured("crossings", legs={"P:1-24": "left/2", "Q:25-48": "left/1"}) == 0


def test_leg_length() -> None:
    # 2230 + 2241 + 2375 + 2386 (spec, section 10)
    assert measured("leg_length_mm") == 9232
    # right, clockwise: 64 + 380 + 142 + 1328 + 159 + 2 + 300 = 2375
    assert measured("leg_length_mm", legs={"P:1-24": "right/1"}) == 2375


@pytest.mark.parametrize(
    ("joins", "legs", "steps"),
    [
        (None, LEGS, 0),
        # outward first, then inward: one step down
        (None, {"P:1-24": "left/2", "P:25-48": "left/1", "Q:1-24": "left/2", "Q:25-48": "left/1"}, 1),
        # left/1 before right/1 before left/2: right/1 to left/2 goes up
        (None, {"P:1-24": "right/1", "P:25-48": "left/2", "Q:1-24": "right/1", "Q:25-48": "left/2"}, 0),
        (None, {"P:1-24": "right/1", "P:25-48": "left/1", "Q:1-24": "right/1", "Q:25-48": "left/1"}, 1),
        # the joins are walked as they are listed
        ([{"a": "P:25-48", "b": "Q:25-48"}, {"a": "P:1-24", "b": "Q:1-24"}], LEGS, 1),
        # from the lowest fibre of side a: Q's order, which side b sees turned
        (
            [{"a": "Q:1-24", "b": "P:25-48"}, {"a": "Q:25-48", "b": "P:1-24"}],
            LEGS | {"P:1-24": "left/2", "P:25-48": "left/1"},
            0,
        ),
        # a step over what has no tray counts as one: left/2, nothing, left/1
        (
            [{"a": "P:25-36", "b": "Q:25-36"}, {"a": "P:37-48", "b": "Q:37-48"}, {"a": "P:1-24", "b": "Q:1-24"}],
            {"P:1-24": "left/1", "P:25-48": "left/2", "Q:1-12": "left/1", "Q:13-24": "left/1", "Q:25-36": "left/2"},
            1,
        ),
    ],
)
def test_out_of_turn(joins: list[dict[str, str]] | None, legs: dict[str, str], steps: int) -> None:
    assert measured("out_of_turn", set={"joins": joins} if joins else {}, legs=legs) == steps


def test_the_order_of_the_goals() -> None:
    usual = [goal.id for goal in GOALS]
    assert usual == [
        "unplaced", "broken_must", "broken_prefer", "legs", "crossings", "leg_length_mm", "out_of_turn",
    ]  # fmt: skip
    assert [goal.id for goal in order()] == usual
    assert order(MOVABLE) == GOALS
    other = [goal.id for goal in order(["leg_length_mm", "legs", "crossings"])]
    assert other == ["unplaced", "broken_must", "broken_prefer", "leg_length_mm", "legs", "crossings", "out_of_turn"]
    assert [goal.id for goal in order(other)] == other


@pytest.mark.parametrize(
    "names",
    [
        [],
        ["legs"],
        ["legs", "legs", "crossings"],
        ["legs", "crossings", "out_of_turn"],
        ["legs", "crossings", "length"],
        ["unplaced", "broken_must", "legs", "broken_prefer", "crossings", "leg_length_mm", "out_of_turn"],
        ["unplaced", "broken_must", "broken_prefer", "legs", "crossings", "out_of_turn", "leg_length_mm"],
        ["unplaced", "broken_must", "broken_prefer", "legs", "legs", "leg_length_mm", "out_of_turn"],
    ],
)
def test_other_orders_are_refused(names: list[str]) -> None:
    with pytest.raises(ValueError, match="allowed: legs, crossings, leg_length_mm"):
        order(names)


def test_an_empty_box_measures_what_it_leaves_out() -> None:
    job = job_of(worked_example())
    laid = Laid(job, assignment_of(job, {}, {}))
    assert list(measure_all(laid).values()) == [48, 0, 0, 0, 0, 0, 0]
