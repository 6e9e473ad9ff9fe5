"""Every relaxation against the whole model alone, goal by goal: no bound is above the best plan, a 'none' is never wrong."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import pytest

from tests import strategies
from tests.build import job_of
from trayopt.domain.assignment import Assignment
from trayopt.domain.base import DivideAt
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.goals.registry import measure_all, order
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.outline import can_be_placed, preference_bound
from trayopt.solver.bounds.pattern_counts import count, fewest_trays, in_scope, least_irregular
from trayopt.solver.bounds.set_partition import (
    irregular_bound,
    legs_bound,
    length_bound,
    narrowed,
    trays_bound,
    weight_bound,
)
from trayopt.solver.bounds.unplaced import out_of_trays, without_room
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.model import Key, Model
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.run import Tuning, run
from trayopt.track.laid import Laid

ORDER: tuple[GoalName, ...] = tuple(goal.id for goal in order())
AT_TRAY: tuple[DivideAt, ...] = ("tray",)
KINDS: dict[str, dict[str, Any]] = {
    "any": {},
    "parked": {"shape": "partial", "at_port": 0.1, "pins": 0.1},
    "at the port": {"at_port": 0.9, "stacks": 2},
    "shuffled at the tray": {"at_port": 0.0, "shape": "shuffled", "stacks": 2, "rules": 0.05},
    "tied": {"at_port": 0.0, "trunks": 2, "ribbons": 4, "stacks": 2, "positions": 3, "rules": 0.0, "pins": 0.0},
}
"""Kinds of random jobs, with what is held of them."""
TUNING = Tuning(workers=1)
BOUNDS: dict[GoalName, Callable[..., int]] = {
    "trays": trays_bound,
    "leg_length_mm": length_bound,
    "irregular": irregular_bound,
}
"""Bounds of the set partition with counts at places."""


@dataclass(frozen=True)
class Best:
    """The best plan of a job by the whole model alone, and the value of every goal in it."""

    assignment: Assignment
    values: Mapping[GoalName, int]

    @property
    def complete(self) -> bool:
        """Whether it places every splice and keeps every must."""
        return not self.values["unplaced"] and not self.values["broken_must"]


def solved(job: Job, model: Model, goals: Sequence[GoalName]) -> Best | None:
    """Minimise goal after goal on a whole model, with no bound and no cut; None where it has no plan."""
    assignment = None
    for goal in order():
        if goal.id not in goals:
            continue
        expression = goal.encode(job, model)
        if not isinstance(expression, int):
            model.minimize(expression)
        outcome = run(model, Clock(), TUNING)
        if outcome.assignment is None:
            return None
        assignment = outcome.assignment
        if not isinstance(expression, int):
            assert outcome.proven
            model.cp.clear_objective()
            model.require(expression <= outcome.value)
    assert assignment is not None
    return Best(assignment, measure_all(Laid(job, assignment)))


@cache
def drawn(kind: str, seed: int) -> tuple[Job, Best | None]:
    """Draw a tiny job, and solve it by the whole model alone."""
    rng = random.Random(seed)
    data = strategies.random_job(rng, **KINDS[kind])
    if kind == "tied":
        tie(data, rng)
    job = job_of(data)
    return job, solved(job, build(job, Policy(), all_placed=False, cuts=False), ORDER)


def tie(data: dict[str, Any], rng: random.Random) -> None:
    """Give a job shallow trays, so that most subunits are opened, and let few trays be tied."""
    ribbon = max(entry["ribbon_fibres"] for trunk in data["trunks"] for entry in trunk["cable"]["subunits"])
    for stack in data["enclosure"]["stacks"]:
        stack["tray"] |= {"fibres": ribbon * rng.choice([1, 1, 2]), "sleeves": 48, "entrance_legs": 16}
        stack["positions"] = rng.choice([2, 4])
    data["rules"] = {"tied_trays": {"trays": rng.choice([1, 1, 2]), "weight": rng.choice([1, 2])}, "guide_fill": "off"}
    data["rules"]["breakout"] = {"weight": rng.choice([1, 5])}
    data["rules"]["reach"] = {"bench_mm": 1900}
    data["rules"]["no_empty_below"] = "off"


def at_tray(job: Job, best: Best) -> Mapping[str, tuple[DivideAt, ...]]:
    """Narrow open trunks to where the best plan divides them, so that it is among the plans that are left."""
    divided = Laid(job, best.assignment).divide_at
    return {trunk: (at,) for trunk, at in divided.items()}


SEEDS = range(9000, 9040)


@pytest.mark.parametrize("kind", KINDS)
def test_outline_and_room_of_trays(kind: str) -> None:
    """What stays out, and the weight of preferences of complete plans, with trunks open and narrowed; some bounds are met."""
    seen: Counter[str] = Counter()
    for seed in SEEDS:
        job, best = drawn(kind, seed)
        if best is None:
            continue
        out = out_of_trays(job, Clock())
        assert without_room(job) <= out <= best.values["unplaced"], f"seed {seed}"
        assert out_of_trays(job, Clock(), divide_at=at_tray(job, best)) <= best.values["unplaced"], f"seed {seed}"
        open_ = Divider(job).open
        for divide_at in (None, at_tray(job, best)):
            placed = all(open_.values()) and can_be_placed(job, open_, Clock(), divide_at=divide_at)
            assert placed or best.values["unplaced"], f"seed {seed}: there is a plan that places every splice"
            if not best.complete:
                continue
            least = preference_bound(job, open_, Clock(), divide_at=divide_at)
            assert least is not None, f"seed {seed}: there is a plan that keeps every must"
            assert least <= best.values["broken_prefer"], f"seed {seed}"
            seen["weight"] += least == best.values["broken_prefer"] > 0
        seen["complete"] += best.complete
    assert seen["complete"] > 5
    assert seen["weight"] > 0


@pytest.mark.parametrize("kind", KINDS)
def test_set_partition(kind: str) -> None:
    """Preferences, legs, used places, leg length and irregularity of complete plans, with trunks open and narrowed."""
    met: Counter[str] = Counter()
    for seed in SEEDS:
        job, best = drawn(kind, seed)
        if best is None or not best.complete or not best.values["legs"]:
            continue
        values, divider = best.values, Divider(job)
        prefers, legs, trays = values["broken_prefer"], values["legs"], values["trays"]
        for divide_at in (None, at_tray(job, best)):
            more: dict[str, Any] = {"divide_at": divide_at}
            asked = (divider, divider.open, prefers, 0, legs, Clock())
            bounds: dict[GoalName, int | None] = {
                "broken_prefer": weight_bound(divider, divider.open, 0, Clock(), **more),
                "legs": legs_bound(divider, divider.open, prefers, Clock(), **more),
                "trays": trays_bound(*asked, **more),
                "leg_length_mm": length_bound(*asked, trays=trays, **more),
                "irregular": irregular_bound(*asked, trays=trays, length_mm=values["leg_length_mm"], **more),
            }
            for goal, bound in bounds.items():
                assert bound is not None, f"seed {seed}: {goal} denies a plan that is there"
                assert bound <= values[goal], f"seed {seed}: {goal}"
                met[goal] += bound == values[goal]
            left = narrowed(divider, divider.open, prefers, legs, Clock(), **more)
            for leg in best.assignment.places:
                assert leg.of in left[leg.trunk, leg.subunit], f"seed {seed}"
    assert min(met[goal] for goal in ORDER[2:] if goal != "crossings") > 5, met


@pytest.mark.parametrize("kind", KINDS)
def test_set_partition_where_legs_do_not_come_first(kind: str) -> None:
    """Used places, length and irregularity of plans with any number of legs, each as the goal after preferences."""
    for seed in SEEDS[:20]:
        job, best = drawn(kind, seed)
        if best is None or not best.complete or not best.values["legs"]:
            continue
        divider = Divider(job)
        weight = best.values["broken_prefer"]
        for goal, bound in BOUNDS.items():
            alone = solved(job, build(job, Policy(), all_placed=False, cuts=False), (*ORDER[:3], goal))
            assert alone is not None
            least = bound(divider, divider.open, weight, 0, None, Clock())
            assert least <= alone.values[goal], f"seed {seed}: {goal}"


@pytest.mark.parametrize("kind", KINDS)
def test_counts_of_settled_divisions(kind: str) -> None:
    """Used places, length and irregularity of the plans of one whole model; counts deny none that is there."""
    seen: Counter[str] = Counter()
    for seed in SEEDS:
        job, best = drawn(kind, seed)
        if best is None or not best.complete or not best.values["legs"]:
            continue
        settled: dict[Key, tuple[int, ...]] = {(leg.trunk, leg.subunit): (leg.of,) for leg in best.assignment.places}
        weight = best.values["broken_prefer"]

        def whole(job: Job = job, settled: Any = settled, weight: int = weight) -> Model:
            policy = Policy("hard", "soft" if weight else "hard")
            model = build(job, policy, all_placed=True, divisions=settled, cuts=False)
            if weight:
                model.require(model.broken("prefer") <= weight)
            return model

        if not in_scope(whole()):
            continue
        goals: tuple[GoalName, ...] = ("trays", "leg_length_mm", "irregular")
        for i, goal in enumerate(goals):
            first = solved(job, whole(), goals[i : i + 1])
            held = solved(job, whole(), goals[: i + 1])
            assert first is not None
            assert held is not None
            trays, length = held.values["trays"], held.values["leg_length_mm"]
            if goal == "trays":
                bounds = fewest_trays(whole(), weight, Clock()), fewest_trays(whole(), weight, Clock())
            elif goal == "leg_length_mm":
                counted = count(whole(), weight, Clock()), count(whole(), weight, Clock(), trays=trays)
                assert counted[0] is not None
                assert counted[1] is not None
                bounds = counted[0].bound, counted[1].bound
            else:
                bounds = (
                    least_irregular(whole(), weight, Clock()),
                    least_irregular(whole(), weight, Clock(), trays=trays, length_mm=length),
                )
            for bound, plan in zip(bounds, (first, held), strict=True):
                assert bound is not None, f"seed {seed}: counts deny a plan that is there"
                assert bound <= plan.values[goal], f"seed {seed}: {goal}"
                seen[goal] += bound == plan.values[goal]
    assert min(seen.values(), default=0) > 3, seen
