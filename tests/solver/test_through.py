"""Trunks that go through: what the solver proves is what enumeration finds."""

from __future__ import annotations

from math import pi

import pytest

from tests.build import job_of
from tests.library.test_through import gone
from tests.solver.tiny import agree, drawn
from trayopt.api import load_job, solve
from trayopt.domain.base import remade
from trayopt.domain.job import Job
from trayopt.rules.guide_fill import GuideFill
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.preference_bounds import preference_bound
from trayopt.solver.bounds.stack_counts import StackCounts
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question
from trayopt.solver.model.interruptible import FOUND, solve_one
from trayopt.track.lengths import lengths_of
from trayopt.track.window import loops_between


def drawn_through(seed: int) -> dict[str, object]:
    """Draw a tiny job in which a trunk goes through."""
    return drawn(seed, through=1.0, trunks=2, ribbons=2, stacks=[1, 2][seed % 2], positions=2)


@pytest.mark.parametrize("seed", range(8))
def test_the_best_plan_is_that_of_the_oracle(seed: int) -> None:
    agree(drawn_through(seed), workers=1, reproducible=True)


@pytest.mark.slow
@pytest.mark.parametrize("first", range(8, 88, 8))
def test_the_best_plans_of_many_jobs_are_those_of_the_oracle(first: int) -> None:
    for seed in range(first, first + 8):
        agree(drawn_through(seed), workers=1, reproducible=True)


@pytest.mark.parametrize(("slack_mm", "unplaced"), [(4200, 0), (4149, 24)])
def test_the_slack_decides_to_the_millimetre(slack_mm: int, unplaced: int) -> None:
    """A window of 4,200 mm (tests/cases/sheath_window.yaml); with less there is no other way, as travels are given."""
    plan = solve(job_of(gone(slack_mm=slack_mm, travel="clockwise", loops=[1])), reproducible=True, explain=False).plan
    assert plan.status == "optimal"
    assert plan.value("unplaced") == unplaced


TAP = "models/standard/288-through-tap-of-48-wall-2x6.yaml"


def counted(job: Job) -> bool:
    """Whether the counts by stack find numbers with which every splice is placed and every must kept."""
    counts = StackCounts(Question(job))
    counts.hold_all()
    return solve_one(counts.cp, Clock(), 10)[0] in FOUND


@pytest.mark.parametrize(("slack_mm", "fits"), [(4000, False), (8000, True)])
def test_relaxations_know_the_window_that_ways_ask_for(slack_mm: int, fits: bool) -> None:
    job = load_job(TAP)
    short = remade(job, through=(remade(job.through[0], slack_mm=slack_mm),))
    assert counted(short) == fits
    assert (preference_bound(short, Divider(short).open, Clock()) is not None) == fits


def again(slack_mm: int) -> Job:
    """Give the job of a tube that was cut by mistake and is spliced to itself, with so much slack; the other tube is cut too."""
    made = gone(slack_mm=slack_mm, travel=["clockwise", "counterclockwise"], loops=[1], cut=[2])
    made["joins"] = [{"a": "P.in:1-24", "b": "P.out:1-24"}]
    return job_of(made)


@pytest.mark.parametrize(("slack_mm", "fits"), [(5300, False), (5350, True)])
def test_both_ends_of_a_tube_that_is_spliced_to_itself_lie_in_one_tray(slack_mm: int, fits: bool) -> None:
    """2,600 mm to the near stack and 2,750 mm to the far one, whichever it is: each end alone would do with 2,600 mm."""
    job = again(slack_mm)
    assert (preference_bound(job, Divider(job).open, Clock()) is not None) == fits
    found = solve(job, reproducible=True, explain=False).plan
    assert (found.status, found.value("unplaced")) == ("optimal", 0 if fits else 24)


@pytest.mark.parametrize(("spare_mm2", "fits"), [(-1, False), (400, True)])
def test_counts_know_the_room_of_what_passes_uncut(spare_mm2: int, fits: bool) -> None:
    """The loops that the uncut tubes make in every plan fill a part of each guide, whatever else passes there."""
    job = load_job(TAP)
    (item,) = job.through
    uncut = sum(pi * unit.diameter_mm**2 / 4 for unit in job.trunk_by_id[item.ends[0]].passing)
    passes = loops_between(job, item, lengths_of(job))[0] + 1
    opening = passes * uncut / GuideFill().parameters(job).fill + spare_mm2
    track = job.enclosure.track
    guides = tuple(remade(guide, opening_mm2=opening) if guide.id == "sw" else guide for guide in track.guides)
    narrow = remade(job, enclosure=remade(job.enclosure, track=remade(track, guides=guides)))
    assert counted(narrow) == fits
