"""Ways out of planted conflicts: the smallest thing that is known to help is among them, and each was proven."""

from __future__ import annotations

import copy
from functools import partial
from typing import Any, get_args

import pytest

from tests import oracle
from tests.build import job_of
from tests.explainer.helped import HELPED, bigger_trays, soft_tubes, stiff_tubes
from tests.explainer.planted import PLANTED, box, cable, job, many, one_port, pair, pin, three, trunk
from tests.strategies import worked_example
from trayopt import load_job
from trayopt.api import library_survey, solve
from trayopt.checker import assignment_of
from trayopt.domain.base import remade
from trayopt.domain.explanation import Addition, Explanation, WayOut
from trayopt.domain.hardware import Tray, TubeSet
from trayopt.explainer.adding import KINDS, TWO_BOXES
from trayopt.explainer.amounts import growing, least
from trayopt.explainer.costs import Costs
from trayopt.explainer.edits import edit_text
from trayopt.explainer.giving_up import without
from trayopt.explainer.proof import Prover, keeps_all
from trayopt.explainer.way_words import GIVING_UP, UNSEEN, phrase
from trayopt.explainer.why_not import Wishes, trials_of, why_not
from trayopt.rules.base import Help
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question

Json = dict[str, Any]

pytestmark = pytest.mark.usefixtures("example_rule")


def explained(made: Json, **wishes: Any) -> Explanation:
    return why_not(trials_of(job_of(made), Clock()), Wishes(conflicts=2, **wishes))


def added(way: WayOut) -> list[tuple[str, str, object]]:
    return [(item.what, item.subject, item.amount) for item in way.add]


@pytest.mark.parametrize(("made", "expected"), [case[1:] for case in HELPED], ids=[case[0] for case in HELPED])
def test_the_least_that_helps_is_among_the_ways_out(made: Json, expected: list[tuple[str, str, object]]) -> None:
    assert expected in [added(way) for way in explained(made).ways_out]


def test_a_tray_of_the_next_size_is_taken_from_the_library() -> None:
    ways = explained(pair(enclosure=box(positions=1, fibres=23)), shelf=bigger_trays(24)).ways_out
    assert [("tray", "left", "tray-24")] in [added(way) for way in ways]
    assert "tray: tray-24  # now tray-24" in " ".join(way.edit for way in ways)


def test_another_tube_set_is_taken_from_the_library() -> None:
    made = stiff_tubes()
    found = explained(made, shelf=soft_tubes())
    assert [sorted(item.rule for item in one.groups) for one in found.conflicts] == [["bend_radius", "pin"]]
    assert [("tubes", "job", "soft")] in [added(way) for way in found.ways_out]


@pytest.mark.parametrize(
    "planted",
    [
        pytest.param(planted, id=planted.name, marks=[pytest.mark.slow] * (i % 2 == 0))
        for i, planted in enumerate(PLANTED)
    ],
)
def test_giving_up_any_group_of_the_only_conflict_leads_out(planted: Any) -> None:
    made = job_of(planted.job())
    trials = trials_of(made, Clock())
    found = why_not(trials_of(made, Clock()), Wishes(ways_out=20))
    given = {tuple(str(f"{item.rule} {item.subject}") for item in way.give_up) for way in found.ways_out if way.give_up}
    assert given == {(group,) for group in planted.groups}
    for group in trials.question.groups:
        if str(group) in planted.groups:
            assert Prover(polish=0).possible(without(made, group)) is True
            assert edit_text(made, without(made, group)) in {way.edit for way in found.ways_out}
    for way in found.ways_out:
        assert [goal.value for goal in way.goals[:2]] == [0, 0]


def test_the_oracle_agrees_that_a_pin_taken_out_leads_out() -> None:
    made = pair(enclosure=box(stacks=2, positions=1), pins=[pin("P:1-12", "left", 1), pin("Q:1-12", "right", 1)])
    way = explained(made).ways_out[0]
    assert way.edit == 'pins:\n  # - {leg: "P:1-12", stack: left, position: 1}  # take out'
    best = oracle.solve(made | {"pins": made["pins"][1:]})
    assert best is not None
    assert [goal.value for goal in way.goals] == list(best.goals)


def test_ways_out_come_by_cost_and_costs_can_be_given() -> None:
    made = pair(pins=[pin("P:1-24", "left", 2)])
    assert [way.give_up[0].rule for way in explained(made).ways_out] == ["pin", "no_empty_below"]
    dear = explained(made, costs=Costs(pin=100))
    assert [way.give_up[0].rule for way in dear.ways_out] == ["no_empty_below", "pin"]


@pytest.mark.parametrize(("depth_mm", "offered"), [(60, False), (65, False), (66, True), (100, True)])
def test_trays_are_offered_only_as_far_as_the_box_is_deep(depth_mm: int, offered: bool) -> None:
    # Five trays from 12 mm up, 11 mm apart and 10 mm high, end at 12 + 4 × 11 + 10 = 66 mm (hand-worked).
    enclosure = box(positions=4, fibres=24) | {"size_mm": [400, 500, depth_mm]}
    made = job(
        [trunk("P", cable("c", 10, 1)), trunk("Q", cable("d", 10, 1))], [("P:1-120", "Q:1-120")], enclosure=enclosure
    )
    ways = [added(way) for way in explained(made).ways_out]
    assert ([("trays", "left", 1)] in ways) is offered
    assert any(what == "trays" for way in ways for what, _, _ in way) is offered


@pytest.mark.parametrize(("units", "alone", "each"), [(5, 1, None), (10, 3, 2)])
def test_all_stacks_are_made_deeper_only_where_each_then_needs_fewer_trays(
    units: int, alone: int, each: int | None
) -> None:
    # Two trays of 24 are there; units of 12 fibres need 60 / 24 or 120 / 24 trays, rounded up to 3 or 5 (hand-worked).
    made = job(
        [trunk("P", cable("c", units, 1)), trunk("Q", cable("d", units, 1))],
        [(f"P:1-{12 * units}", f"Q:1-{12 * units}")],
        enclosure=box(stacks=2, positions=1, fibres=24),
    )
    found = explained(made, shelf=bigger_trays(60), ways_out=20).ways_out
    ways = [added(way) for way in found]
    assert [("trays", "left", alone)] in ways
    assert [way for way in ways if len(way) > 1 and way[0][0] == "trays"] == (
        [] if each is None else [[("trays", "left", each), ("trays", "right", each)]]
    )
    one = {way[0][2] for way in ways if len(way) == 1 and way[0][0] == "tray"}
    assert not any(way[0][0] == "tray" and way[0][2] in one for way in ways if len(way) > 1)


@pytest.mark.parametrize(("bore_mm", "offered"), [(23.9, False), (24, True)])
def test_no_seal_is_offered_for_more_than_the_bore_takes(bore_mm: float, offered: bool) -> None:
    enclosure = one_port(seals=many(1))
    enclosure["ports"][0]["bore_mm"] = bore_mm
    enclosure["ports"][0]["seals"][0]["most_mm"] = 20
    ways = [added(way) for way in explained(pair(enclosure=enclosure)).ways_out]
    assert ([("seal_holes", "bl", 2)] in ways) is offered
    assert any(what == "seal_holes" for way in ways for what, _, _ in way) is offered


def test_edits_say_what_stands_there_now() -> None:
    before = job_of(three())
    after = without(job_of(three(rules={"opposite_travel": "must"})), Question(before).groups[0])
    assert edit_text(before, before) == ""
    assert "\n  opposite_travel: must  # now prefer" in edit_text(before, after)


def test_a_window_is_said_with_its_length_in_a_plan() -> None:
    """What is built leaves no way with a window of less than 8,700 mm; with the ends laid otherwise 7,800 mm would do."""
    second = load_job("models/standard/288-through-second-branch-wall-2x6.yaml")
    short = remade(second, through=tuple(remade(item, slack_mm=8000) for item in second.through))
    found = why_not(trials_of(short, Clock()), Wishes(ways_out=0))
    because = found.conflicts[0].groups[0].because
    assert "is 8,700 mm or more; 8,000 mm of its cable can be drawn in; in a plan without it, the window" in because
    assert "M1 is 8,700 mm; what is uncut makes 4 loops" in because


def test_apart_is_given_up_pair_by_pair() -> None:
    made = three()
    for i, name in enumerate(("a", "b", "c")):
        made["joins"][i]["name"] = name
    made["apart"] = [{"joins": ["a", "b", "c"], "scope": "tray"}]
    loaded = job_of(made)
    group = next(group for group in Question(loaded).groups if group == ("apart", "a+c"))
    left = without(loaded, group)
    assert [pair for entry in left.apart for pair in entry.pairs] == [("a", "b"), ("b", "c")]


def test_amounts_are_the_least() -> None:
    assert least(0, 100, lambda n: n >= 37) == 37
    assert least(0, 100, lambda n: n >= 101) is None
    assert least(0, 0, lambda _: True) is None
    assert [growing(partial(int.__le__, k), 20) for k in (1, 2, 5, 20, 21)] == [1, 2, 5, 20, None]


def test_a_plan_of_another_job_is_no_proof_where_it_does_not_fit() -> None:
    made = pair()
    plan = Prover(polish=0).assignment(job_of(made))
    assert plan is not None
    assert keeps_all(job_of(made), plan)
    smaller = copy.deepcopy(made)
    smaller["enclosure"]["stacks"][0]["id"] = "other"
    assert not keeps_all(job_of(smaller), plan)
    assert not keeps_all(job_of(pair(pins=[pin("P:1-12", "left", 2)])), plan)


def test_the_shelf_of_the_library_has_trays_and_tubes() -> None:
    models = [entry.model for entry in library_survey().entries]
    assert any(isinstance(model, Tray) for model in models)
    assert any(isinstance(model, TubeSet) for model in models)


def test_every_word_by_which_rules_name_a_way_out_has_its_kind() -> None:
    assert set(KINDS) == set(get_args(Help))


@pytest.mark.parametrize(
    ("what", "amount", "words"),
    [
        ("loops", 1, "let N1 make 1 loop"),
        ("loops", 2, "let N1 make 2 loops"),
        ("trays", 1, "put 1 more tray on N1"),
        ("trays", 2, "put 2 more trays on N1"),
        ("seal_holes", 1, "give N1 another seal, for 1 cable"),
    ],
)
def test_singular_and_plural(what: str, amount: int, words: str) -> None:
    assert phrase(WayOut(add=(Addition(what=what, subject="N1", amount=amount),), edit="", goals=(), cost=1)) == words


def test_a_plan_of_a_box_with_other_ends_is_no_plan_of_this_one() -> None:
    """A box that is tried as a way out may have the same stacks and ports, and other ends."""
    data = worked_example()
    made = job_of(data)
    plan = solve(made, workers=1)
    best = assignment_of(made, plan.plan)[0]
    assert keeps_all(made, best)
    for stack in data["enclosure"]["stacks"]:
        stack["ends"][0]["id"] = "bottom"
    assert not keeps_all(job_of(data), best)


def test_every_kind_of_way_out_has_a_name_for_answers_that_did_not_look_at_it() -> None:
    """A kind without a name would end an answer whose time is over with a fault."""
    kinds = {*KINDS, TWO_BOXES, GIVING_UP}
    assert sorted(kinds - UNSEEN.keys()) == []
    assert sorted(UNSEEN.keys() - kinds) == []
