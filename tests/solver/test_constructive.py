"""The plan of habit: finer legs where trays would stay part empty, and what is built beside what is new."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import pytest

from tests.solver.test_segments import cable, job_with
from trayopt import load_job
from trayopt.domain.assignment import Assignment
from trayopt.domain.base import remade
from trayopt.domain.job import Job
from trayopt.domain.pins import LegPin, TrunkPin
from trayopt.domain.ranges import Run
from trayopt.explainer.growth import Addition, grown
from trayopt.goals.registry import measure_all
from trayopt.solver.heuristics.constructive import complete_plans, first_plans
from trayopt.solver.heuristics.laying import keeps_facts
from trayopt.track.laid import Laid


def with_built(job: Job, plan: Assignment, trunks: Collection[str]) -> Job:
    """Give a job in which some trunks are built as in a plan."""
    pins: list[LegPin | TrunkPin] = [
        LegPin(
            leg=Run(leg.trunk, *job.subunit(leg).leg_run(leg)),
            stack=at.stack,
            position=at.position,
            built=True,
        )
        for leg, at in plan.places.items()
        if leg.trunk in trunks
    ]
    pins += [
        TrunkPin(
            trunk=name, port=way.port, travel=way.travel, loops=way.loops, divide_at=plan.divide_at[name], built=True
        )
        for name, way in plan.ways.items()
        if name in trunks
    ]
    return remade(job, pins=tuple(pins))


@pytest.mark.parametrize("where", ["tray", "port"])
def test_finer_legs_fill_trays_that_the_coarsest_leave_part_empty(where: str) -> None:
    """Six trays of 36 hold a leg of 24 each, so six of eight; of legs of 12 they hold three each, 18 for 16."""
    job = job_with(
        {"P": cable("p", [(4, 4)]), "Q": cable("q", [(4, 4)])},
        [("P:1-192", "Q:1-192")],
        fibres=36,
        divide_at={name: [where] for name in "PQ"},
        guide_fill="off",
    )
    plan = next(first_plans(job))
    assert {leg.of for leg in plan.places} == {4}
    assert measure_all(Laid(job, plan))["unplaced"] == 0
    assert keeps_facts(job, plan)


def test_finer_legs_are_not_tried_if_the_coarsest_fit() -> None:
    job = job_with({"P": cable("p", [(3, 4)]), "Q": cable("q", [(3, 4)])}, [("P:1-144", "Q:1-144")], fibres=36)
    assert {leg.of for leg in next(first_plans(job)).places} == {2}


@pytest.mark.parametrize("built", [("N1", "S1"), ("new1", "new2")])
def test_a_box_that_is_half_built_and_would_be_full_is_found_by_habit(built: tuple[str, str]) -> None:
    """Subunits of 144 in trays of 96: thirds fill every tray; one pair is built, by the first ports, the other beside it."""
    half = load_job("models/standard/2x3456-cabinet-3x24.yaml")
    full = grown(half, Addition(half.trunks[0].cable), 1)
    plan = next(complete_plans(full))
    names = dict(zip(("N1", "S1"), built, strict=True))
    places = {leg._replace(trunk=names[leg.trunk]): at for leg, at in plan.places.items() if leg.trunk in names}
    ways = {**plan.ways, **{new: plan.ways[old] for old, new in names.items()}}
    found = next(complete_plans(with_built(full, replace(plan, ways=ways, places=places), built)))
    assert len(set(found.places.values())) == 72
    assert {name: found.ways[name] for name in built} == {name: ways[name] for name in built}
    assert {leg: found.places[leg] for leg in places} == places


def test_a_tray_takes_several_pairs_of_trunks_before_splices_stay_out() -> None:
    """Three trays hold nine legs of 12; two pairs bring four and five, and neither fills its trays."""
    cables = {
        "P": cable("p", [(1, 4)]),
        "Q": cable("q", [(1, 4)]),
        "R": cable("r", [(1, 5)]),
        "S": cable("s", [(1, 5)]),
    }
    job = job_with(cables, [("P:1-48", "Q:1-48"), ("R:1-60", "S:1-60")], fibres=36, guide_fill="off", port_seal="off")
    one = remade(job.enclosure, stacks=job.enclosure.stacks[:1])
    plan = next(first_plans(remade(job, enclosure=one)))
    assert measure_all(Laid(job, plan))["unplaced"] == 0
