"""Every shortcut of the search against brute force: a bound is never above the best plan, a 'none' never wrong."""

from __future__ import annotations

import random
from collections import Counter
from typing import Any

import pytest

from tests import oracle, strategies
from tests.build import job_of
from tests.explainer.planted import round_by_two_trays
from tests.solver.tiny import best_plan, drawn
from trayopt.api import solve
from trayopt.domain.cablework import Subunit
from trayopt.domain.finding import Level
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.goals.registry import GOALS, measure_all
from trayopt.solver.bounds import place_counts
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.outline import Outline
from trayopt.solver.bounds.partition_bounds import (
    FirstGoals,
    placed_bound,
)
from trayopt.solver.bounds.pattern_bounds import count
from trayopt.solver.bounds.pattern_counts import in_scope
from trayopt.solver.bounds.preference_bounds import can_be_placed, preference_bound
from trayopt.solver.bounds.rings import overfull_rings
from trayopt.solver.bounds.tray_room import fewest_trays, without_room
from trayopt.solver.bounds.trunks_outside import out_by_patterns, trays_by_patterns
from trayopt.solver.bounds.unplaced import out_by_stack_counts, out_of_trays
from trayopt.solver.heuristics.constructive import construct_by
from trayopt.solver.heuristics.laying import keeps_facts
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.run import Tuning
from trayopt.solver.model.smaller_box import most_places, smaller
from trayopt.solver.search.search import Search
from trayopt.track.laid import Laid

SEEDS = range(400, 520)
CROWDED: dict[str, Any] = {"at_port": 1.0, "tight": 1.0, "stacks": 2}
CROWDED_SEEDS = range(7000, 7120)


def solved(seed: int, **knobs: Any) -> tuple[Job, oracle.Best]:
    """Give a random tiny job and its best plan by brute force."""
    plain, best = best_plan(seed, **knobs)
    return job_of(plain), best


def best_of(seed: int, **knobs: Any) -> tuple[Job, tuple[int, ...]]:
    """Give a random tiny job and the goals of its best plan by brute force."""
    job, best = solved(seed, **knobs)
    return job, tuple(best.goals)


def test_outline_and_divisions_never_promise_too_much() -> None:
    """Bounds hold for the best plan wherever it places every splice and keeps every must."""
    whole = impossible = 0
    for seed in SEEDS:
        job, (unplaced, musts, prefers, legs, *_) = best_of(seed)
        divider = Divider(job)
        least = None if divider.hopeless else preference_bound(job, divider.open, Clock())
        assert unplaced or not divider.hopeless, f"seed {seed}: there is a plan that places every splice"
        if not divider.hopeless and not can_be_placed(job, divider.open, Clock()):
            assert unplaced, f"seed {seed}: there is a plan that places every splice"
        if least is None:
            impossible += 1
            assert unplaced or musts, f"seed {seed}: there is a plan that keeps every must"
            continue
        if unplaced or musts:
            continue
        whole += 1
        settled = divider.settle()
        assert least <= prefers, f"seed {seed}"
        assert settled is not None, f"seed {seed}"
        assert settled.legs <= legs, f"seed {seed}"
        assert all(divider.within(legs).values()), f"seed {seed}"
    assert whole > 20
    assert impossible > 10


def test_the_outline_shares_out_parted_subunits_in_full_guides() -> None:
    """What of a parted subunit goes to which stack is open, but all of it travels."""
    shared = 0
    for seed in CROWDED_SEEDS:
        job, (unplaced, musts, prefers, *_) = best_of(seed, **CROWDED)
        divider = Divider(job)
        if divider.hopeless:
            continue
        least = preference_bound(job, divider.open, Clock())
        outline = Outline(job, divider.open)
        shared += any("in part on" in variable.name for variable in outline.cp.proto.variables)
        assert unplaced or musts if least is None else least <= prefers or unplaced or musts, f"seed {seed}"
    assert shared > 5


def test_legs_without_divisions_never_promise_too_much() -> None:
    """Legs are bounded for best plans that leave splices unplaced too; some bounds are met."""
    partial = met = 0
    for seed in SEEDS:
        job, (unplaced, _, _, legs, *_) = best_of(seed)
        fewest = Divider(job).least_legs(unplaced)
        assert fewest <= legs, f"seed {seed}"
        partial += unplaced > 0 and legs > 0
        met += legs > 0 and fewest == legs
    assert partial > 10
    assert met > 5


@pytest.mark.slow
def test_legs_that_are_left_out_as_too_small_are_in_no_best_plan() -> None:
    """A best plan by brute force has no leg under the bound, also where splices stay out; some bounds exclude legs."""
    excluded = 0
    for seed in SEEDS:
        job, best = solved(seed)
        divider = Divider(job)
        smallest = divider.smallest(best.goals[3], best.goals[0])
        found = solve(job, explain=False, workers=1).plan
        assert [goal.value for goal in found.goals] == list(best.goals), f"seed {seed}"
        for leg in found.legs:
            if leg.stack is not None:
                named = job.subunit_of_leg[leg.trunk, leg.subunit].leg(leg.group, leg.of)
                assert job.spliced_fibres(named) >= smallest[leg.trunk], f"seed {seed}"
        excluded += any(least > 12 for least in smallest.values())
    assert excluded > 10


def _divisions(job: Job, decision: oracle.Decision) -> dict[tuple[str, int], tuple[int, ...]]:
    """Give the divisions of the trunks of a decision; none of a trunk outside."""
    return {
        (subunit.trunk, subunit.number): decision.k.get(subunit.trunk, ())[subunit.number - 1 :][:1]
        for subunit in job.subunits
    }


def test_the_room_of_trays_never_promises_too_much() -> None:
    """Used places are bounded by what trays hold, where splices stay out too; some bounds are met."""
    met = partial = 0
    for seed in SEEDS:
        job, best = solved(seed)
        unplaced, trays = best.goals[0], best.goals[4]
        model = build(job, Policy(), all_placed=not unplaced, divisions=_divisions(job, best.decision))
        fewest = fewest_trays(model, unplaced)
        assert fewest <= trays, f"seed {seed}"
        met += fewest == trays > 0
        partial += unplaced > 0 and fewest > 0
    assert met > 10
    assert partial > 5


@pytest.mark.parametrize("seeds", [SEEDS[1::4], pytest.param(SEEDS[::2], marks=pytest.mark.slow)], ids=["some", "more"])
def test_the_best_plan_lies_in_a_box_for_so_many_legs(seeds: range) -> None:
    """No best plan by brute force with nothing empty below uses a place beyond the box for its legs; some boxes are lower."""
    lower = 0
    for seed in seeds:
        job = job_of(drawn(seed, positions=5))
        if job.rules["no_empty_below"].level != "must":
            continue  # before the best plan is enumerated
        best = best_plan(seed, positions=5)[1]
        if best.goals[1]:
            continue
        box = smaller(job, most_places(job, {}, legs=best.goals[3])).enclosure
        used = {Place(*place) for place in best.decision.legs.values() if place is not None}
        assert used <= set(box.places), f"seed {seed}"
        lower += len(box.places) < len(job.enclosure.places)
    assert lower > 2


def test_counts_never_promise_too_much() -> None:
    """On settled divisions the counted length is a bound for the best plan of those divisions, and counts deny none.

    A plan of habit that goes the counted ways often is as short.
    """
    counted_jobs = as_short = 0
    for seed in range(400, 480):
        job = job_of(strategies.random_job(random.Random(seed)))
        divider = Divider(job)
        settled = None if divider.hopeless else divider.settle()
        if settled is None:
            continue
        model = build(job, Policy("hard", "hard"), all_placed=True, divisions=settled.divisions)
        search = Search(job, tuple(goal.id for goal in GOALS), Clock(20.0), tuning=Tuning(workers=1))
        if not in_scope(model) or search.session.run(model, None).assignment is None:
            continue
        search.descent.descend(model, ["leg_length_mm"])
        counted = count(model, 0, Clock(None))
        assert counted is not None, f"seed {seed}: counts deny a plan that is there"
        assert counted.bound <= search.state.value("leg_length_mm"), f"seed {seed}"
        counted_jobs += 1
        as_short += any(
            set(plan.places) == {leg for found in model.bunches.values() for leg in found}
            and measure_all(Laid(job, plan))["leg_length_mm"] == counted.bound
            for guess in (counted.guess, counted.in_order(Clock(None)))
            if guess is not None
            for plan in construct_by(job, guess, {key: of for key, (of,) in settled.divisions.items()})
            if keeps_facts(job, plan) and all(plan.ways[trunk] == way for trunk, way in guess.ways.items())
        )
    assert counted_jobs > 5
    assert as_short > 5


@pytest.mark.parametrize(
    ("seeds", "knobs"),
    [
        (SEEDS, {}),
        pytest.param(range(520, 640), {}, marks=pytest.mark.slow),
        pytest.param(range(8000, 8240), {"at_port": 1.0, "stacks": 2}, marks=pytest.mark.slow),
    ],
    ids=["any", "more", "two stacks"],
)
def test_spreads_never_promise_too_much(seeds: range, knobs: dict[str, Any]) -> None:
    """Bunches on stacks and at places bound goals and divisions of every whole best plan, and never deny one."""
    whole = 0
    met = Counter[str]()
    for seed in seeds:
        job, best = solved(seed, **knobs)
        unplaced, musts, prefers, legs, trays, _, length, irregular = best.goals
        divider = Divider(job)
        if divider.hopeless or not legs:
            continue
        weight = FirstGoals(divider, divider.open, Clock()).weight(0)
        if unplaced or musts:
            continue
        whole += 1
        bounds = {
            "weight": (weight, prefers),
            "legs": (FirstGoals(divider, divider.open, Clock()).legs(prefers).bound, legs),
        }
        limits: dict[GoalName, int] = {"legs": legs}
        placed: dict[GoalName, int] = {"trays": trays, "leg_length_mm": length, "irregular": irregular}
        for goal, value in placed.items():
            bounds[goal] = (placed_bound(goal, divider, divider.open, prefers, legs, limits, Clock()).bound, value)
            limits = {**limits, goal: value}
        for name, (bound, value) in bounds.items():
            assert bound is not None, f"seed {seed}: {name} denies a plan that is there"
            assert bound <= value, f"seed {seed}: {name}"
            met[name] += bound == value
        open_ = FirstGoals(divider, divider.open, Clock()).narrowed(prefers, legs, divider.open)
        for trunk, number in open_:
            assert best.decision.k[trunk][number - 1] in open_[trunk, number], f"seed {seed}"
    assert whole > len(seeds) // 12
    assert min(met.values()) > len(seeds) // 24
    assert len(met) == 5


def full_box(subunits: int) -> dict[str, Any]:
    """Give two trunks of subunits of 2 x 12 in a box of trays of 12 that they fill: two legs each, one a tray."""
    job = strategies.worked_example()
    for stack in job["enclosure"]["stacks"]:
        stack["positions"] = subunits
        stack["tray"] = {**stack["tray"], "fibres": 12, "sleeves": 1}
    cable = {**job["trunks"][0]["cable"], "subunits": [{**job["trunks"][0]["cable"]["subunits"][0], "count": subunits}]}
    for trunk in job["trunks"]:
        trunk["cable"] = cable
    fibres = subunits * 24
    job["joins"] = [{"a": f"P:1-{fibres}", "b": f"Q:1-{fibres}", "name": "0"}]
    return job


@pytest.mark.parametrize(("seeds", "knobs"), [(SEEDS, {}), (CROWDED_SEEDS, CROWDED)], ids=["any", "crowded"])
def test_bounds_hold_where_splices_stay_out(seeds: range, knobs: dict[str, Any]) -> None:
    """Used places and length are bounded for best plans that leave splices out; many bounds are met."""
    partial = 0
    met = Counter[str]()
    for seed in seeds:
        job, best = solved(seed, **knobs)
        unplaced, musts, prefers, legs, trays, _, length, _ = best.goals
        if not unplaced or not legs:
            continue
        partial += 1
        levels: tuple[Level, ...] = () if musts else ("must",) if prefers else ("must", "prefer")
        bounds: dict[GoalName, int] = {"trays": trays, "leg_length_mm": length}
        limits: dict[GoalName, int] = {"legs": legs}
        for goal, value in bounds.items():
            bound = place_counts.goal_bound(job, goal, levels, unplaced, limits, Clock())
            assert bound <= value, f"seed {seed}: {goal}"
            met[goal] += bound == value
            limits[goal] = value
    assert partial > len(seeds) // 12
    assert min(met["trays"], met["leg_length_mm"]) > 5


def test_sleeves_of_legs_that_share_no_tray_ask_for_finer_divisions() -> None:
    """Of four trays of three sleeves each takes one leg of two and one of one: eight legs a trunk, by hand."""
    plain = full_box(3)
    (stack,) = plain["enclosure"]["stacks"] = plain["enclosure"]["stacks"][:1]
    stack["positions"] = 4
    stack["tray"] |= {"fibres": 48, "sleeves": 3, "entrance_legs": 8}
    for trunk in plain["trunks"]:
        trunk["cable"]["subunits"][0]["ribbons"] = 4
    plain["joins"] = [{"a": "P:1-144", "b": "Q:1-144", "name": "0"}]
    plain["rules"] = {**plain["rules"], "same_division": "off"}
    job = job_of(plain)
    settled = Divider(job).settle()
    assert settled is not None
    assert settled.legs == 16
    found = solve(job, time_limit_s=20.0, explain=False)
    assert found.complete
    assert found.plan.value("legs") == 16


def swapped_halves() -> dict[str, Any]:
    """Give two trunks whose halves are spliced crosswise, both divided at the tray."""
    job = strategies.worked_example()
    cable = job["trunks"][1]["cable"]
    for trunk in job["trunks"]:
        trunk["cable"] = cable
        trunk["divide_at"] = ["tray"]
    job["joins"] = [
        {"a": "P:1-24", "b": "Q:25-48", "name": "0"},
        {"a": "P:25-48", "b": "Q:1-24", "name": "1"},
    ]
    return job


@pytest.mark.parametrize("seeds", [SEEDS, pytest.param(range(520, 700), marks=pytest.mark.slow)], ids=["some", "more"])
def test_unplaced_splices_are_never_overrated(seeds: range) -> None:
    """The bound holds for every best plan, and is met by some that leave out more than what has no room."""
    met = 0
    for seed in seeds:
        job, (unplaced, _, _, legs, trays, *_) = best_of(seed)
        assert trays_by_patterns(job, Divider(job).possible, unplaced, legs, Clock()) <= trays, f"seed {seed}"
        patterns = out_by_patterns(job, Divider(job).possible, Clock())
        bound = max(
            out_of_trays(job, Clock()), out_by_stack_counts(job, Clock()), 0 if patterns is None else patterns.least
        )
        assert without_room(job) <= bound <= unplaced, f"seed {seed}"
        met += bound == unplaced > without_room(job)
    assert met > len(seeds) // 6


def test_halves_that_are_spliced_crosswise_stay_out_in_part() -> None:
    """There is room for all of them, and the bound says more than that."""
    job = job_of(swapped_halves())
    best = oracle.solve(swapped_halves())
    assert best is not None
    assert without_room(job) == 0
    assert 0 < max(out_of_trays(job, Clock()), out_by_stack_counts(job, Clock())) <= best.goals[0]


def test_a_ring_of_two_subunits_is_found() -> None:
    """Along P the second half lies no lower than the first, along Q the first no lower than the second: one tray for 48."""
    job = job_of(swapped_halves())

    def together(subunit: Subunit) -> bool:
        del subunit
        return True

    assert [{subunit.name for subunit in ring.subunits} for ring in overfull_rings(job, together, 36)] == [
        {"P/1", "Q/1"}
    ]
    assert overfull_rings(job, lambda subunit: subunit.trunk == "P", 36) == []
    assert preference_bound(job, Divider(job).open, Clock()) is None
    best = oracle.solve(swapped_halves())
    assert best is not None
    assert best.goals[0] > 0


@pytest.mark.parametrize(("splices", "fibres", "out"), [(36, 12, 60), (24, 24, 0), (60, 24, 84)])
def test_what_leads_from_one_leg_of_a_subunit_to_the_next_has_two_trays(splices: int, fibres: int, out: int) -> None:
    """What is more stays out with all that it is spliced to, and preferences that say otherwise are broken; no ring is closed."""
    made = round_by_two_trays(splices, fibres)
    job = job_of(made)
    rings = overfull_rings(job, lambda _: True, fibres)
    assert [(ring.trays, [subunit.name for subunit in ring.subunits]) for ring in rings] == (
        [(2, ["Q/1", "R/1", "P/1"])] if out else []
    )
    best = oracle.solve(made)
    assert best is not None
    assert out_of_trays(job, Clock()) == best.goals[0] == out
    assert (preference_bound(job, Divider(job).open, Clock()) is None) == bool(out)


@pytest.mark.parametrize(
    "seed", [pytest.param(seed, marks=[pytest.mark.slow] * (seed >= 3006)) for seed in range(3000, 3012)]
)
def test_more_threads_find_the_same_goals(seed: int) -> None:
    """The portfolio of eight workers proves what brute force finds."""
    job, goals = best_of(seed)
    state, stopped = Search(job, tuple(goal.id for goal in GOALS), Clock(60.0)).solve()
    assert stopped == "proven"
    assert state.vector == goals
