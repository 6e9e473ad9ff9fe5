"""Legs of stretches that are followed to their places, and legs that are counted there, against the whole model."""

from __future__ import annotations

import random
from collections import Counter
from typing import Any

import pytest

from tests.solver.test_segments import best_of, blocks_of, cable, first_goals, idle_job, job_with, layouts_of, least
from trayopt.domain.assignment import Assignment
from trayopt.domain.base import remade
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.pins import LegPin
from trayopt.domain.ranges import Run
from trayopt.goals.registry import measure_all
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.segments import Segments
from trayopt.solver.model.base import Divisions
from trayopt.track.laid import Laid


def narrow(job: Job, legs: int) -> Job:
    """Give a job in whose trays so many legs fit through an entrance."""
    stacks = tuple(
        remade(stack, tray=remade(stack.tray, entrance_legs=legs)) for stack in job.enclosure.stacks if stack.tray
    )
    assert len(stacks) == len(job.enclosure.stacks)
    return remade(job, enclosure=remade(job.enclosure, stacks=stacks))


def pinned(job: Job, plan: Assignment, rng: random.Random) -> Job:
    """Pin a leg of a plan to some place of the box."""
    leg = rng.choice(sorted(plan.places, key=str))
    place = rng.choice(job.enclosure.places)
    pin = LegPin(leg=Run(leg.trunk, *job.subunit(leg).leg_run(leg)), stack=place.stack, position=place.position)
    return remade(job, pins=(pin,))


def crowded(blocks: Segments) -> tuple[Divisions, dict[tuple[int, Place], int]]:
    """Give a layout with all fibres of each subunit in one tray, in as many legs as can be."""
    place = blocks.job.enclosure.places[0]
    fibres = {(i, place): stretch.fibres for i, stretch in enumerate(blocks.blocks)}
    return {key: open_[-1:] for key, open_ in blocks.open.items()}, fibres


@pytest.mark.parametrize("first", [300, 320])
def test_pins_and_narrow_entrances_deny_no_plan(first: int) -> None:
    """No bound is above the best plan where a leg is pinned, before legs are counted and after."""
    seen: Counter[str] = Counter()
    for seed in range(first, first + 20):
        rng = random.Random(seed)
        job = narrow(idle_job(seed), rng.choice([1, 2, 2, 3]))
        plan = best_of(job)
        if plan.places and rng.random() < 0.7:
            job = pinned(job, plan, rng)
            plan = best_of(job)
        values = measure_all(Laid(job, plan))
        whole = not values["unplaced"] and not values["broken_must"]
        layouts = layouts_of(Divider(job), whole=whole)
        blocks = layouts.blocks
        for counted in (False, True):
            if counted and not blocks.crowds(*crowded(blocks)):
                continue
            if counted:
                blocks.count_legs()
            held: list[Any] = []
            for goal, expression in first_goals(blocks).items():
                value = values[goal]  # type: ignore[index]
                bound = least(layouts, expression, *held)
                assert bound is not None, f"seed {seed}: {goal} denies a plan that is there"
                assert bound <= value, f"seed {seed}: {goal}"
                held.append(expression <= value)
                seen["met"] += bound == value
                seen["bounds"] += 1
            seen["counted"] += counted
            seen["whole"] += whole
            seen["pinned"] += bool(job.pins)
    assert seen["met"] > 0.9 * seen["bounds"]
    assert min(seen["counted"], seen["whole"], seen["pinned"]) > 3


@pytest.mark.parametrize("seed", [17, 254, 297])
def test_a_leg_lies_in_one_place_with_what_is_parked_in_it(seed: int) -> None:
    """Where a subunit may be parted, too, splices and parked fibres of a leg lie together: bounds are then those of the plan."""
    job = idle_job(seed)
    values = measure_all(Laid(job, best_of(job)))
    assert not values["unplaced"] + values["broken_must"]
    layouts = blocks_of(job)
    weight = least(layouts, layouts.blocks.broken("prefer"))
    assert weight == values["broken_prefer"]
    assert least(layouts, layouts.blocks.placed_legs(), layouts.blocks.broken("prefer") <= weight) == values["legs"]


@pytest.mark.parametrize("seed", [1, 8, 178])
def test_parked_fibres_of_a_leg_leave_no_room(seed: int) -> None:
    """What shares a leg with splices has to lie with them: no layout is complete, and neither is a plan."""
    job = idle_job(seed)
    values = measure_all(Laid(job, best_of(job)))
    assert values["unplaced"] + values["broken_must"] > 0
    layouts = blocks_of(job)
    assert least(layouts, layouts.blocks.broken("prefer")) is None


@pytest.mark.parametrize(("position", "there"), [(1, True), (2, False)])
def test_legs_of_an_opened_tube_follow_a_pinned_one(position: int, there: bool) -> None:
    """The first of two legs lies at the outer place of a stack: the second, which fills a tray as well, has none."""
    two = cable("two", [(1, 2)])
    job = job_with({"P": two, "Q": two}, [("P:1-24", "Q:1-24")], positions=2, fibres=12, divide_at={"P": ["tray"]})
    job = remade(job, pins=(LegPin(leg=Run("P", 1, 12), stack="left", position=position),))
    layouts = blocks_of(job)
    assert (least(layouts, layouts.blocks.broken("prefer")) is not None) == there
    assert (measure_all(Laid(job, best_of(job)))["broken_must"] == 0) == there


@pytest.mark.parametrize(("entrance", "there"), [(3, True), (1, False)])
def test_legs_are_counted_at_the_entrances_of_trays(entrance: int, there: bool) -> None:
    """Three tubes of Q lead to two trays, one in each stack: at least two of them enter one tray the same way."""
    job = job_with(
        {"P": cable("one", [(1, 3)]), "Q": cable("three", [(3, 1)])},
        [("P:1-36", "Q:1-36")],
        positions=1,
        fibres=36,
        divide_at={"P": ["port"]},
    )
    job = narrow(job, entrance)
    layouts = blocks_of(job)
    weight = layouts.blocks.broken("prefer")
    before = layouts.least(weight)
    assert before.layout is not None, "entrances are not asked for yet"
    assert layouts.crowded(before.layout) != there
    if not there:
        assert layouts.follow_more(before.layout), "legs are counted where that denies the layout"
    assert (least(layouts, weight) is not None) == there
    values = measure_all(Laid(job, best_of(job)))
    assert (values["unplaced"] + values["broken_must"] == 0) == there
