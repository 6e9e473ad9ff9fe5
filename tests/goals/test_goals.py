"""The eight goals, measured by hand on the worked example and what is changed in it."""

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
    # spec, section 11: cuts of 2600 + 2650 + 2750 + 2750; P/2 does not lie on the right
    assert list(measure_all(lay({})).values()) == [0, 0, 1, 4, 2, 0, 10750, 1]


def test_the_worked_example_with_q_divided_at_the_port() -> None:
    # where Q can be divided there alone nothing else changes; where it may be divided at the tray, breakout is broken too
    alone = {"set": {"trunks.1.divide_at": ["port"]}}
    assert list(measure_all(lay(alone)).values()) == [0, 0, 1, 4, 2, 0, 10750, 1]
    assert list(measure_all(lay({"divide_at": {"Q": "port"}})).values()) == [0, 0, 2, 4, 2, 0, 10750, 1]


def test_bench_at_its_default() -> None:
    # both trunks travel the other way, broken_prefer 3. P: 64 + 142 + 142 + 380 + 142 + 1328 + 159 + 2 + 300 = 2659 and 2670,
    # cut at 3023 and 3034, so 3050 both; Q: 64 + 142 + 142 + 380 + 1328 + 156 + 2 + 300 = 2514 and 2525, cut at 2878 and 2889
    ways = {"P": ["bl", "counterclockwise", 1], "Q": ["br", "clockwise", 1]}
    assert list(measure_all(lay({"set": {"rules": {}}, "ways": ways})).values()) == [0, 0, 3, 4, 2, 0, 11900, 1]


def test_two_loops() -> None:
    # spec, section 11: with loops [1, 2] P makes two: broken_prefer 1. P is cut at 2230 + 1328 + 120 + 366 = 4044, so 4050, and
    # at 4055, so 4100; 4050 + 4100 + 2750 + 2750
    ways = {"P": ["bl", "clockwise", 2], "Q": ["br", "counterclockwise", 1]}
    change = {"rules": {}, "trunks.0.loops": [1, 2], "trunks.1.loops": [1, 2]}
    assert list(measure_all(lay({"set": change, "ways": ways})).values()) == [0, 0, 1, 4, 2, 0, 13650, 1]


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
    # Q/1.2 has no splice and is parked
    half = {"joins.0": {"a": "P:1-24", "b": "Q:1-24"}}
    assert measured("legs", set=half, legs={"P:1-24": "left/1", "Q:1-24": "left/1", "Q:25-48": "left/2"}) == 3


@pytest.mark.parametrize(
    ("legs", "trays"),
    [
        (LEGS, 2),
        ({"P:1-24": "left/1", "P:25-48": "left/1", "Q:1-48": "left/1"}, 1),
        ({"P:1-24": "left/1", "P:25-48": "right/2", "Q:1-24": "left/1", "Q:25-48": "right/2"}, 2),
        # a parked leg alone uses a tray
        ({"P:1-24": "left/1", "Q:1-24": "left/1", "Q:25-48": "left/2"}, 2),
    ],
)
def test_trays(legs: dict[str, str], trays: int) -> None:
    assert measured("trays", legs=legs) == trays


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
    legs = {f"Q:{24 * i + 1}-{24 * i + 24}": place for i, place in enumerate(places)}
    at_port = {"set": FOUR, "legs": legs, "divide_at": {"Q": "port"}}
    laid = lay(at_port)
    assert [laid.lows[item.leg] for item in laid.legs["Q"]] == lows
    assert measured("crossings", **at_port) == crossings
    assert len(crossing_pairs(laid)) == crossings


@pytest.mark.parametrize(
    ("places", "pairs"),
    [
        (["left/1", "left/2", "left/3", "left/4"], []),
        # Q/2 from left/1, Q/1 from left/3: four pairs of legs, one pair of tubes
        (["left/3", "left/4", "left/1", "left/2"], [("Q/1", "Q/2")]),
        # lows 1 and 2 of a torn tube against 1 and 1: some leg of Q/1 turns off further out than one of Q/2
        (["left/1", "right/2", "right/1", "right/2"], [("Q/1", "Q/2")]),
        # legs of one tube do not cross each other
        (["left/2", "left/1", "left/2", "left/2"], []),
    ],
)
def test_tubes_that_are_opened_at_trays_are_one_traveller_each(places: list[str], pairs: list[tuple[str, str]]) -> None:
    legs = {f"Q:{24 * i + 1}-{24 * i + 24}": place for i, place in enumerate(places)}
    laid = lay({"set": FOUR, "legs": legs})
    assert crossing_pairs(laid) == pairs
    assert measured("crossings", set=FOUR, legs=legs) == len(pairs)


def test_travellers_of_a_trunk_that_is_divided_at_the_port() -> None:
    # Q/1 is whole in its own tube in left/3; Q/2.1 and Q/2.2 go in tubes of the set to left/1 and left/2
    legs = {"Q:1-48": "left/3", "Q:49-72": "left/1", "Q:73-96": "right/2"}
    laid = lay({"set": FOUR, "legs": legs, "divide_at": {"Q": "port"}})
    assert crossing_pairs(laid) == [("Q/1", "Q/2.1"), ("Q/1", "Q/2.2")]
    assert [strand.name for strand in laid.strands("Q")] == ["Q/1", "Q/2.1", "Q/2.2"]


def test_without_tubes_a_whole_subunit_is_a_traveller_of_its_name() -> None:
    change = FOUR | {"trunks.1.cable.tubes": False, "trunks.1.divide_at": ["port"]}
    laid = lay({"set": change, "legs": {"Q:1-48": "left/2", "Q:49-96": "left/1"}})
    assert crossing_pairs(laid) == [("Q/1", "Q/2")]


def test_a_parked_leg_travels_in_its_tube() -> None:
    # only fibres 25-48 of Q/1 and 49-72 of Q/2 are spliced. Q/1.1 is parked in left/2, Q/1.2 lies in left/3: the low of Q/1 is 2
    change = FOUR | {"joins.0": {"a": "P:1-48", "b": "Q:25-72"}}
    legs = {"Q:1-24": "left/2", "Q:25-48": "left/3", "Q:49-72": "left/1", "Q:73-96": "left/1"}
    assert crossing_pairs(lay({"set": change, "legs": legs})) == [("Q/1", "Q/2")]
    # with Q/2 in left/2 the parked leg alone keeps them from crossing: the low of Q/1.2 is that of the leg before it
    legs |= {"Q:49-72": "left/2", "Q:73-96": "left/2"}
    assert crossing_pairs(lay({"set": change, "legs": legs})) == []


def test_crossings_are_of_one_trunk() -> None:
    # P/1 in left/2 and Q/1.1 in left/1 are legs of two trunks
    assert measured("crossings", legs={"P:1-24": "left/2", "Q:25-48": "left/1"}) == 0


def test_leg_length() -> None:
    # each leg as it is cut: 2600 + 2650 + 2750 + 2750 (spec, section 11)
    assert measured("leg_length_mm") == 10750
    # right, clockwise: 64 + 380 + 142 + 1328 + 159 + 2 + 300 = 2375, and 120 + 244: 2739
    assert measured("leg_length_mm", legs={"P:1-24": "right/1"}) == 2750
    # the jacket ends 150 mm outside: 2594 + 150 = 2744 and 2755
    assert measured("leg_length_mm", set={"trunks.0.transition_mm": 150}) == 2750 + 2800 + 2750 + 2750
    # allowance, and what is kept to splice again, as the job has them: 2230, 2241, 2375, 2386
    rules = {"exposed": {"level": "off", "allowance_mm": 0, "resplice_mm": 0}}
    assert measured("leg_length_mm", set={"rules": rules}) == 2250 + 2250 + 2400 + 2400


def test_leg_length_counts_what_is_parked() -> None:
    half = {"joins.0": {"a": "P:1-24", "b": "Q:1-24"}}
    legs = {"P:1-24": "left/1", "Q:1-24": "left/1", "Q:25-48": "left/2"}
    assert measured("leg_length_mm", set=half, legs=legs) == 2600 + 2750 + 2750


@pytest.mark.parametrize(
    ("places", "steps"),
    [
        # P leads: left, right, left, right; as high as each other
        (["left/1", "right/1", "left/2", "right/2"], 0),
        # right first is as good
        (["right/1", "left/1", "right/2", "left/2"], 0),
        # left to left, right to right: two steps; two places each
        (["left/1", "left/2", "right/1", "right/2"], 2),
        # three steps; one stack alone is even with itself
        (["left/1", "left/2", "left/3", "left/4"], 3),
        # in turn, but the left has three places in use and the right one: left/1, left/2, left/3 by what Q has there
        (["left/1", "right/1", "left/2", "right/1"], 1),
        # one subunit, no step
        (["right/3"], 0),
    ],
)
def test_irregular(places: list[str], steps: int) -> None:
    legs = {f"P:{24 * i + 1}-{24 * i + 24}": place for i, place in enumerate(places)}
    assert measured("irregular", set=FOUR, legs=legs) == steps


def test_a_subunit_without_a_tray_is_passed_over() -> None:
    # P/1 left, P/2 outside, P/3 right, P/4 left: no step; left has two places in use, right one
    legs = {"P:1-24": "left/1", "P:49-72": "right/1", "P:73-96": "left/2"}
    assert measured("irregular", set=FOUR, legs=legs) == 1


def test_a_parked_leg_does_not_begin_a_subunit() -> None:
    # divided at the port: of P/1 the first placed leg with a splice lies on the left; of P/2 on the right
    legs = {"P:1-12": "left/1", "P:13-24": "right/1", "P:25-48": "right/1"}
    assert measured("irregular", legs=legs, divide_at={"P": "port"}) == 0
    # at the tray the first leg of P/2 is parked; the walk is from left to left, as its spliced leg lies
    change = {"joins": [{"a": "P:1-24", "b": "Q:1-24"}, {"a": "P:37-48", "b": "Q:25-36"}]}
    legs = {"P:1-24": "left/1", "P:25-36": "left/1", "P:37-48": "left/2"}
    assert measured("irregular", set=change, legs=legs) == 1


def test_each_lead_trunk_walks_by_itself_and_no_other_does() -> None:
    # Q leads: Q/1 left, Q/2 left is one step; P does not lead, its two subunits on the left are none
    change = FOUR | {"joins.0": {"a": "Q:1-96", "b": "P:1-96"}}
    legs = {"P:1-24": "left/1", "P:25-48": "left/2", "Q:1-48": "left/1", "Q:49-96": "left/2"}
    assert measured("irregular", set=change, legs=legs) == 1


def test_a_single_stack_follows_itself() -> None:
    data = worked_example()
    change = FOUR | {"enclosure.stacks": [data["enclosure"]["stacks"][0] | {"positions": 4}]}
    del change["enclosure.stacks.0.positions"], change["enclosure.stacks.1.positions"]
    legs = {"P:1-24": "left/1", "P:25-48": "left/2", "P:49-72": "left/3"}
    assert measured("irregular", set=change, legs=legs) == 0


def test_places_that_parked_legs_use_count_for_the_height() -> None:
    # left/1 and left/2 by Q/1, of which the second leg is parked, right/1 by P/2 and Q/2
    change = FOUR | {"joins": [{"a": "P:1-24", "b": "Q:1-24"}, {"a": "P:25-48", "b": "Q:49-72"}]}
    legs = {
        "P:1-24": "left/1", "Q:1-24": "left/1", "Q:25-48": "left/2", "P:25-48": "right/1", "Q:49-96": "right/1",
    }  # fmt: skip
    assert measured("irregular", set=change, legs=legs) == 1


def test_the_order_of_the_goals() -> None:
    usual = [goal.id for goal in GOALS]
    assert usual == [
        "unplaced", "broken_must", "broken_prefer", "legs", "trays", "crossings", "leg_length_mm", "irregular",
    ]  # fmt: skip
    assert [goal.id for goal in order()] == usual
    assert order(MOVABLE) == GOALS
    other = [goal.id for goal in order(["leg_length_mm", "trays", "legs", "crossings"])]
    assert other == [
        "unplaced", "broken_must", "broken_prefer", "leg_length_mm", "trays", "legs", "crossings", "irregular",
    ]  # fmt: skip
    assert [goal.id for goal in order(other)] == other


@pytest.mark.parametrize(
    ("names", "moved"),
    [
        # those that are left out stand behind, in their usual order
        (["crossings"], ["crossings", "legs", "trays", "leg_length_mm"]),
        (["leg_length_mm", "legs"], ["leg_length_mm", "legs", "trays", "crossings"]),
        (["legs", "crossings", "leg_length_mm"], ["legs", "crossings", "leg_length_mm", "trays"]),
    ],
)
def test_a_list_may_leave_goals_out(names: list[str], moved: list[str]) -> None:
    assert [goal.id for goal in order(names)][3:7] == moved


@pytest.mark.parametrize(
    "names",
    [
        [],
        ["legs", "legs", "crossings"],
        ["legs", "crossings", "irregular"],
        ["legs", "crossings", "length"],
        ["out_of_turn"],
        ["broken_must", "unplaced", "broken_prefer", "legs", "trays", "crossings", "leg_length_mm", "irregular"],
        ["unplaced", "broken_must", "legs", "broken_prefer", "trays", "crossings", "leg_length_mm", "irregular"],
        ["unplaced", "broken_must", "broken_prefer", "legs", "trays", "crossings", "irregular", "leg_length_mm"],
        ["unplaced", "broken_must", "broken_prefer", "legs", "legs", "trays", "leg_length_mm", "irregular"],
    ],
)
def test_other_orders_are_refused(names: list[str]) -> None:
    with pytest.raises(ValueError, match="allowed: legs, trays, crossings, leg_length_mm, or some of them"):
        order(names)


def test_an_empty_box_measures_what_it_leaves_out() -> None:
    job = job_of(worked_example())
    laid = Laid(job, assignment_of(job, {}, {}))
    assert list(measure_all(laid).values()) == [48, 0, 0, 0, 0, 0, 0, 0]


@pytest.mark.parametrize(
    ("names", "said"),
    [((), "none"), (("legs", "legs"), "legs, legs"), (("legs", "unplaced"), "legs, unplaced")],
    ids=["nothing", "a goal twice", "a goal that stays"],
)
def test_what_is_no_order_is_said_with_what_is_allowed(names: tuple[str, ...], said: str) -> None:
    with pytest.raises(ValueError, match="goals cannot be ordered") as raised:
        order(names)
    assert str(raised.value) == (
        f"goals cannot be ordered as {said}; allowed: legs, trays, crossings, leg_length_mm, or some of them, in any order"
    )
