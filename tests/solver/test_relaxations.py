"""Every relaxation against the whole model alone, goal by goal: no bound is above the best plan, a 'none' is never wrong."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import product
from typing import Any

import pytest

from benchmarks.boxes import SINGLE_12, cabinet, loose_tubes
from benchmarks.cases import shuffle
from tests import strategies
from tests.build import job_of
from trayopt import load_job
from trayopt.domain.assignment import Assignment
from trayopt.domain.base import DivideAt
from trayopt.domain.cablework import Leg
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.domain.ranges import Run
from trayopt.domain.splicing import Piece
from trayopt.goals.registry import measure_all, order
from trayopt.solver.bounds import pattern_bounds
from trayopt.solver.bounds.closed_patterns import closed_bunches
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.kind_counts import AtPlaces
from trayopt.solver.bounds.opposite_orders import must_cross, settle_orders
from trayopt.solver.bounds.partition_bounds import (
    FirstGoals,
    placed_bound,
)
from trayopt.solver.bounds.pattern_bounds import count
from trayopt.solver.bounds.pattern_counts import brought, hold, in_scope
from trayopt.solver.bounds.preference_bounds import can_be_placed, must_bound, preference_bound, preferences_kept
from trayopt.solver.bounds.tray_room import fewest_trays, without_room
from trayopt.solver.bounds.trunks_outside import out_by_patterns, trays_by_patterns
from trayopt.solver.bounds.unplaced import out_by_stack_counts, out_of_trays
from trayopt.solver.bounds.ways_first import WaysFirst
from trayopt.solver.model.base import Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.run import Tuning, run
from trayopt.solver.search.search import Search
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
PLACED: tuple[GoalName, ...] = ("trays", "leg_length_mm", "irregular")
"""Goals that the set partition bounds with counts at places."""


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
        fibres = ribbon * rng.choice([1, 1, 2])
        stack["tray"] |= {"id": f"tray-{fibres}", "fibres": fibres, "sleeves": 48, "entrance_legs": 16}
        stack["positions"] = rng.choice([2, 4])
    data["rules"] = {"tied_trays": {"trays": rng.choice([1, 1, 2]), "weight": rng.choice([1, 2])}, "guide_fill": "off"}
    data["rules"]["breakout"] = {"weight": rng.choice([1, 5])}
    data["rules"]["reach"] = {"bench_mm": 1900}
    data["rules"]["no_empty_below"] = "off"


def at_tray(job: Job, best: Best) -> Mapping[str, tuple[DivideAt, ...]]:
    """Narrow open trunks to where the best plan divides them, so that it is among the plans that are left."""
    divided = Laid(job, best.assignment).divide_at
    return {trunk: (at,) for trunk, at in divided.items()}


AT_PORT = "at the port"
"""The kind of which few jobs are in the scope of counts."""
SEEDS = range(9000, 9020)
MORE = [
    pytest.param(seeds, marks=[pytest.mark.slow] * (seeds != SEEDS), id=name)
    for seeds, name in ((SEEDS, "some"), (range(9020, 9040), "more"))
]
"""Seeds of the usual run, and more of them."""


@pytest.mark.parametrize("seeds", MORE)
@pytest.mark.parametrize("kind", KINDS)
def test_outline_and_room_of_trays(kind: str, seeds: range) -> None:
    """What stays out, and the weight of preferences of complete plans, with trunks open and narrowed; some bounds are met."""
    seen: Counter[str] = Counter()
    for seed in seeds:
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
    assert seen["complete"] > 2
    assert seen["weight"] > 0


@pytest.mark.parametrize("seeds", [SEEDS[:10], pytest.param(SEEDS[10:], marks=pytest.mark.slow)], ids=["some", "more"])
@pytest.mark.parametrize("kind", KINDS)
def test_preferences_that_good_plans_keep(kind: str, seeds: range) -> None:
    """No complete plan of a weight breaks a preference that such plans are said to keep; where little is over, many are."""
    named = 0
    for seed in seeds:
        job, best = drawn(kind, seed)
        if best is None or not best.complete:
            continue
        for over in (0, 1, 2):
            weight = best.values["broken_prefer"] + over
            kept = preferences_kept(job, Divider(job).open, Clock(), weight)
            affordable = {name for name in kept if job.rules[name].weight <= weight}
            named += len(affordable)
            model = build(job, Policy("hard", "soft"), all_placed=True, cuts=False)
            model.require(model.broken("prefer") <= weight)
            broken = [literal for group, literal in model.let_go.items() if group.rule in affordable]
            model.clause(*broken)
            assert run(model, Clock(), TUNING).infeasible, (
                f"seed {seed}: of {sorted(affordable)} a plan of {weight} breaks one"
            )
    assert named > 3


@pytest.mark.parametrize("seeds", MORE)
@pytest.mark.parametrize("kind", KINDS)
def test_set_partition(kind: str, seeds: range) -> None:
    """Preferences, legs, used places, leg length and irregularity of complete plans, with trunks open and narrowed."""
    met, laid = Counter[str](), Counter[str]()
    for seed in seeds:
        job, best = drawn(kind, seed)
        if best is None or not best.complete or not best.values["legs"]:
            continue
        values, divider = best.values, Divider(job)
        prefers, legs = values["broken_prefer"], values["legs"]
        for divide_at in (None, at_tray(job, best)):
            more: dict[str, Any] = {"divide_at": divide_at}
            limits: dict[GoalName, int] = {"legs": legs}
            bounds: dict[GoalName, int | None] = {
                "broken_prefer": FirstGoals(divider, divider.open, Clock(), **more).weight(0),
                "legs": FirstGoals(divider, divider.open, Clock(), **more).legs(prefers).bound,
            }
            for goal in PLACED:
                counted = placed_bound(goal, divider, divider.open, prefers, 0, limits, Clock(), **more)
                bounds[goal] = counted.bound
                if divide_at is None and counted.best is not None and counted.bound == values[goal]:
                    laid[goal] += laid_out(job, values, goal, counted.best)
                limits = {**limits, goal: values[goal]}
            for goal, bound in bounds.items():
                assert bound is not None, f"seed {seed}: {goal} denies a plan that is there"
                assert bound <= values[goal], f"seed {seed}: {goal}"
                met[goal] += bound == values[goal]
            left = FirstGoals(divider, divider.open, Clock(), **more).narrowed(prefers, legs, divider.open)
            for leg in best.assignment.places:
                assert leg.of in left[leg.trunk, leg.subunit], f"seed {seed}"
    assert min(met[goal] for goal in ORDER[2:] if goal != "crossings") > 2, met
    assert laid["leg_length_mm"] or kind == "parked", laid  # of the few parked jobs none is laid out


def laid_out(job: Job, values: Mapping[GoalName, int], goal: GoalName, best: AtPlaces) -> bool:
    """Whether a plan has the counts of closed patterns at every place; it then has no more trays and no longer legs."""
    model = build(job, Policy("hard", "soft"), all_placed=True)
    before: tuple[GoalName, ...] = ("broken_prefer", "legs")
    for name in before:
        model.require(model.goal(name) <= values[name])
    outcome = run(model, Clock(), TUNING, trial=hold(model, best, places=True, alike=brought))
    if outcome.assignment is None:
        return False
    found = measure_all(Laid(job, outcome.assignment))
    if goal != "irregular":  # of which neighbours are part
        assert found[goal] == values[goal]
    return True


@pytest.mark.parametrize("seeds", [SEEDS[:10], pytest.param(SEEDS[10:], marks=pytest.mark.slow)], ids=["some", "more"])
@pytest.mark.parametrize("kind", KINDS)
def test_set_partition_where_legs_do_not_come_first(kind: str, seeds: range) -> None:
    """Used places, length and irregularity of plans with any number of legs, each as the goal after preferences."""
    for seed in seeds:
        job, best = drawn(kind, seed)
        if best is None or not best.complete or not best.values["legs"]:
            continue
        divider = Divider(job)
        weight = best.values["broken_prefer"]
        for goal in PLACED:
            alone = solved(job, build(job, Policy(), all_placed=False, cuts=False), (*ORDER[:3], goal))
            assert alone is not None
            least = placed_bound(goal, divider, divider.open, weight, 0, {}, Clock())
            assert least.bound <= alone.values[goal], f"seed {seed}: {goal}"


@pytest.mark.parametrize(
    ("kind", "seeds"),
    [
        pytest.param(kind, seeds, marks=[pytest.mark.slow] * (seeds[-1] != SEEDS[-1] and kind != AT_PORT))
        for kind in KINDS
        for seeds in ([range(9000, 9040)] if kind == AT_PORT else [SEEDS, range(9020, 9040)])
    ],
)
def test_counts_of_settled_divisions(kind: str, seeds: range) -> None:
    """Used places, length and irregularity of the plans of one whole model; counts deny none that is there."""
    seen: Counter[str] = Counter()
    for seed in seeds:
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
        for i, goal in enumerate(PLACED):
            first = solved(job, whole(), PLACED[i : i + 1])
            held = solved(job, whole(), PLACED[: i + 1])
            assert first is not None
            assert held is not None
            trays, length = held.values["trays"], held.values["leg_length_mm"]
            limits: dict[GoalName, int] = {"trays": trays, "leg_length_mm": length}
            limits = {name: limits[name] for name in PLACED[:i] if name in limits}
            bounds = tuple(pattern_bounds.placed_bound(goal, whole(), weight, most, Clock()) for most in ({}, limits))
            if goal == "leg_length_mm":
                for plan in (first, held):
                    choices = WaysFirst(whole(), weight, Clock()).within(plan.values[goal])
                    later = WaysFirst(whole(), weight, Clock())
                    later.within(plan.values[goal] * 9 // 10)
                    assert later.within(plan.values[goal]) == choices, f"seed {seed}: asked for less at first"
                    goes = plan.assignment.ways
                    if choices is not None:
                        gone = [
                            choice
                            for choice in choices
                            if all(goes[trunk] == way for trunk, way in choice.ways.items())
                        ]
                        assert len(gone) == 1, f"seed {seed}: {goal}"
                        assert gone[0].least <= plan.values[goal], f"seed {seed}: {goal}"
                        seen["choices of ways"] += 1
                counted = count(whole(), weight, Clock(), trays=trays)
                assert counted is not None
                assert counted.bound == bounds[1]
            for bound, plan in zip(bounds, (first, held), strict=True):
                assert bound is not None, f"seed {seed}: counts deny a plan that is there"
                assert bound <= plan.values[goal], f"seed {seed}: {goal}"
                seen[goal] += bound == plan.values[goal]
    assert min(seen.values(), default=0) > 1, seen


@pytest.mark.parametrize(("blocks", "positions"), [(4, 2), (6, 3)])
def test_opposite_orders(blocks: int, positions: int) -> None:
    """What has to cross is no more than what crosses in the best plan of whole legs in random order; some of it is met."""
    met = 0
    for seed in range(1, 8):
        job = load_job(shuffle(loose_tubes(blocks), blocks, 12, seed, cabinet(2, positions, SINGLE_12), "tray"))
        model = build(job, Policy(), all_placed=True)
        model.goal("crossings")
        paid = must_cross(model)
        if paid is None:
            continue
        plain = solved(job, build(job, Policy(), all_placed=True, cuts=False), ("crossings",))
        assert plain is not None
        assert paid.crossings <= plain.values["crossings"], f"seed {seed}"
        met += paid.crossings == plain.values["crossings"]
    assert met > 0


@pytest.mark.parametrize("positions", [2, 3])
def test_orders_that_cost_more_are_in_no_plan_of_the_fewest_crossings(positions: int) -> None:
    """With and without them, plans of the fewest crossings are as regular and as irregular, as short and as long as can be."""
    settled = 0
    for seed in range(1, 6):
        job = load_job(shuffle(loose_tubes(4), 4, 12, seed, cabinet(2, positions, SINGLE_12), "tray"))
        first = solved(job, build(job, Policy(), all_placed=True), ("crossings",))
        assert first is not None
        for goal, sign in product(PLACED[1:], (1, -1)):
            found = []
            for settle in (False, True):
                model = build(job, Policy("hard", "free"), all_placed=True)
                crossings = model.goal("crossings")
                if isinstance(crossings, int):
                    continue
                model.require(crossings <= first.values["crossings"])
                before = len(model.cp.proto.constraints)
                if settle:
                    settle_orders(model, first.values["crossings"])
                settled += len(model.cp.proto.constraints) > before
                model.minimize(sign * model.goal(goal))
                outcome = run(model, Clock(), TUNING)
                assert outcome.proven
                found.append(outcome.value)
            assert len(set(found)) <= 1, f"seed {seed}: {goal}"
    assert settled > 3


def full_box(divide_at: Sequence[str], subunits: int = 1, trays: int = 2) -> Job:
    """Give two trunks of subunits of 4 x 12 that fill trays of 12: four legs each, one a tray, on two stacks of twelve."""
    data = strategies.worked_example()
    for stack in data["enclosure"]["stacks"]:
        stack["positions"] = 12
        stack["tray"] |= {"fibres": 12, "sleeves": 4}
    for trunk in data["trunks"]:
        trunk["cable"]["subunits"] = [
            {"count": subunits, "ribbons": 4, "ribbon_fibres": 12, "diameter_mm": 6, "least_radius_mm": 60}
        ]
        trunk["divide_at"] = list(divide_at)
    data["joins"] = [{"a": f"P:1-{48 * subunits}", "b": f"Q:1-{48 * subunits}", "name": "0"}]
    data["rules"] = {"reach": {"bench_mm": 1700}, "tied_trays": {"trays": trays}, "natural_travel": "off"}
    return job_of(data)


@pytest.mark.parametrize(
    ("divide_at", "trays", "weight"),
    [
        (("tray",), 2, 4),  # four trays are tied, and each of them is one too many
        (("tray",), 4, 0),
        (("port",), 2, 0),
        (("tray", "port"), 2, 2),  # cheaper: both trunks divided at the port
    ],
)
def test_what_tied_trays_cost(divide_at: Sequence[str], trays: int, weight: int) -> None:
    job = full_box(divide_at, trays=trays)
    divider = Divider(job)
    assert preference_bound(job, divider.open, Clock()) == weight
    assert FirstGoals(divider, divider.open, Clock()).weight(0) == weight
    best = solved(job, build(job, Policy(), all_placed=False, cuts=False), ORDER[:3])
    assert best is not None
    assert best.complete
    assert best.values["broken_prefer"] == weight


def test_a_tie_that_is_a_must_divides_at_the_port() -> None:
    """Four trays may not be tied: nothing but the port is left, and without it nothing at all."""
    for divide_at, weight in ((("tray", "port"), 2), (("tray",), None)):
        job = full_box(divide_at)
        rules = {**job.rules, "tied_trays": job.rules["tied_trays"].model_copy(update={"level": "must"})}
        job = job.model_copy(update={"rules": rules})
        assert preference_bound(job, Divider(job).open, Clock()) == weight


def straddling(positions: int, subunits: int) -> dict[str, Any]:
    """Write a job of subunits of 3 x 8 on two stacks of trays of 16 with so many positions: each fills a tray and a half."""
    data = strategies.worked_example()
    for stack in data["enclosure"]["stacks"]:
        stack["positions"] = positions
        stack["tray"] |= {"fibres": 16, "sleeves": 8, "entrance_legs": 8}
    for trunk in data["trunks"]:
        trunk["cable"]["subunits"] = [
            {"count": subunits, "ribbons": 3, "ribbon_fibres": 8, "diameter_mm": 5, "least_radius_mm": 50}
        ]
        trunk["divide_at"] = ["tray"]
    data["joins"] = [{"a": f"P:1-{24 * subunits}", "b": f"Q:1-{24 * subunits}", "name": "0"}]
    data["rules"] = {"reach": {"bench_mm": 1700}, "natural_travel": "off", "alternate_stacks": "off"}
    return data


@pytest.mark.parametrize(("positions", "subunits", "weight"), [(4, 4, 0), (3, 4, 6), (5, 5, 3)])
def test_subunits_that_share_a_tray_where_places_are_scarce(positions: int, subunits: int, weight: int) -> None:
    """Each subunit ties two places, or three with one that it shares a tray with: one too many for each of the three."""
    job = job_of(straddling(positions, subunits))
    divider = Divider(job)
    assert preference_bound(job, divider.open, Clock()) == weight
    best = solved(job, build(job, Policy(), all_placed=False, cuts=False), ORDER[:3])
    assert best is not None
    assert best.complete
    assert best.values["broken_prefer"] == weight


def test_a_block_between_trunks_at_the_port_lies_on_two_stacks() -> None:
    """72 splices of two trunks divided at the port fit on two stacks of 48, beside 24 of a trunk divided at the tray."""
    data = strategies.worked_example()
    p, q = data["trunks"]
    q["cable"]["subunits"] = [{"count": 1, "ribbons": 8, "ribbon_fibres": 12, "diameter_mm": 6, "least_radius_mm": 60}]
    q["divide_at"] = ["port"]
    r = {**q, "id": "R", "cable": {**q["cable"], "id": "cable-r"}}
    r["cable"]["subunits"] = [{"count": 1, "ribbons": 6, "ribbon_fibres": 12, "diameter_mm": 6, "least_radius_mm": 60}]
    p["cable"]["subunits"] = [{"count": 1, "ribbons": 2, "ribbon_fibres": 12, "diameter_mm": 5, "least_radius_mm": 50}]
    p["divide_at"] = ["tray"]
    data["trunks"].append(r)
    data["joins"] = [{"a": "P:1-24", "b": "Q:1-24", "name": "0"}, {"a": "Q:25-96", "b": "R:1-72", "name": "1"}]
    data["rules"] = {"reach": "off", "port_seal": "off", "entrance_legs": "off", "guide_fill": "off"}
    job = job_of(data)
    best = solved(job, build(job, Policy(), all_placed=False, cuts=False), ORDER[:1])
    assert best is not None
    assert out_of_trays(job, Clock()) == best.values["unplaced"] == 0


def test_an_opened_tube_takes_room_for_what_is_parked() -> None:
    """Of two subunits of 48 with 12 splices each, divided at the tray, a box of 60 fibres takes one; at the port both."""
    for divide_at, out in (("tray", 12), ("port", 0)):
        data = strategies.worked_example()
        (stack,) = data["enclosure"]["stacks"] = data["enclosure"]["stacks"][:1]
        stack["positions"] = 5
        stack["tray"] |= {"fibres": 12}
        for trunk in data["trunks"]:
            trunk["cable"]["subunits"] = [
                {"count": 2, "ribbons": 4, "ribbon_fibres": 12, "diameter_mm": 6, "least_radius_mm": 60}
            ]
            trunk["divide_at"] = [divide_at]
        data["joins"] = [{"a": "P:1-12", "b": "Q:1-12", "name": "0"}, {"a": "P:49-60", "b": "Q:49-60", "name": "1"}]
        data["rules"] = {"reach": "off"}
        job = job_of(data)
        best = solved(job, build(job, Policy(), all_placed=False, cuts=False), ORDER[:1])
        assert best is not None
        assert without_room(job) == 0
        assert out_of_trays(job, Clock()) == best.values["unplaced"] == out


def test_a_parked_leg_is_a_pattern_by_itself() -> None:
    spliced, other, parked = Leg("P", 1, 1, 2), Leg("Q", 1, 1, 1), Leg("P", 1, 2, 2)
    piece = Piece(0, Run("P", 1, 12), Run("Q", 1, 12))
    loads = {spliced: 12, other: 12, parked: 12}
    assert closed_bunches({piece: ((spliced,), (other,))}, loads, 24) == [(parked,), (spliced, other)]
    assert closed_bunches({piece: ((spliced,), (other,))}, loads, 12) == [(parked,)]
    assert closed_bunches({piece: ((spliced,), (other,))}, {**loads, parked: 30}, 24) == [(spliced, other)]


@pytest.mark.parametrize(("divide_at", "trays"), [(("tray", "port"), 1), (("port",), 1), (("tray",), 2)])
def test_idle_legs_are_counted_at_the_tray_alone(divide_at: Sequence[str], trays: int) -> None:
    """A tray of 12 takes the twelve splices; the other half of P/1 is parked in a second one, if its tube is opened there."""
    data = strategies.worked_example()
    for stack in data["enclosure"]["stacks"]:
        stack["tray"] |= {"fibres": 12}
    p, q = data["trunks"]
    p["divide_at"] = list(divide_at)
    q["cable"]["subunits"] = [{"count": 1, "ribbons": 1, "ribbon_fibres": 12, "diameter_mm": 5, "least_radius_mm": 50}]
    data["joins"] = [{"a": "P:1-12", "b": "Q:1-12", "name": "0"}]
    data["rules"] = {"reach": "off", "breakout": "off", "subunit_together": "must"}
    job = job_of(data)
    divider = Divider(job)
    divisions: dict[Key, tuple[int, ...]] = {("P", 1): (2,), ("Q", 1): (1,)}
    model = build(job, Policy("hard", "soft"), all_placed=True, divisions=divisions, cuts=False)
    weight = 10
    assert in_scope(model)
    assert pattern_bounds.placed_bound("trays", model, weight, {}, Clock()) == trays
    assert placed_bound("trays", divider, divider.open, weight, 0, {}, Clock()).bound == trays
    assert FirstGoals(divider, divider.open, Clock()).legs(weight).bound == trays + 1
    best = solved(job, model, ("legs", "trays"))
    assert best is not None
    assert (best.values["trays"], best.values["legs"]) == (trays, trays + 1)


def eights_against_twelves(positions: int) -> Job:
    """Join 72 fibres in ribbons of 8 to ribbons of 12, on one stack of trays of 72 with six sleeves.

    Each closed group holds 24 splices or more, in runs of 8, 4, 4 and 8: four sleeves, so no tray takes two of them.
    """
    data = strategies.worked_example()
    (stack,) = data["enclosure"]["stacks"] = data["enclosure"]["stacks"][:1]
    stack["positions"] = positions
    stack["tray"] |= {"fibres": 72, "sleeves": 6, "entrance_legs": 12}
    for trunk, ribbons in zip(data["trunks"], (9, 6), strict=True):
        trunk["cable"]["subunits"] = [
            {
                "count": 1,
                "ribbons": ribbons,
                "ribbon_fibres": 72 // ribbons,
                "diameter_mm": 6,
                "least_radius_mm": 60,
            }
        ]
        trunk["divide_at"] = ["port"]
    data["joins"] = [{"a": "P:1-72", "b": "Q:1-72", "name": "0"}]
    data["rules"] = {"reach": "off"}
    return job_of(data)


@pytest.mark.parametrize(("positions", "legs", "out"), [(2, None, 24), (3, 6, 0)])
def test_groups_of_four_sleeves_take_a_tray_each(positions: int, legs: int | None, out: int) -> None:
    """Two trays have as many sleeves as three groups, and no leg takes more than half of a tray."""
    job = eights_against_twelves(positions)
    divider = Divider(job)
    assert divider.settle() is not None, "legs alone tell nothing"
    assert FirstGoals(divider, divider.open, Clock()).legs(None).bound == legs
    model = build(job, Policy(), all_placed=False, cuts=False)
    best = solved(job, model, ORDER[:5])
    assert best is not None
    assert best.values["unplaced"] == out
    assert best.values["trays"] == positions > fewest_trays(model, out)
    least = trays_by_patterns(job, divider.possible, out, best.values["legs"], Clock())
    assert least == positions
    assert out_by_stack_counts(job, Clock()) == 0
    patterns = out_by_patterns(job, divider.possible, Clock())
    assert patterns is not None
    assert patterns.least == out


def test_what_a_tube_opened_at_the_tray_leaves_out() -> None:
    """Three trays take a group of 24 each: one tube of 48 whole and nothing of the other, or half of that at the port."""
    for divide_at, out in (("tray", 48), ("port", 24)):
        data = strategies.worked_example()
        (stack,) = data["enclosure"]["stacks"] = data["enclosure"]["stacks"][:1]
        stack["positions"] = 3
        stack["tray"] |= {"fibres": 24, "sleeves": 4, "entrance_legs": 12}
        for trunk, ribbons in zip(data["trunks"], (4, 6), strict=True):
            trunk["cable"]["subunits"] = [
                {
                    "count": 2,
                    "ribbons": ribbons,
                    "ribbon_fibres": 48 // ribbons,
                    "diameter_mm": 6,
                    "least_radius_mm": 60,
                }
            ]
            trunk["divide_at"] = [divide_at]
        data["joins"] = [{"a": "P:1-96", "b": "Q:1-96", "name": "0"}]
        data["rules"] = {"reach": "off"}
        job = job_of(data)
        best = solved(job, build(job, Policy(), all_placed=False, cuts=False), ORDER[:1])
        assert best is not None
        found = out_by_patterns(job, Divider(job).possible, Clock())
        assert found is not None
        assert (divide_at, found.least, best.values["unplaced"]) == (divide_at, out, out)


def test_musts_that_ways_and_stacks_do_not_let_be_kept() -> None:
    """Q's tube lies on one stack, so both subunits of P do: the second does not alternate, and nothing else is broken."""
    data = strategies.worked_example()
    data["rules"]["alternate_stacks"] = "must"
    for trunk in data["trunks"]:
        trunk["divide_at"] = ["tray"]
    job = job_of(data)
    assert must_bound(job, Divider(job).open, Clock()) == (1, 0)
    best = solved(job, build(job, Policy(), all_placed=False, cuts=False), ORDER[:3])
    assert best is not None
    assert (best.values["broken_must"], best.values["broken_prefer"]) == (1, 0)
    state, stopped = Search(job, ORDER, Clock(None)).solve()
    assert stopped == "proven"
    assert state.proofs["broken_must"].by == "outline"


def test_fewest_broken_musts_are_never_overrated() -> None:
    met = 0
    for kind, seed in product(KINDS, range(9100, 9112)):
        job = job_of(strategies.random_job(random.Random(seed), **{**KINDS[kind], "rules": 0.6}))
        best = solved(job, build(job, Policy(), all_placed=True, cuts=False), ORDER[:3])
        divider = Divider(job)
        if best is None or divider.hopeless:
            continue
        bound = must_bound(job, divider.open, Clock())
        musts, weight = best.values["broken_must"], best.values["broken_prefer"]
        assert bound.musts <= musts, f"{kind}, seed {seed}"
        assert bound.musts < musts or bound.weight <= weight, f"{kind}, seed {seed}"
        met += 0 < bound.musts == musts
    assert met
