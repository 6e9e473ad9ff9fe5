"""Runs of tied places against the whole model, where places are too few for each opened subunit to have its own."""

from __future__ import annotations

import random

import pytest

from tests import strategies
from tests.build import job_of
from tests.solver.test_relaxations import ORDER, solved
from trayopt.domain.job import Job
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.preference_bounds import preference_bound
from trayopt.solver.bounds.tied_runs import Size, broken_by_runs
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.interruptible import solve_one
from trayopt.solver.model.literals import Literals
from trayopt.solver.model.posting import Policy, build

OFF = (
    "natural_travel",
    "alternate_stacks",
    "subunit_together",
    "same_division",
    "breakout",
    "opposite_travel",
    "tray_pair",
)


def scarce(seed: int) -> Job:
    """Draw subunits that fill trays of 16 to one, one and a half or two, some in part, in stacks that are just high enough."""
    rng = random.Random(seed)
    data = strategies.worked_example()
    ribbons = [rng.choice([2, 3, 3, 3, 4]) for _ in range(rng.choice([3, 4, 5, 6]))]
    fibres = 8 * sum(ribbons)
    spliced = fibres - rng.choice([0, 0, 8, 16])
    heights = [-(-fibres // 32) + rng.choice([0, 1]) for _ in range(2)]
    for stack, positions in zip(data["enclosure"]["stacks"], heights, strict=True):
        stack["positions"] = positions
        stack["tray"] |= {"fibres": 16, "sleeves": 8, "entrance_legs": 8}
    for trunk, divide_at in zip(data["trunks"], (["tray"], rng.choice([["tray"], ["port"]])), strict=True):
        trunk["cable"]["subunits"] = [
            {"count": 1, "ribbons": number, "ribbon_fibres": 8, "diameter_mm": 5, "least_radius_mm": 50}
            for number in ribbons
        ]
        trunk["divide_at"] = divide_at
    data["joins"] = [{"a": f"P:1-{spliced}", "b": f"Q:1-{spliced}", "name": "0"}]
    tied = {"trays": rng.choice([1, 2])}
    data["rules"] = {"reach": {"bench_mm": 1700}, **dict.fromkeys(OFF, "off"), "tied_trays": tied}
    return job_of(data)


@pytest.mark.parametrize("seeds", [range(13), range(18, 26), (38,)])
def test_the_bound_is_what_the_best_plan_breaks(seeds: range) -> None:
    """Among them seeds 5 and 38, where a subunit that lies whole takes one place that is missing elsewhere."""
    broken = 0
    for seed in seeds:
        job = scarce(seed)
        best = solved(job, build(job, Policy(), all_placed=False, cuts=False), ORDER[:3])
        assert best is not None
        assert best.complete, f"seed {seed}"
        assert preference_bound(job, Divider(job).open, Clock()) == best.values["broken_prefer"], f"seed {seed}"
        broken += best.values["broken_prefer"] > 0
    assert broken


def test_a_subunit_that_may_stay_whole_is_tied_to_what_it_is_spliced_to() -> None:
    """Q fills a tray by itself, with the other ends of its 8 splices: the 40 other fibres of P tie two trays to that one."""
    data = strategies.worked_example()
    for stack in data["enclosure"]["stacks"]:
        stack["positions"] = 4
        stack["tray"] |= {"fibres": 16, "sleeves": 8, "entrance_legs": 8}
    for trunk, ribbons in zip(data["trunks"], (6, 3), strict=True):
        group = {"count": 1, "ribbons": ribbons, "ribbon_fibres": 8, "diameter_mm": 5, "least_radius_mm": 50}
        trunk["cable"]["subunits"] = [group]
        trunk["divide_at"] = ["tray"]
    data["joins"] = [{"a": "P:1-8", "b": "Q:1-8", "name": "0"}]
    data["rules"] = {"reach": {"bench_mm": 1700}, **dict.fromkeys(OFF, "off")}
    job = job_of(data)
    best = solved(job, build(job, Policy(), all_placed=False, cuts=False), ORDER[:3])
    assert best is not None
    assert best.complete
    assert preference_bound(job, Divider(job).open, Clock()) == best.values["broken_prefer"] == 3


@pytest.mark.parametrize(
    ("groups", "positions", "broken"),
    [
        ({Size(288, 2): 4}, 8, 0),
        ({Size(288, 2): 5}, 8, 6),  # two of two places and a run of six with three of them, or two runs of three
        ({Size(288, 2): 4, Size(180, 1): 1}, 8, 3),  # the small one has its place, and two share a run of three
        ({Size(288, 2): 3, Size(180, 1): 1}, 7, 0),
        ({Size(288, 2): 9}, 14, 12),  # longer than the longest run that is told apart
        ({Size(288, 2): 6}, 8, None),
    ],
)
def test_groups_are_packed_into_runs(groups: dict[Size, int], positions: int, broken: int | None) -> None:
    """Trays of 96: a group of 288 fibre ends fills one and a half, and ties two."""
    model = Literals()
    cost = broken_by_runs(model, dict(groups), most=2, positions=positions, trays=positions, room=192, when=())
    model.minimize(cost)
    status, solver = solve_one(model.cp, Clock(), 5.0)
    found = None if status.name == "INFEASIBLE" else round(solver.objective_value)
    assert found == broken
