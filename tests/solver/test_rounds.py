"""Chains counted round by round, against the whole model: small jobs of two and three components, and random ones of any kind."""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest

from benchmarks.boxes import SINGLE_12, TrayType, cabinet, loose_tubes
from tests import strategies
from tests.build import Json, job_of
from trayopt import load_job
from trayopt.api import solve
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.goals.registry import GOALS, measure_all
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.round_counts import able, chains_by_kind, count, least_irregular
from trayopt.solver.bounds.tray_room import fewest_trays
from trayopt.solver.heuristics import primal
from trayopt.solver.heuristics.laying import keeps_facts
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.run import Tuning
from trayopt.solver.search.search import Search
from trayopt.track.laid import Laid

ORDER: tuple[GoalName, ...] = tuple(goal.id for goal in GOALS)


def components(seed: int) -> Json:
    """Draw two or three pairs of trunks of unequal size; some are joined in another order, or share a rule with another pair."""
    rng = random.Random(f"components {seed}")
    stacks = rng.choice((2, 3))
    sizes = [rng.randint(2, 5) for _ in range(rng.choice((2, 3)))]
    room = -(-sum(sizes) // stacks) + rng.choice((0, 0, 1))
    box = cabinet(stacks, room, tray(rng), ports=2 * len(sizes))
    names = [port["id"] for port in box["ports"]]
    trunks: list[Json] = []
    joins: list[Json] = []
    for i, size in enumerate(sizes):
        west, east, cable = f"W{i}", f"E{i}", loose_tubes(size)
        free = rng.random() < 0.3
        trunks += [
            {"id": name, "cable": cable, **({} if free else {"ports": [port]})}
            for name, port in ((west, names[i]), (east, names[len(sizes) + i]))
        ]
        order = list(range(size))
        if rng.random() < 0.25:
            rng.shuffle(order)
        joins += [
            {"a": f"{west}:{12 * a + 1}-{12 * a + 12}", "b": f"{east}:{12 * b + 1}-{12 * b + 12}", "name": f"{i}.{a}"}
            for a, b in enumerate(order)
        ]
    job: Json = {"schema": "trayopt/job/2", "title": "", "enclosure": box, "trunks": trunks, "joins": joins}
    if rng.random() < 0.3:
        job["apart"] = [{"joins": ["0.0", "1.0"], "scope": "stack"}]
    return job


def tray(rng: random.Random) -> TrayType:
    """Draw how thick trays are: it decides where lengths are rounded up."""
    return SINGLE_12._replace(height=rng.choice((8, 13, 21)))


def models(jobs: Iterator[Job]) -> Iterator[tuple[Job, Model, Search]]:
    """Give the models of complete plans of settled divisions that keep every preference, where chains of them can be counted."""
    for job in jobs:
        divider = Divider(job)
        settled = None if divider.hopeless else divider.settle()
        if settled is None:
            continue
        model = build(job, Policy("hard", "hard"), all_placed=True, divisions=settled.divisions)
        if able(model):
            yield job, model, Search(job, ORDER, Clock(60.0), tuning=Tuning(workers=1))


def test_rounds_never_promise_too_much() -> None:
    """What is counted bounds the best plan of a model without a crossing, and with any; often it is such a plan."""
    jobs = [load_job(components(seed)) for seed in range(10)]
    jobs += [job_of(strategies.random_job(random.Random(seed))) for seed in range(400, 430)]
    met = counted = rounds = 0
    for job, model, search in models(iter(jobs)):
        if search.session.run(model, None).assignment is None:
            continue
        room = fewest_trays(model, 0)
        for in_order in (False, True):
            found = count(model, 0, Clock(), trays=room, trays_first=True, in_order=in_order)
            search = Search(job, ORDER, Clock(60.0), tuning=Tuning(workers=1))
            search.session.run(model, None)
            crossings: list[GoalName] = ["crossings"] if in_order else []
            search.descent.descend(model, ["trays", *crossings, "leg_length_mm", "irregular"])
            state = search.state
            if in_order and state.value("crossings"):
                continue
            assert found is not None, "there is a plan"
            assert found.trays <= state.value("trays")
            if found.trays == state.value("trays"):
                assert found.length <= state.value("leg_length_mm")
                if in_order and found.length == state.value("leg_length_mm"):
                    assert least_irregular(found, Clock())[0] <= state.value("irregular")
            counted += 1
            if keeps_facts(job, found.plan):
                values = measure_all(Laid(job, found.plan))
                met += in_order and not values["crossings"] and values["leg_length_mm"] == found.length
            rounds += any(turn.round for kind in chains_by_kind(model) for turn in kind.turns)
            model = build(
                job, Policy("hard", "hard"), all_placed=True,
                divisions={(s.trunk, s.number): of for s in job.subunits if (of := model.divisions(s))},
            )  # fmt: skip
    assert counted > 20
    assert rounds > 8
    assert met > 5


@pytest.mark.parametrize("seed", range(8))
def test_a_search_with_rounds_finds_the_same_goals(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(primal, "MANY", 0)
    job = load_job(components(seed))
    plans = [solve(job, workers=1, explain=False, without=without).plan for without in ((), ("round_counts",))]
    assert [plan.stopped for plan in plans] == ["proven", "proven"]
    assert [item.value for item in plans[0].goals] == [item.value for item in plans[1].goals]


def test_rounds_prove_lengths_of_several_components(monkeypatch: pytest.MonkeyPatch) -> None:
    """With lengths before crossings, too, what is counted is of plans that may cross."""
    monkeypatch.setattr(primal, "MANY", 0)
    orders: list[tuple[GoalName, ...]] = [ORDER[3:7], ("legs", "leg_length_mm", "crossings")]
    for goals in orders:
        plan = solve(load_job(components(5)), workers=1, explain=False, goals=goals).plan
        assert plan.stopped == "proven"
        assert next(item.by for item in plan.goals if item.goal == "leg_length_mm") == "round_counts"
