"""Stretches at places against the whole model, where tubes are opened, legs parked and trunks divided at either place."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import pi, sqrt
from typing import Any

import pytest

from tests.build import job_of
from tests.strategies import worked_example
from trayopt.domain.assignment import Assignment
from trayopt.domain.base import remade
from trayopt.domain.hardware import Place
from trayopt.domain.job import Apart, Job
from trayopt.domain.plan import GoalName
from trayopt.goals.registry import measure_all, order
from trayopt.rules.judge import judge, no_plan_breaks
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.segments import Segments
from trayopt.solver.bounds.settled_segments import SettledSegments
from trayopt.solver.bounds.stretches import stretches_of
from trayopt.solver.heuristics.completion import RelaxedModel
from trayopt.solver.heuristics.constructive import first_plans
from trayopt.solver.heuristics.laying import keeps_facts
from trayopt.solver.heuristics.primal import complete_solution
from trayopt.solver.heuristics.session import Session
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.run import Tuning, run
from trayopt.track.laid import Laid
from trayopt.track.routes import all_ways, routes_of

GOALS: tuple[GoalName, ...] = tuple(goal.id for goal in order(None))
STRICT = Policy("hard", "soft")


def cable(name: str, subunits: Sequence[tuple[int, int]], **given: Any) -> dict[str, Any]:
    """Give a cable of subunits, each so many of so many ribbons of 12."""
    groups = [
        {"count": count, "ribbons": ribbons, "ribbon_fibres": 12, "diameter_mm": 5, "least_radius_mm": 50}
        for count, ribbons in subunits
    ]
    usual = {"kind": "cable", "id": name, "construction": "ribbon", "diameter_mm": 12, "fibre": "G.652.D"}
    return {**usual, "ribbon_mm": [3.22, 0.36], "tubes": True, "subunits": groups, **given}


def box(positions: int, fibres: int) -> dict[str, Any]:
    """Give the enclosure of the worked example with other trays."""
    enclosure: dict[str, Any] = worked_example()["enclosure"]
    for guide in enclosure["track"]["guides"]:
        guide["opening_mm2"] = 6000
    for port in enclosure["ports"]:
        port["seals"].append({"holes": 2, "least_mm": 8, "most_mm": 18})
    for stack in enclosure["stacks"]:
        stack["positions"] = positions
        stack["tray"] |= {"fibres": fibres, "sleeves": fibres // 12 + 1, "entrance_legs": 8}
    return enclosure


def job_with(
    cables: Mapping[str, dict[str, Any]],
    joins: Sequence[tuple[str, str]],
    *,
    positions: int = 3,
    fibres: int = 24,
    divide_at: Mapping[str, Sequence[str]] | None = None,
    **rules: Any,
) -> Job:
    """Make a job of trunks and joins; a trunk that ``divide_at`` does not name may be divided at either place."""
    plain = worked_example(None)
    plain["enclosure"] = box(positions, fibres)
    plain["trunks"] = [
        {
            "id": name,
            "cable": made,
            "ports": ["bl" if i % 2 == 0 else "br"],
            "travel": "either",
            "loops": [1],
            "divide_at": list((divide_at or {}).get(name, ("tray", "port"))),
            "idle": "coiled",
        }
        for i, (name, made) in enumerate(cables.items())
    ]
    plain["joins"] = [{"a": a, "b": b} for a, b in joins]
    plain["rules"] = {"reach": {"bench_mm": 200}, **rules}
    return job_of(plain)


def idle_job(seed: int) -> Job:
    """Draw two or three trunks of which fibres, whole legs and ribbons stay without a splice, at offsets of 12 fibres or 6."""
    rng = random.Random(seed)
    names = ["P", "Q", "R"][: rng.choice([2, 2, 3])]
    cables = {
        name: cable(f"cable-{name.lower()}", [(rng.choice([1, 2]), rng.choice([2, 3, 4]))])
        | ({"tubes": False} if rng.random() < 0.1 else {})
        for name in names
    }
    size = {
        name: sum(12 * group["count"] * group["ribbons"] for group in made["subunits"]) for name, made in cables.items()
    }
    used = dict.fromkeys(names, 1)
    joins = []
    pairs = [("P", "Q"), ("P", "Q")] if len(names) == 2 else [("P", "Q"), ("Q", "R"), ("P", "R")]
    for a, b in pairs:
        start = {name: used[name] + rng.choice([0, 0, 12, 12, 24, 6]) for name in (a, b)}
        room = min(size[name] - start[name] + 1 for name in (a, b))
        if room < 6:
            continue
        count = min(room, rng.choice([6, 12, 12, 18, 24]))
        joins.append((f"{a}:{start[a]}-{start[a] + count - 1}", f"{b}:{start[b]}-{start[b] + count - 1}"))
        for name in (a, b):
            used[name] = start[name] + count
    joins = joins or [("P:1-12", "Q:1-12")]
    if rng.random() < 0.3:
        joins.reverse()
    divide_at = {
        name: rng.choice([("tray",), ("tray", "port"), ("tray", "port"), ("port",)]) if made["tubes"] else ("port",)
        for name, made in cables.items()
    }
    rules: dict[str, Any] = {"tied_trays": {"trays": rng.choice([1, 2, 2]), "weight": rng.choice([1, 3])}}
    if rng.random() < 0.3:
        rules["subunit_together"] = rng.choice(["off", "must"])
    if rng.random() < 0.3:
        rules["breakout"] = rng.choice(["off", "must"])
    positions, fibres = rng.choice([(2, 24), (3, 12), (3, 18), (2, 12)])
    return job_with(cables, joins, positions=positions, fibres=fibres, divide_at=divide_at, **rules)


def best_of(job: Job) -> Assignment:
    """Find the best plan of a job by the whole model alone, goal after goal."""
    model = build(job, Policy(), all_placed=False)
    found = None
    for goal in order(None):
        expression = goal.encode(job, model)
        if isinstance(expression, int):
            continue
        model.minimize(expression)
        outcome = run(model, Clock(60), Tuning(workers=2))
        assert outcome.proven, goal.id
        assert outcome.assignment is not None
        found = outcome.assignment
        model.cp.clear_objective()
        model.require(expression <= (outcome.value or 0))
    assert found is not None
    return found


def layouts_of(divider: Divider, *, whole: bool, divide_at: Any = None) -> RelaxedModel[Segments]:
    """Make the stretches of plans that place every splice and keep every must, or of any."""
    divisions, policy = (divider.open, STRICT) if whole else (divider.possible, Policy())
    blocks = Segments(divider, divisions, policy, all_placed=whole, clock=Clock(), divide_at=divide_at)
    return RelaxedModel(blocks, Clock())


def first_goals(blocks: Segments) -> dict[str, Any]:
    """Encode the goals up to the legs."""
    return {
        "unplaced": blocks.unplaced(),
        "broken_must": blocks.broken("must"),
        "broken_prefer": blocks.broken("prefer"),
        "legs": blocks.placed_legs(),
    }


def partings_of(plan: Laid) -> dict[str, tuple[Any, ...]]:
    return {trunk: (at,) for trunk, at in plan.divide_at.items()}


@pytest.mark.parametrize("first", [0, 100])
def test_no_bound_is_above_the_best_plan(first: int) -> None:
    """Every goal of the best plan is bounded, with divisions open and settled, and where trunks are divided open and settled."""
    met: Counter[str] = Counter()
    for seed in range(first, first + 12):
        job = idle_job(seed)
        plan = best_of(job)
        laid = Laid(job, plan)
        values = measure_all(laid)
        whole = not values["unplaced"] and not values["broken_must"]
        divider = Divider(job)
        for divide_at in (None, partings_of(laid)):
            layouts = layouts_of(divider, whole=whole, divide_at=divide_at)
            blocks = layouts.blocks
            held: list[Any] = []
            goals = first_goals(blocks) | {"trays": sum(blocks.used(place) for place in job.enclosure.places)}
            for goal, expression in goals.items():
                bound = layouts.least(expression, *held).bound
                assert bound is not None, f"seed {seed}: {goal} denies a plan that is there"
                assert bound <= values[goal], f"seed {seed}: {goal}"  # type: ignore[index]
                held.append(expression <= values[goal])  # type: ignore[index]
                met["bounds"] += 1
                met["exact"] += bound == values[goal]  # type: ignore[index]
            assert divider.least_legs(values["unplaced"]) <= values["legs"]
            divisions = {
                key: (laid.division[key],) if key in laid.division else open_[:1]
                for key, open_ in (divider.open if whole else divider.possible).items()
            }
            settled = SettledSegments(
                divider, divisions, blocks.policy, all_placed=whole, clock=Clock(), divide_at=divide_at
            )
            if not settled.able:
                continue
            layouts = RelaxedModel(settled, Clock())
            held = []
            for goal in GOALS:
                bound = layouts.least(settled.goal(goal), *held).bound
                assert bound is not None, f"seed {seed}: {goal} denies a plan that is there"
                assert bound <= values[goal], f"seed {seed}: {goal}"
                held.append(settled.goal(goal) <= values[goal])
                met["settled bounds"] += 1
                met["settled exact"] += bound == values[goal]
        met["opened"] += any(map(laid.opened, job.subunits))
        met["parked"] += any(not job.spliced_fibres(leg) for leg in plan.places)
    assert met["exact"] > 0.9 * met["bounds"]
    assert met["settled exact"] > 0.9 * met["settled bounds"] > 0
    assert met["opened"] > 1
    assert met["parked"] > 0


def just_wide_enough(job: Job, plan: Laid) -> Job:
    """Give each guide of a job the opening that a plan asks for, and no more; what it costs to lay a turn stays as it is."""
    track = job.enclosure.track
    area = {
        guide.id: sum(times * pi * item.diameter_mm**2 / 4 for item, times in plan.passes(guide.id))
        for guide in track.guides
    }
    guides = tuple(
        remade(guide, opening_mm2=max(2 * area[guide.id], 1) + 0.001, width_mm=sqrt(guide.opening_mm2))
        for guide in track.guides
    )
    return remade(job, enclosure=remade(job.enclosure, track=remade(track, guides=guides)))


@pytest.mark.parametrize("first", [200])
def test_tubes_that_are_followed_to_their_stacks_deny_no_plan(first: int) -> None:
    """Guides that the best plan just fits through: it stays within all bounds, and tubes that fit nowhere are denied."""
    seen: Counter[str] = Counter()
    for seed in range(first, first + 12):
        wide = idle_job(seed)
        plan = best_of(wide)
        values = measure_all(Laid(wide, plan))
        if values["unplaced"] or values["broken_must"]:
            continue
        job = just_wide_enough(wide, Laid(wide, plan))
        assert not [finding for finding in judge(job, Laid(job, plan)) if finding.level == "must"]
        layouts = blocks_of(job)
        blocks = layouts.blocks
        seen["followed"] += blocks.follow_tubes()
        weight = least(layouts, blocks.broken("prefer"))
        assert weight is not None
        assert weight <= values["broken_prefer"], f"seed {seed}"
        fewest = least(layouts, blocks.placed_legs(), blocks.broken("prefer") <= values["broken_prefer"])
        assert fewest is not None
        assert fewest <= values["legs"], f"seed {seed}"
    assert seen["followed"] > 3


def test_tubes_that_are_followed_pass_guides_by_the_way_of_their_trunk() -> None:
    """Eight tubes of P pass each guide on their loop, and those on their way to the stacks once more.

    A guide of 600 mm², filled to a half, takes 15 passes of tubes of 5 mm: it denies the way on which the eight pass it twice.
    """
    job = job_with({"P": cable("p", [(2, 4)]), "Q": cable("q", [(2, 4)])}, [("P:1-96", "Q:1-96")], fibres=48)
    trunk = job.trunk_by_id["P"]
    routes, stacks = routes_of(job), job.enclosure.stacks
    ways = {way.travel: way for way in all_ways(job, trunk)}
    on_the_way = {
        travel: [set(routes.direct(way, stack.id, end.id)) for stack in stacks for end in stack.ends]
        for travel, way in ways.items()
    }
    one_way, other = on_the_way["clockwise"], on_the_way["counterclockwise"]
    narrow = min(set.intersection(*one_way) - set[str]().union(*other))
    guides = tuple(
        remade(guide, opening_mm2=600 if guide.id == narrow else 6000) for guide in job.enclosure.track.guides
    )
    job = remade(job, enclosure=remade(job.enclosure, track=remade(job.enclosure.track, guides=guides)))
    layouts = blocks_of(job)
    blocks = layouts.blocks
    fine: list[Any] = [blocks.divided(subunit, 4) >= 1 for subunit in trunk.subunits]
    at_port = blocks.divided_at(trunk, "port") >= 1

    def possible() -> dict[str, bool]:
        legs = blocks.placed_legs()
        return {
            travel: least(layouts, legs, *fine, at_port, blocks.goes(trunk, way) >= 1) is not None
            for travel, way in ways.items()
        }

    assert possible() == {"clockwise": True, "counterclockwise": True}
    assert layouts.blocks.follow_tubes()
    assert possible() == {"clockwise": False, "counterclockwise": True}
    assert not layouts.blocks.follow_tubes(), "they are followed once"


def test_stretches_make_up_subunits() -> None:
    """Blocks and gaps of a subunit with a splice follow each other from its first fibre to its last."""
    job = job_with(
        {"P": cable("p", [(3, 4)]), "Q": cable("q", [(2, 3)])}, [("P:13-30", "Q:1-18"), ("P:49-60", "Q:25-36")]
    )
    held: Counter[tuple[str, int]] = Counter()
    for stretch in stretches_of(job):
        for key in stretch.keys:
            held[key] += stretch.fibres
    assert held == {("P", 1): 48, ("P", 2): 48, ("Q", 1): 36}
    gaps = [(stretch.sides[0], stretch.fibres) for stretch in stretches_of(job) if not stretch.spliced]
    assert gaps == [(("P", 1, 1), 12), (("P", 1, 31), 18), (("P", 2, 61), 36), (("Q", 1, 19), 6)]


def blocks_of(job: Job, **given: Any) -> RelaxedModel[Segments]:
    divider = Divider(job)
    return RelaxedModel(Segments(divider, divider.open, STRICT, all_placed=True, clock=Clock(), **given), Clock())


def least(layouts: RelaxedModel[Segments], goal: Any, *held: Any) -> int | None:
    return layouts.least(goal, *held).bound


def test_a_parked_leg_takes_a_tray_of_its_own() -> None:
    """A tube of 4 ribbons, the first spliced and the last, needs a tray a ribbon of 12 fibres at 24 ends where trays hold 24.

    Divided at the tray, its two idle legs (12 ends each) lie between the two spliced ones (24 ends each): they share a tray,
    and the four legs lie in three trays, two ties; one would be allowed.
    """
    joins = [("P:1-12", "Q:1-12"), ("P:37-48", "Q:13-24")]
    cables = {"P": cable("p", [(1, 4)]), "Q": cable("q", [(2, 1)])}
    at_tray = job_with(cables, joins, fibres=12, divide_at={"P": ["tray"], "Q": ["tray"]})
    layouts = blocks_of(at_tray)
    blocks = layouts.blocks
    assert least(layouts, sum(blocks.used(place) for place in at_tray.enclosure.places)) == 3
    assert least(layouts, blocks.placed_legs()) == 6
    tied = sum(literal for group, literal in blocks.let_go.items() if group.rule == "tied_trays")
    assert least(layouts, tied) == 3, "each tray of the group is broken for"
    either = job_with(cables, joins, fibres=12)
    layouts = blocks_of(either)
    assert least(layouts, sum(layouts.blocks.used(place) for place in either.enclosure.places)) == 2
    assert least(layouts, layouts.blocks.placed_legs()) == 4
    parted = [literal for group, literal in layouts.blocks.let_go.items() if group.rule == "breakout"]
    assert least(layouts, sum(parted)) == 0
    assert least(layouts, layouts.blocks.placed_legs(), sum(parted) <= 0) == 6
    narrowed = blocks_of(either, divide_at={"P": ("tray",), "Q": ("tray",)})
    assert least(narrowed, narrowed.blocks.placed_legs()) == 6


@pytest.mark.parametrize("opening_mm2", [500, 1200])
def test_tubes_of_a_trunk_that_may_be_divided_at_either_place_fit_the_guides(opening_mm2: int) -> None:
    """P in eight legs of one ribbon: at the port they take eight tubes of 5 mm, at the tray the two of 5 mm that P has.

    Each tube passes the first guide twice, once on the loop. A guide of 500 mm², filled to a half, takes twelve such passes.
    """
    job = job_with({"P": cable("p", [(2, 4)]), "Q": cable("q", [(2, 4)])}, [("P:1-96", "Q:1-96")], fibres=48)
    box_ = job.enclosure
    guides = tuple(remade(guide, opening_mm2=opening_mm2) for guide in box_.track.guides)
    job = remade(job, enclosure=remade(box_, track=remade(box_.track, guides=guides)))
    trunk = job.trunk_by_id["P"]
    layouts = blocks_of(job)
    blocks = layouts.blocks
    fine: list[Any] = [blocks.divided(subunit, 4) >= 1 for subunit in trunk.subunits]
    fewest = {
        at: least(layouts, blocks.placed_legs(), *fine, blocks.divided_at(trunk, at) >= 1) for at in ("tray", "port")
    }
    assert fewest == {"tray": 10, "port": 10 if opening_mm2 > 500 else None}


def test_chains_of_tied_trays_are_seen() -> None:
    """Two tubes of 3 ribbons against three of 2, all spliced in order, trays of one ribbon: legs go on from tray to tray.

    Six legs of each side lie in six trays. Each tube of P ties three trays; the middle tube of Q holds the last ribbon of
    the first and the first of the second, so that all six trays are one group, on one stack: none has so many positions.
    With trays of two ribbons three trays do.
    """
    cables = {"P": cable("p", [(2, 3)]), "Q": cable("q", [(3, 2)])}
    at_tray = {"P": ["tray"], "Q": ["tray"]}
    assert least(blocks_of(job_with(cables, [("P:1-72", "Q:1-72")], fibres=12, divide_at=at_tray)), 0) is None
    job = job_with(cables, [("P:1-72", "Q:1-72")], fibres=12, positions=6, divide_at=at_tray)
    layouts = blocks_of(job)
    tied = [literal for group, literal in layouts.blocks.let_go.items() if group.rule == "tied_trays"]
    assert least(layouts, sum(tied)) == 6
    wide = blocks_of(job_with(cables, [("P:1-72", "Q:1-72")], fibres=24, positions=6, divide_at=at_tray))
    tied = [literal for group, literal in wide.blocks.let_go.items() if group.rule == "tied_trays"]
    assert least(wide, sum(tied)) == 3
    places = wide.blocks.places
    assert least(wide, sum(wide.blocks.ties_next(p) for p in places if p.position < 6)) == 2


def test_joins_that_are_kept_apart_are_blocks_of_their_own() -> None:
    """Two joins that go on from each other on both sides would be one block; kept apart, they cannot share a tray."""
    job = job_with(
        {"P": cable("p", [(1, 4)]), "Q": cable("q", [(1, 4)])},
        [("P:1-24", "Q:1-24"), ("P:25-48", "Q:25-48")],
        fibres=48,
    )
    assert [stretch.fibres for stretch in stretches_of(job)] == [48]
    apart = remade(job, apart=(Apart(joins=("0", "1"), scope="tray"),))
    assert [stretch.fibres for stretch in stretches_of(apart)] == [24, 24]
    for one, trays in ((job, 1), (apart, 2)):
        layouts = blocks_of(one)
        assert least(layouts, sum(layouts.blocks.used(place) for place in one.enclosure.places)) == trays
    on_stacks = remade(job, apart=(Apart(joins=("0", "1"), scope="stack"),))
    assert least(blocks_of(on_stacks, divide_at={"P": ("tray",), "Q": ("tray",)}), 0) is None, (
        "a tube ends at one stack"
    )
    assert least(blocks_of(on_stacks), 0) == 0, "divided at the port, its legs go where they will"


def test_division_counts_ends_and_where_a_trunk_is_divided() -> None:
    """Parked legs count only where the port will not do; what fits is told in ends; a k can be of use at one place alone."""
    cables = {"P": cable("p", [(1, 4)]), "Q": cable("q", [(1, 1)])}
    job = job_with(cables, [("P:1-12", "Q:1-12")], fibres=18)
    divider = Divider(job)
    assert divider.open["P", 1] == (2, 4), "48 own ends and 12 of Q are more than 36"
    settled = divider.settle()
    assert settled is not None
    assert settled.legs == 2
    at_tray = divider.narrowed({}, {"P": ("tray",), "Q": ("tray",)})
    settled = at_tray.settle()
    assert settled is not None
    assert settled.legs == 3, "the other half of the tube is parked"
    assert at_tray.most_legs == 5
    assert divider.where(("P", 1), 4) == ("tray", "port")
    assert at_tray.where(("P", 1), 4) == ("tray",)
    no_tubes = job_with(
        {**cables, "P": cable("p", [(1, 4)], tubes=False)}, [("P:1-12", "Q:1-12")], divide_at={"P": ["port"]}
    )
    assert Divider(no_tubes).where(("P", 1), 4) == ("port",)
    alone = job_with(
        {"P": cable("p", [(1, 4)]), "Q": cable("q", [(1, 1)])}, [("P:1-12", "Q:1-12")], positions=1, fibres=12
    )
    assert not Divider(alone).hopeless
    assert Divider(alone, {"P": ("tray",)}).settle() is None, "48 + 12 ends are more than two trays of 24 hold"


def test_the_first_plan_parks_the_legs_of_opened_tubes() -> None:
    """It keeps what no plan breaks, ties few trays, and says where trunks are divided."""
    job = job_with(
        {"P": cable("p", [(1, 4)]), "Q": cable("q", [(1, 2)])}, [("P:13-36", "Q:1-24")], fibres=18, positions=4
    )
    plan = next(first_plans(job))
    assert keeps_facts(job, plan)
    assert len([leg for leg in plan.places if not job.spliced_fibres(leg)]) == 2
    assert measure_all(Laid(job, plan))["unplaced"] == 0
    assert plan.divide_at["P"] == "tray"
    assert not [found for found in judge(job, Laid(job, plan)) if found.rule == "breakout"]


def test_the_first_plan_divides_at_the_port_where_the_tray_cannot_keep_together() -> None:
    """A tube that no stack holds from tray to tray is divided at the port, where that is allowed and there are tubes for it."""
    cables = {"P": cable("p", [(1, 4)]), "Q": cable("q", [(4, 1)])}
    joins = [("P:1-48", "Q:1-48")]
    job = job_with(cables, joins, positions=2, fibres=12)
    plan = next(first_plans(job))
    assert keeps_facts(job, plan)
    assert measure_all(Laid(job, plan))["unplaced"] == 0
    assert plan.divide_at == {"P": "port", "Q": "tray"}
    at_tray = job_with(cables, joins, positions=2, fibres=12, divide_at={"P": ["tray"]})
    plan = next(first_plans(at_tray))
    assert keeps_facts(at_tray, plan)
    assert measure_all(Laid(at_tray, plan))["unplaced"] == 48


def test_of_a_trunk_that_cannot_come_in_the_first_plan_tries_one_tube(monkeypatch: pytest.MonkeyPatch) -> None:
    """What broke a fact wherever it found room breaks it again: the other five tubes are not judged at every place."""
    tried: list[int] = []

    def without_r(job: Job, plan: Assignment) -> bool:
        tried.append(sum(leg.trunk == "R" for leg in plan.places))
        return not tried[-1] and keeps_facts(job, plan)

    monkeypatch.setattr("trayopt.solver.heuristics.laying.keeps_facts", without_r)
    monkeypatch.setattr("trayopt.solver.heuristics.constructive.keeps_facts", without_r)
    job = job_with(
        {"P": cable("p", [(2, 1)]), "Q": cable("q", [(8, 1)]), "R": cable("r", [(6, 1)])},
        [("P:1-24", "Q:1-24"), ("Q:25-96", "R:1-72")],
        positions=6,
        divide_at={name: ["tray"] for name in "PQR"},
    )
    plan = next(first_plans(job))
    assert measure_all(Laid(job, plan))["unplaced"] == 72
    assert tried.count(1) <= 8, "two stacks, two positions, with few ties or with many"


@pytest.mark.parametrize("seed", range(200, 212))
def test_a_plan_keeps_its_facts_where_the_judge_finds_none_broken(seed: int) -> None:
    """Facts alone are asked, until one is broken: that tells the same as all findings."""
    job = idle_job(seed)
    rng = random.Random(seed)
    plan = next(first_plans(job))
    for _ in range(20):
        places = {
            leg: rng.choice(job.enclosure.places) if rng.random() < 0.1 else at for leg, at in plan.places.items()
        }
        ways = {trunk: way._replace(loops=rng.choice([way.loops, 1])) for trunk, way in plan.ways.items()}
        changed = replace(plan, places=places, ways=ways)
        found = judge(job, Laid(job, changed))
        assert keeps_facts(job, changed) != any(no_plan_breaks(one) for one in found)


def test_layouts_of_the_same_divisions_are_worked_out_on_one_model(monkeypatch: pytest.MonkeyPatch) -> None:
    """The whole model is made once for layouts that differ in their places alone."""
    made: list[Any] = []

    def noted(*args: Any, **kwargs: Any) -> Any:
        made.append(build(*args, **kwargs))
        return made[-1]

    monkeypatch.setattr("trayopt.solver.heuristics.completion.build", noted)
    job = idle_job(200)
    divider = Divider(job)
    blocks = Segments(divider, divider.open, STRICT, all_placed=True, clock=Clock())
    layouts = RelaxedModel(blocks, Clock())
    layout = layouts.least(blocks.broken("prefer")).layout
    assert layout is not None
    first = layouts.whole(layout)
    assert layouts.whole(replace(layout, fibres={})) is first
    divided = dict.fromkeys(layout.divisions, (1,))
    assert layouts.whole(replace(layout, divisions=divided)) is not first
    assert len(made) == 2


def test_a_layout_of_divisions_that_no_plan_has_is_worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """What was denied for some limits is not asked again for these or tighter ones, wherever the layout lies."""
    asked: list[Any] = []
    searched = Session.run

    def noted(*args: Any, **kwargs: Any) -> Any:
        asked.append(searched(*args, **kwargs))
        return asked[-1]

    monkeypatch.setattr(Session, "run", noted)
    session = Session(idle_job(200), GOALS, Clock(), tuning=Tuning(workers=1))
    layouts = session.layouts
    layout = layouts.least(layouts.blocks.broken("prefer")).layout
    assert layout is not None
    complete_solution(session, layouts, layout, {"legs": 1})
    assert [outcome.infeasible for outcome in asked] == [True, True]
    complete_solution(session, layouts, replace(layout, fibres={}), {"legs": 1, "broken_prefer": 0})
    assert len(asked) == 2
    complete_solution(session, layouts, layout, {"legs": 2})
    assert len(asked) > 2


def test_a_layout_is_worked_out_with_its_parked_legs() -> None:
    """A layout says where trunks are divided and where gaps lie; the whole model that is held to it has a plan."""
    done = 0
    for seed in range(200, 212):
        job = idle_job(seed)
        divider = Divider(job)
        if divider.hopeless:
            continue
        blocks = Segments(divider, divider.open, STRICT, all_placed=True, clock=Clock())
        layouts = RelaxedModel(blocks, Clock())
        layout = layouts.least(blocks.broken("prefer")).layout
        if layout is None:
            continue
        model = build(job, STRICT, all_placed=True, divisions=layout.divisions, divide_at=layout.divide_at)
        outcome = run(model, Clock(30), Tuning(workers=2), trial=layouts.hold(model, layout))
        if outcome.assignment is None:
            continue
        laid = Laid(job, outcome.assignment)
        done += 1
        for trunk, at in laid.divide_at.items():
            assert at in layout.divide_at[trunk] or all(item.leg.of == 1 for item in laid.legs[trunk])
        ends: Counter[Place] = Counter()
        for (i, place), fibres in layout.fibres.items():
            ends[place] += len(blocks.blocks[i].sides) * fibres
        assert {place: laid.ends_at(place) for place in laid.trays} == +ends
    assert done > 3
