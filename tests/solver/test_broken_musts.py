"""Plans that place every splice and let musts go: closed patterns bound their first goals, and are never above the best plan."""

from __future__ import annotations

import random
from itertools import product
from typing import Any

import pytest

from tests import strategies
from tests.build import job_of
from tests.solver.test_relaxations import KINDS, ORDER, PLACED, solved, straddling, tie
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.partition_bounds import FirstGoals, placed_bound
from trayopt.solver.bounds.preference_bounds import must_bound
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.search.search import Search


def strict(kind: str, seed: int) -> Job:
    """Draw a tiny job whose rules and pins are mostly musts, so that most often not all of them can be kept."""
    rng = random.Random(seed)
    data = strategies.random_job(rng, **{**KINDS[kind], "rules": 0.6, "pins": 0.5})
    if kind == "tied":
        tie(data, rng)
        data["rules"] |= {
            rule: "must" for rule in ("alternate_stacks", "tray_pair", "tied_trays") if rng.random() < 0.4
        }
    data.setdefault("rules", {})["reserve"] = {"level": rng.choice(["must", "prefer"]), "trays": rng.choice([0, 1, 2])}
    return job_of(data)


@pytest.mark.parametrize(
    "seeds",
    [range(9200, 9214), pytest.param(range(9214, 9260), marks=pytest.mark.slow)],
    ids=["some", "more"],
)
def test_closed_patterns_never_overrate_plans_that_let_musts_go(seeds: range) -> None:
    met = 0
    for kind, seed in product(KINDS, seeds):
        job = strict(kind, seed)
        best = solved(job, build(job, Policy(), all_placed=True, cuts=False), ORDER)
        divider = Divider(job)
        if divider.hopeless:
            assert best is None, f"{kind}, seed {seed}"
            continue
        goals = FirstGoals(divider, divider.open, Clock(), policy=Policy())
        musts = goals.musts(0)
        if best is None:
            continue
        values = best.values
        assert musts is not None, f"{kind}, seed {seed}"
        assert must_bound(job, divider.open, Clock()).musts <= values["broken_must"], f"{kind}, seed {seed}"
        assert musts <= values["broken_must"], f"{kind}, seed {seed}"
        met += 0 < musts == values["broken_must"]
        goals.most_musts = values["broken_must"]
        weight = goals.weight(0)
        assert weight is not None, f"{kind}, seed {seed}"
        assert weight <= values["broken_prefer"], f"{kind}, seed {seed}"
        legs = goals.legs(values["broken_prefer"]).bound
        assert legs is not None, f"{kind}, seed {seed}"
        assert legs <= values["legs"], f"{kind}, seed {seed}"
        left = goals.narrowed(values["broken_prefer"], values["legs"], divider.open)
        assert all(leg.of in left[leg.trunk, leg.subunit] for leg in best.assignment.places), f"{kind}, seed {seed}"
        limits: dict[GoalName, int] = {"legs": values["legs"]}
        for goal in PLACED:
            counted = placed_bound(
                goal,
                divider,
                divider.open,
                values["broken_prefer"],
                0,
                limits,
                Clock(),
                musts=values["broken_must"],
            )
            assert counted.bound <= values[goal], f"{kind}, seed {seed}: {goal}"
            limits = {**limits, goal: values[goal]}
    assert met > 3


def straight(positions: int, reserve: int | None) -> dict[str, Any]:
    """Join four subunits that fill a tray and a half to four others, on two stacks with so many positions."""
    data = straddling(positions, 4)
    if reserve is not None:
        data["rules"]["reserve"] = {"level": "must", "trays": reserve}
    return data


@pytest.mark.parametrize(
    ("positions", "reserve", "weight"), [(4, None, 0), (3, None, 6), (4, 1, 6), (5, 1, 0), (5, 2, 6)]
)
def test_places_that_stay_in_reserve_are_not_to_be_tied(positions: int, reserve: int | None, weight: int) -> None:
    """Each subunit ties two places, and three with one that it shares a tray with: what is kept free cannot be used for that."""
    job = job_of(straight(positions, reserve))
    divider = Divider(job)
    assert FirstGoals(divider, divider.open, Clock()).weight(0) == weight
    best = solved(job, build(job, Policy(), all_placed=False, cuts=False), ORDER[:3])
    assert best is not None
    assert (best.complete, best.values["broken_prefer"]) == (True, weight)


def sixteens(pinned: bool) -> dict[str, Any]:
    """Join ribbons of 8 to ribbons of 12, opened at the tray, on one stack of trays of 48 with six sleeves.

    Each closed group holds 24 splices or more in runs of 8, 4, 4 and 8: four sleeves, so that each has a tray of its own.
    """
    data = strategies.worked_example()
    (stack,) = data["enclosure"]["stacks"] = data["enclosure"]["stacks"][:1]
    stack["positions"] = 6
    stack["tray"] |= {"fibres": 48, "sleeves": 6, "entrance_legs": 12}
    for trunk, ribbons in zip(data["trunks"], (12, 8), strict=True):
        trunk["cable"]["subunits"] = [
            {"count": 1, "ribbons": ribbons, "ribbon_fibres": 96 // ribbons, "diameter_mm": 6, "least_radius_mm": 60}
        ]
        trunk["divide_at"] = ["tray"]
    data["joins"] = [{"a": "P:1-96", "b": "Q:1-96", "name": "0"}]
    data["rules"] = {"reach": "off", "tied_trays": {"trays": 1}}
    if pinned:
        data["pins"] = [{"leg": "P:1-96", "stack": stack["id"], "position": 1}]
    return data


@pytest.mark.parametrize("pinned", [False, True])
def test_opened_subunits_are_tied_by_the_trays_that_their_bunches_take(pinned: bool) -> None:
    """Four groups take four trays, which are tied, although two trays have room for their fibres and three for their sleeves.

    A whole leg has no tray, so that a pin of it is not kept: one must is broken, and the same is known of the other plans.
    """
    job = job_of(sixteens(pinned))
    divider = Divider(job)
    assert must_bound(job, divider.open, Clock()).musts == pinned
    goals = FirstGoals(divider, divider.open, Clock(), policy=Policy())
    assert goals.musts(0) == pinned
    goals.most_musts = int(pinned)
    best = solved(job, build(job, Policy(), all_placed=False, cuts=False), ORDER[:4])
    assert best is not None
    assert goals.weight(0) == best.values["broken_prefer"]
    assert best.values["broken_must"] == pinned
    assert best.values["broken_prefer"] >= 4
    state, stopped = Search(job, ORDER, Clock(None)).solve()
    assert stopped == "proven"
    assert state.proofs["broken_prefer"].by == "set_partition"


def test_what_closed_patterns_choose_is_the_best_plan_that_lets_a_must_go() -> None:
    """The tactics after it are left out: it finds the plan, and proves it in every goal."""
    job = job_of(sixteens(pinned=True))
    later = frozenset({"in_order_by_segments", "without_musts", "without_splices"})
    state, stopped = Search(job, ORDER, Clock(None), without=later).solve()
    assert stopped == "proven"
    assert state.value("broken_must") == 1
