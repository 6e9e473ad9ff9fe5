"""The bound on preferences by the places at which trunks are divided, against an outline for every choice of places."""

from __future__ import annotations

import random
from collections import Counter
from itertools import product

from benchmarks import example_rule
from tests import strategies
from tests.build import job_of
from tests.example_rule import registered
from tests.solver.test_relaxations import KINDS, tie
from trayopt import load_job
from trayopt.domain.base import DivideAt
from trayopt.domain.job import Job
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.partings import PartingBounds, parting_bounds
from trayopt.solver.bounds.preference_bounds import preference_bound, preferences_kept
from trayopt.solver.model.clock import Clock

PLACES: tuple[DivideAt, ...] = ("tray", "port")


def every_choice(job: Job, bounds: PartingBounds) -> int | None:
    """Take the least bound of an outline for each choice."""
    open_ = Divider(job).open
    found = []
    for places in product(PLACES, repeat=len(bounds.trunks)):
        divide_at = {trunk: (place,) for trunk, place in zip(bounds.trunks, places, strict=True)}
        found.append(preference_bound(job, open_, Clock(), divide_at=divide_at))
    return min((bound for bound in found if bound is not None), default=None)


def bounded(job: Job) -> PartingBounds:
    """Bound preferences by the choices that can still be best."""
    return parting_bounds(job, Divider(job).open, Clock())


def test_the_least_bound_is_that_of_every_choice() -> None:
    """Leaving choices out by their price, or by one outline of all that are left, loses nothing."""
    seen: Counter[str] = Counter()
    for seed in range(9260, 9400):
        rng = random.Random(seed)
        data = strategies.random_job(rng, **KINDS["tied"] | {"trunks": rng.choice([2, 3])})
        tie(data, rng)
        for trunk in data["trunks"]:
            trunk["divide_at"] = list(PLACES)
        data["rules"]["breakout"] = {"weight": 1}
        job = job_of(data)
        if Divider(job).hopeless:
            continue
        bounds = bounded(job)
        assert bounds.least == every_choice(job, bounds), f"seed {seed}"
        assert parting_bounds(job, Divider(job).open, Clock(), beside=2) == bounds, f"seed {seed}: two at a time"
        seen["left out"] += bounds.beyond is not None and len(bounds.tried) < 2 ** len(bounds.trunks)
        no_port = bounds.tried[()]
        if no_port is not None and bounds.least is not None:
            seen["a port is cheaper"] += bounds.least < no_port <= len(bounds.trunks)
    assert seen["left out"] >= 10
    assert seen["a port is cheaper"] >= 1


def test_one_outline_answers_for_all_choices_that_cost_more() -> None:
    """Four trunks alike have fifteen choices of at most three ports; that each costs more than no port takes one outline."""
    with registered():
        job = load_job(example_rule.job("wall-3x8", {"stack_trunks": "must"}))
        bounds = bounded(job)
    assert (dict(bounds.tried), bounds.beyond) == ({(): 3}, 4)
    assert bounds.partings(3) == dict.fromkeys(bounds.trunks, ("tray",))
    assert bounds.partings(4) == {}


def test_one_outline_denies_all_choices() -> None:
    """One trunk at most on a stack leaves no splice: wherever the four trunks are divided, one outline shows it."""
    with registered():
        job = load_job(example_rule.job("wall-3x8", {"stack_trunks": {"level": "must", "trunks": 1}}))
        bounds = bounded(job)
    assert (dict(bounds.tried), bounds.beyond, bounds.least) == ({(): None}, None, None)


def test_what_no_such_plan_pays_for_is_kept() -> None:
    """Plans of the four trunks that break least pay for subunits out of turn or trunks on stacks, and for nothing else."""
    with registered():
        job = load_job(example_rule.job("wall-3x8", {"stack_trunks": "prefer"}))
        least = bounded(job).least
        assert least is not None
        at_tray: dict[str, tuple[DivideAt, ...]] = {trunk.id: ("tray",) for trunk in job.trunks}
        kept = preferences_kept(job, Divider(job).open, Clock(), least, divide_at=at_tray)
        dearer = preferences_kept(job, Divider(job).open, Clock(), least + 1, divide_at=at_tray)
    levels = {name for name, setting in job.rules.items() if setting.level == "prefer"}
    assert levels - kept == {"alternate_stacks", "stack_trunks"}
    assert "natural_travel" in levels - dearer
