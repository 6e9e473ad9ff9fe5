"""Hundreds of tiny jobs against brute force: all seven goals are equal, whether a job can be placed whole or not."""

from __future__ import annotations

from itertools import permutations
from typing import Any

import pytest

from tests import oracle
from tests.build import job_of
from tests.solver.tiny import agree, drawn

ORDERS = tuple(permutations(oracle.GOAL_ORDER))
BATCH = 10
AMONG = 4 * BATCH
"""Among so many jobs that are tight there are ``BATCH`` that cannot be placed whole."""
SMALL: dict[str, Any] = {"trunks": 2, "ribbons": 2, "positions": 2}


@pytest.mark.parametrize(
    "first", [pytest.param(first, marks=[pytest.mark.slow] * (first >= 30)) for first in range(0, 160, BATCH)]
)
def test_random_jobs(first: int) -> None:
    for seed in range(first, first + BATCH):
        agree(drawn(seed, **(SMALL if seed % 4 == 3 else {})), workers=1)


@pytest.mark.parametrize(
    "order",
    [pytest.param(order, marks=[pytest.mark.slow] * (i % 6 > 0)) for i, order in enumerate(ORDERS[1:])],
    ids="-".join,
)
def test_goals_in_another_order(order: tuple[str, ...]) -> None:
    index = ORDERS.index(order)
    for seed in range(1000 + 10 * index, 1008 + 10 * index):
        agree(drawn(seed, shape="shuffled", ends=2), order, workers=1)


def test_the_order_of_the_goals_matters_somewhere() -> None:
    """The jobs in another order are no empty test: in some of them the best plan is another one."""
    differ = 0
    for seed in range(1050, 1058):
        facts = oracle.Facts(drawn(seed, shape="shuffled", ends=2))
        usual, other = oracle.solve(facts), oracle.solve(facts, ORDERS[5])
        assert usual is not None
        assert other is not None
        differ += usual.goals != other.goals
    assert differ


@pytest.mark.parametrize(
    "first",
    [pytest.param(first, marks=[pytest.mark.slow] * (first > 2000)) for first in range(2000, 2000 + 4 * AMONG, AMONG)],
)
def test_jobs_that_cannot_be_placed_whole(first: int) -> None:
    found = 0
    for seed in range(first, first + AMONG):
        data = drawn(seed, tight=1.0, apart=0.5)
        best = oracle.solve(data)
        assert best is not None
        if best.goals[0] or best.goals[1]:
            agree(data, workers=1)
            found += 1
        if found == BATCH:
            break
    assert found == BATCH


@pytest.mark.parametrize("tight", [0.0, 1.0])
def test_pins_of_subunits_without_a_splice(tight: float) -> None:
    """Such a leg has no tray: the pin is broken, and the rest of the plan is as good as it can be."""
    found = 0
    for seed in range(9000, 9200):
        data = drawn(seed, pins=0.0, tight=tight, **SMALL)
        job = job_of(data)
        idle = next((s for s in job.subunits if not job.spliced[s.trunk, s.number]), None)
        if idle is None:
            continue
        found += 1
        pin = {"leg": f"{idle.trunk}:{idle.first}-{idle.last}", "stack": job.enclosure.stacks[found % 2].id}
        data |= {"pins": [pin], "rules": data["rules"] | {"pin": "must"}}
        best = oracle.solve(data)
        assert best is not None
        assert best.goals[1]
        agree(data, workers=1)
        if found == BATCH // 2:
            break
    assert found == BATCH // 2


@pytest.mark.parametrize(
    "first", [pytest.param(first, marks=[pytest.mark.slow] * (first >= 3010)) for first in range(3000, 3030, BATCH)]
)
def test_many_workers(first: int) -> None:
    for seed in range(first, first + BATCH):
        agree(drawn(seed))


@pytest.mark.parametrize(
    "first", [pytest.param(first, marks=[pytest.mark.slow] * (first >= 4010)) for first in range(4000, 4040, BATCH)]
)
def test_rules_at_other_levels(first: int) -> None:
    """Every third rule at another level, weight or parameter; physical rules too."""
    for seed in range(first, first + BATCH):
        agree(drawn(seed, rules=0.35, pins=0.5, apart=0.5, at_port=0.6), workers=1)


@pytest.mark.parametrize(
    "first", [pytest.param(first, marks=[pytest.mark.slow] * (first >= 5010)) for first in range(5000, 5080, BATCH)]
)
def test_what_is_done_with_ribbons(first: int) -> None:
    """Ribbons of several widths, spliced as they are, split or made anew, given or decided, where sleeves are scarce."""
    for seed in range(first, first + BATCH):
        agree(drawn(seed, ribbon_work=0.7, tight=0.8, **(SMALL if seed % 2 else {})), workers=1)


@pytest.mark.parametrize(
    "first", [pytest.param(first, marks=[pytest.mark.slow] * (first >= 6010)) for first in range(6000, 6080, BATCH)]
)
def test_stacks_of_several_kinds_of_trays(first: int) -> None:
    """Ranges of positions with trays for single fibres, of other sizes, other radii and other pitches."""
    for seed in range(first, first + BATCH):
        agree(drawn(seed, mixed=0.8, tight=0.6, rules=0.2, **(SMALL if seed % 2 else {})), workers=1)


@pytest.mark.parametrize(
    "first", [pytest.param(first, marks=[pytest.mark.slow] * (first >= 6110)) for first in range(6100, 6140, BATCH)]
)
def test_loose_fibres_and_trays_for_ribbons(first: int) -> None:
    """Loose tubes, alone and beside ribbons, that are to keep out of trays for ribbons."""
    for seed in range(first, first + BATCH):
        agree(drawn(seed, mixed=1.0, loose=0.7, tight=0.4, **(SMALL if seed % 2 else {})), workers=1)


@pytest.mark.parametrize("seed", [318, 321])
def test_over_trays_of_another_kind_places_may_be_empty(seed: int) -> None:
    """A plan of few trays may use an outer one: no place is left out for lying farther out than there are used ones."""
    agree(drawn(seed, mixed=0.8, tight=0.6, ribbon_work=0.5, rules=0.3), workers=1)


@pytest.mark.parametrize("seed", [20170])
def test_legs_of_one_tray_that_take_over_a_low_cross_nothing(seed: int) -> None:
    """Several strands of one subunit have their lows in one bunch: they do not pay for crossing each other."""
    agree(drawn(seed, at_port=0.8))
