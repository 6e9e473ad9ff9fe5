"""Blocks at places against brute force: bounds are never above the best plan, and where they are as good the plan is found."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest

from tests import oracle, strategies
from tests.build import job_of
from tests.solver.tiny import best_plan
from trayopt.api import solve
from trayopt.domain.cablework import Leg
from trayopt.domain.plan import GoalName
from trayopt.goals.registry import order
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.rings import chained
from trayopt.solver.bounds.segments import Segments
from trayopt.solver.bounds.settled_segments import SettledSegments
from trayopt.solver.heuristics.completion import RelaxedModel
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.posting import Policy, build

GOALS: tuple[GoalName, ...] = tuple(goal.id for goal in order(None))
STRICT = Policy("hard", "soft")


def blocks_of(plain: dict[str, Any], *, all_placed: bool) -> Segments:
    """Make the blocks of a job with every division that may be of use."""
    divider = Divider(job_of(plain))
    divisions = divider.open if all_placed else divider.possible
    policy = STRICT if all_placed else Policy()
    return Segments(divider, divisions, policy, all_placed=all_placed, clock=Clock())


def touched(best: oracle.Best) -> set[tuple[str, int]]:
    """Give the subunits with a placed leg."""
    return {(trunk, subunit) for (trunk, subunit, _), place in best.decision.legs.items() if place}


@pytest.mark.parametrize(("first", "knobs"), [(400, {}), (8000, {"at_port": 1.0, "stacks": 2})])
def test_bounds_of_whole_plans(first: int, knobs: dict[str, Any]) -> None:
    """Preferences, legs and divisions of every whole best plan are within the bounds, which are met nearly always."""
    met = Counter[str]()
    for seed in range(first, first + 60):
        plain, best = best_plan(seed, **knobs)
        unplaced, musts, prefers, legs, *_ = best.goals
        divider = Divider(job_of(plain))
        if divider.hopeless:
            continue
        blocks = blocks_of(plain, all_placed=True)
        layouts = RelaxedModel(blocks, Clock())
        answer = layouts.least(blocks.broken("prefer"))
        if unplaced or musts:
            met["denied"] += answer.bound is None
            continue
        assert answer.bound is not None, f"seed {seed}: a plan that is there is denied"
        assert answer.bound <= prefers, f"seed {seed}"
        kept = blocks.broken("prefer") <= prefers
        fewest = layouts.least(blocks.placed_legs(), kept)
        assert fewest.bound is not None, f"seed {seed}"
        assert fewest.bound <= legs, f"seed {seed}"
        left = layouts.divisions(divider.open, None, kept, blocks.placed_legs() <= legs)
        for trunk, number in left:
            assert best.decision.k[trunk][number - 1] in left[trunk, number], f"seed {seed}"
        met["plans"] += 1
        met["both"] += (answer.bound, fewest.bound) == (prefers, legs)
    assert met["both"] > 0.9 * met["plans"] > 15
    assert met["denied"] > 5


SHUFFLED = {"at_port": 0.8, "tight": 0.6, "shape": "shuffled"}


@pytest.mark.parametrize(
    ("first", "number", "knobs"),
    [(460, 60, {}), (8060, 30, SHUFFLED), pytest.param(8090, 30, SHUFFLED, marks=pytest.mark.slow)],
)
def test_bounds_where_splices_may_stay_out(first: int, number: int, knobs: dict[str, Any]) -> None:
    """The first goals and the legs of every best plan are within the bounds, one after the other."""
    met = 0
    for seed in range(first, first + number):
        plain, best = best_plan(seed, **knobs)
        blocks = blocks_of(plain, all_placed=False)
        layouts = RelaxedModel(blocks, Clock())
        held: list[Any] = []
        goals = (blocks.unplaced(), blocks.broken("must"), blocks.broken("prefer"), blocks.placed_legs())
        for goal, value in zip(goals, best.goals, strict=False):
            bound = layouts.least(goal, *held).bound
            assert bound is not None, f"seed {seed}: a plan that is there is denied"
            assert bound <= value, f"seed {seed}"
            held.append(goal <= value)
            met += bound == value
        left = layouts.divisions(Divider(job_of(plain)).possible, None, *held)
        for trunk, number in touched(best):
            assert best.decision.k[trunk][number - 1] in left[trunk, number], f"seed {seed}"
    assert met > 0.85 * 4 * number


@pytest.mark.parametrize(
    ("first", "number", "knobs"),
    [
        (520, 50, {"at_port": 0.0}),
        pytest.param(570, 40, {"at_port": 0.0}, marks=pytest.mark.slow),
        (8120, 75, {"at_port": 0.0, "shape": "shuffled", "tight": 0.7}),
        pytest.param(8195, 55, {"at_port": 0.0, "shape": "shuffled", "tight": 0.7}, marks=pytest.mark.slow),
        pytest.param(50000, 270, {"at_port": 0.7, "shape": "shuffled", "stacks": 2}, marks=pytest.mark.slow),
    ],
)
def test_every_goal_can_be_said_of_settled_blocks(first: int, number: int, knobs: dict[str, Any]) -> None:
    """With the divisions of the best plan: every goal is bounded, most bounds are met."""
    met = Counter[str]()
    for seed in range(first, first + number):
        plain, best = best_plan(seed, **knobs)
        if not best.goals[3]:
            continue
        whole = best.goals[:2] == (0, 0)
        divider = Divider(job_of(plain))
        divisions = {
            (trunk, number): (best.decision.k[trunk][number - 1],) if (trunk, number) in touched(best) else open_[:1]
            for (trunk, number), open_ in (divider.open if whole else divider.possible).items()
        }
        policy = STRICT if whole else Policy()
        blocks = SettledSegments(divider, divisions, policy, all_placed=whole, clock=Clock())
        if not blocks.able:
            continue
        layouts = RelaxedModel(blocks, Clock())
        held: list[Any] = []
        for goal, value in zip(GOALS, best.goals, strict=True):
            bound = layouts.least(blocks.goal(goal), *held).bound
            assert bound is not None, f"seed {seed}: {goal} denies a plan that is there"
            assert bound <= value, f"seed {seed}: {goal}"
            held.append(blocks.goal(goal) <= value)
            met[goal] += bound == value
        met["jobs"] += 1
        met["crossings and more"] += best.goals[4] > 0
    assert met["jobs"] > min(15, number // 15)
    assert met["crossings and more"] > 0
    assert all(met[goal] > 0.8 * met["jobs"] for goal in GOALS)


def crossed_halves(fibres: int) -> dict[str, Any]:
    """Give two trunks of a subunit of 2 x 12 each, whose halves are spliced crosswise, both divided at the tray alone."""
    job = strategies.worked_example()
    cable = job["trunks"][1]["cable"]
    cable["subunits"][0]["ribbons"] = 2
    for trunk in job["trunks"]:
        trunk |= {"cable": cable, "divide_at": ["tray"]}
    for stack in job["enclosure"]["stacks"]:
        stack["tray"]["fibres"] = fibres
    job["joins"] = [{"a": "P:1-12", "b": "Q:13-24", "name": "0"}, {"a": "P:13-24", "b": "Q:1-12", "name": "1"}]
    return job


@pytest.mark.parametrize(("fibres", "unplaced"), [(24, 0), (12, 24)])
def test_a_ring_of_two_blocks_lies_in_one_tray_or_outside(fibres: int, unplaced: int) -> None:
    """Along P the second half lies no lower than the first, along Q the first no lower than the second; no half is left out."""
    blocks = blocks_of(crossed_halves(fibres), all_placed=False)
    assert blocks.units == [12, 12]
    assert RelaxedModel(blocks, Clock()).least(blocks.unplaced()).bound == unplaced


def test_a_block_is_cut_where_both_sides_have_an_edge() -> None:
    """P in legs of 12 against Q in legs of 24: a tray holds 24 of Q's first leg or none, so two blocks of 24 each."""
    plain = strategies.worked_example()
    plain["trunks"][0]["cable"]["subunits"][0]["count"] = 2
    job = job_of(plain)
    divider = Divider(job)
    divisions = {("P", 1): (2,), ("P", 2): (2,), ("Q", 1): (2,)}
    blocks = Segments(divider, divisions, STRICT, all_placed=True, clock=Clock())
    assert [block.fibres for block in blocks.blocks] == [24, 24]
    assert blocks.units == [24, 24]
    assert blocks.stretches.parts_of(Leg("Q", 1, 1, 2)) == {0: 24}
    assert blocks.stretches.parts_of(Leg("Q", 1, 1, 1)) == {0: 24, 1: 24}


def test_a_layout_is_worked_out_to_a_plan() -> None:
    """The worked example laid out by blocks, held in the whole model: its legs lie where the blocks do."""
    job = job_of(strategies.worked_example())
    divider = Divider(job)
    blocks = Segments(divider, divider.open, STRICT, all_placed=True, clock=Clock())
    layouts = RelaxedModel(blocks, Clock())
    answer = layouts.least(blocks.placed_legs(), blocks.broken("prefer") <= 1)
    assert (answer.bound, answer.value) == (4, 4)
    assert answer.layout is not None
    assert answer.layout.divisions == {("P", 1): (1,), ("P", 2): (1,), ("Q", 1): (2,)}
    assert sum(answer.layout.fibres.values()) == 48
    assert {trunk: tuple(at) for trunk, at in answer.layout.divide_at.items()} == {"P": ("tray",), "Q": ("tray",)}
    model = build(job, STRICT, all_placed=True, divisions=answer.layout.divisions)
    trial = layouts.hold(model, answer.layout)
    assert len(trial.proto.constraints) > len(model.cp.proto.constraints)


def shuffled_halves() -> dict[str, Any]:
    """Give eight halves in two rings of four, and trays of one half."""
    plain = strategies.worked_example()
    cable = plain["trunks"][0]["cable"]
    cable["subunits"][0] |= {"count": 4}
    for trunk in plain["trunks"]:
        trunk["cable"] = cable
    for stack in plain["enclosure"]["stacks"]:
        stack["positions"] = 4
        stack["tray"] |= {"fibres": 12, "sleeves": 1}
    order_of_halves = (1, 2, 3, 0, 5, 6, 7, 4)
    plain["joins"] = [
        {"a": f"P:{12 * i + 1}-{12 * i + 12}", "b": f"Q:{12 * j + 1}-{12 * j + 12}", "name": str(i)}
        for i, j in enumerate(order_of_halves)
    ]
    return plain


BEST_OF_HALVES = (0, 0, 6, 16, 8, 12, 43300, 2)
"""Goals of their best plan, by brute force."""


@pytest.mark.slow
def test_the_best_plan_of_shuffled_halves_is_that_of_brute_force() -> None:
    best = oracle.solve(shuffled_halves())
    assert best is not None
    assert tuple(best.goals) == BEST_OF_HALVES


def test_shuffled_halves_at_the_tray_are_proven() -> None:
    """What stays out is proven, and so is all that comes after."""
    found = solve(job_of(shuffled_halves()), explain=False, workers=1)
    assert found.plan.status == "optimal"
    assert tuple(goal.value for goal in found.plan.goals) == BEST_OF_HALVES


def test_blocks_chain_subunits_where_both_sides_have_others() -> None:
    """P's subunits have a block each with Q, so nothing is chained; crossed halves join two subunits by two blocks."""
    assert not chained(job_of(strategies.worked_example()))
    assert chained(job_of(crossed_halves(24)))
