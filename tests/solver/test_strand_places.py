"""Irregularity where crossings leave little choice, against every way to put the legs into trays."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from itertools import combinations, pairwise, permutations

import pytest

from benchmarks.boxes import RIBBON_72, SINGLE_12, cabinet, loose_tubes
from benchmarks.cases import shuffle
from trayopt import load_job, solve
from trayopt.domain.job import Job
from trayopt.rules.no_empty_below import NoEmptyBelow
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.solver.bounds.strand_places import least_irregular
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.model import Model

CASES = [(2, 3, 0), (3, 2, 0), (2, 4, 0), (2, 3, 1)]
"""Stacks, positions, and empty places of a box; as many whole legs of each of two trunks as are left."""


def job_of_legs(stacks: int, positions: int, empty: int, seed: int) -> Job:
    """Join whole legs of two trunks in random order, each pair in a tray of its own."""
    number = stacks * positions - empty
    return load_job(shuffle(loose_tubes(number), number, 12, seed, cabinet(stacks, positions, SINGLE_12), "tray"))


def order_at_the_other(job: Job) -> list[int]:
    """Return, for each leg of the first trunk, the number of its leg at the other."""
    fibres = sorted((int(a.first), int(b.first)) for a, b in ((join.a, join.b) for join in job.joins))
    return [(b - 1) // 12 for _, b in fibres]


def layouts(job: Job) -> Iterator[tuple[int, int]]:
    """Give crossings and irregularity of every layout without an empty place below a used one, by the spec's words alone."""
    other = order_at_the_other(job)
    stacks = [stack.id for stack in job.enclosure.stacks]
    deepest = job.enclosure.stacks[0].positions
    places = [(stack, position) for stack in range(len(stacks)) for position in range(1, deepest + 1)]
    for chosen in permutations(places, len(other)):
        heights = [sum(stack == here for here, _ in chosen) for stack in range(len(stacks))]
        if any(position > heights[stack] for stack, position in chosen):
            continue
        crossings = sum(
            (chosen[g][1] > chosen[h][1])
            + ((chosen[g][1] > chosen[h][1]) if other[g] < other[h] else (chosen[h][1] > chosen[g][1]))
            for g, h in combinations(range(len(other)), 2)
        )
        steps = sum((one + 1) % len(stacks) != two for (one, _), (two, _) in pairwise(chosen))
        used = [height for height in heights if height]
        yield crossings, steps + max(used) - min(used)


@cache
def least_by_crossings(stacks: int, positions: int, empty: int, seed: int) -> dict[int, int]:
    """Return the least irregularity of the layouts with each number of crossings."""
    found: dict[int, int] = {}
    for crossings, irregular in layouts(job_of_legs(stacks, positions, empty, seed)):
        found[crossings] = min(irregular, found.get(crossings, irregular))
    return found


def model_of(job: Job) -> Model:
    """Make the whole model of plans that place every splice, with its crossings."""
    model = Model(job, kept={TrayFibres.id, NoEmptyBelow.id}, all_placed=True)
    model.goal("crossings")
    return model


@pytest.mark.parametrize(("stacks", "positions", "empty"), CASES)
def test_no_layout_is_more_regular(stacks: int, positions: int, empty: int) -> None:
    """With the fewest crossings, and with some more; mostly the bound is met."""
    met = asked = 0
    for seed in range(3 if positions == 4 else 8):
        least = least_by_crossings(stacks, positions, empty, seed)
        model = model_of(job_of_legs(stacks, positions, empty, seed))
        for crossings in range(min(least), min(least) + 4):
            found = least_irregular(model, crossings, Clock())
            true = min(irregular for number, irregular in least.items() if number <= crossings)
            assert found is not None
            assert found.bound <= true, f"seed {seed}, {crossings} crossings"
            asked += 1
            met += found.bound == true
    assert met >= asked * 0.6


@pytest.mark.parametrize(("stacks", "positions", "empty"), CASES[:3])
def test_plans_of_full_boxes_are_the_best_layouts(stacks: int, positions: int, empty: int) -> None:
    """First the fewest crossings, then the least irregularity: all legs together are as long in every layout."""
    proven_by = set()
    for seed in range(3 if positions == 4 else 8):
        least = least_by_crossings(stacks, positions, empty, seed)
        plan = solve(job_of_legs(stacks, positions, empty, seed), workers=1, explain=False).plan
        values = {item.goal: item.value for item in plan.goals}
        assert plan.status == "optimal"
        assert (values["crossings"], values["irregular"]) == (min(least), least[min(least)])
        proven_by.add(plan.goals[-1].by)
    assert proven_by <= {"zero", "strand_places", "pattern_counts"}


def test_what_is_not_asked() -> None:
    """A tray that takes two bunches, and a model without crossings."""
    job = load_job(shuffle(loose_tubes(4), 4, 12, 1, cabinet(2, 3, RIBBON_72), "tray"))
    assert least_irregular(model_of(job), 10, Clock()) is None
    without = Model(job_of_legs(2, 3, 0, 1), kept={TrayFibres.id}, all_placed=True)
    assert least_irregular(without, 10, Clock()) is None, "crossings are not in this model"
