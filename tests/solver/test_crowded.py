"""What crowded trays hold at least, stacks that are alike, divisions that stand alone: against the same without them."""

from __future__ import annotations

import json
import random
from collections import Counter
from collections.abc import Sequence
from importlib import import_module
from typing import Any

import pytest

from tests import oracle, strategies
from tests.build import job_of
from trayopt.api import load_job, solve
from trayopt.domain.job import Job
from trayopt.goals.registry import measure_all
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.segments import Segments
from trayopt.solver.heuristics.completion import RelaxedModel
from trayopt.solver.model import cp_sat
from trayopt.solver.model.capacity_cuts import sums
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.symmetry import alike
from trayopt.solver.solve import Options
from trayopt.solver.solve import solve as find
from trayopt.track.laid import Laid

STRICT = Policy("hard", "soft")


def boxed(fibres: int) -> dict[str, Any]:
    """Give the worked example, 48 splices in four trays, with trays of so many fibres."""
    plain = strategies.worked_example()
    for stack in plain["enclosure"]["stacks"]:
        stack["tray"]["fibres"] = fibres
    return plain


def needed(job: Job) -> list[int]:
    """Tell for each place whether it must hold something: 1 where a model in which it is empty has no plan."""
    divisions = {key: of[:1] for key, of in Divider(job).open.items()}
    model = build(job, STRICT, all_placed=True, divisions=divisions)
    found = []
    for place in model.places:
        cp = model.cp.clone()
        cp.add(model.ends(place) == 0)
        solver = cp_sat.CpSolver()
        found.append(int(solver.solve(cp) == cp_sat.INFEASIBLE))
    return found


def test_sums() -> None:
    """Room that no weights come to is none."""
    assert sums({24, 36}, 100) == {0, 24, 36, 48, 60, 72, 84, 96}
    assert sums(set(), 5) == {0}
    assert sums({0, 3}, 7) == {0, 3, 6}


@pytest.mark.parametrize(("fibres", "full"), [(12, 1), (24, 0)])
def test_a_box_without_room_to_spare_has_full_trays(fibres: int, full: int) -> None:
    """Four trays of 12 are all needed for 48 splices, of four trays of 24 none is."""
    assert needed(job_of(boxed(fibres))) == [full] * 4


def crowded_job(seed: int) -> dict[str, Any]:
    """Draw a job, and give it trays of the fewest fibres, in fours, that all splices may fit in."""
    plain = strategies.random_job(random.Random(seed), tight=0.0, shape="shuffled", rules=0.0, pins=0.0, at_port=0.7)
    job = job_of(plain)
    fibres = 4 * -(-job.splices // (4 * len(job.enclosure.places)))
    for stack in plain["enclosure"]["stacks"]:
        stack["tray"]["fibres"] = fibres
    return plain


@pytest.mark.parametrize("first", [71000, 72000])
def test_no_plan_is_lost_in_crowded_boxes(first: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Trays that are just enough: solve meets brute force on all goals, and some trays were said to hold something."""
    said = 0
    for seed in range(first, first + 20):
        plain = crowded_job(seed)
        best = oracle.solve(plain)
        assert best is not None
        job = job_of(plain)
        plan = solve(job, time_limit_s=60).plan
        assert plan.status == "optimal", f"seed {seed}"
        assert tuple(goal.value for goal in plan.goals) == best.goals, f"seed {seed}"
        if best.goals[:2] == (0, 0):
            rows = constraints(job)
            with monkeypatch.context() as patch:
                patch.setattr(import_module("trayopt.solver.model.posting"), "cut_capacity", lambda *_: None)
                said += rows > constraints(job)
    assert said > 3


def constraints(job: Job) -> int:
    """Count the constraints of a job's model of whole plans."""
    return len(build(job, STRICT, all_placed=True, divisions=Divider(job).open).cp.proto.constraints)


def blocks_of(plain: dict[str, Any]) -> Segments:
    """Make the blocks of a job's whole plans."""
    divider = Divider(job_of(plain))
    return Segments(divider, divider.open, STRICT, all_placed=True, clock=Clock())


def groups(plain: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """Group the stacks of a job by what its blocks, without ties broken, make of them."""
    monkeypatch.setattr(Segments, "swaps", False)
    blocks = blocks_of(plain)
    return alike(blocks, [stack.id for stack in blocks.stacks])


def test_stacks_that_differ_are_not_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    """Trays of another size, or a pin on one of them, tell two stacks apart."""
    plain = strategies.worked_example()
    names = [stack["id"] for stack in plain["enclosure"]["stacks"]]
    assert groups(plain, monkeypatch) == [names]
    plain["enclosure"]["stacks"][1]["tray"]["fibres"] *= 2
    assert groups(plain, monkeypatch) == [[name] for name in names]
    plain = strategies.worked_example()
    plain["pins"] = [{"leg": "P:1-12", "stack": names[0]}]
    assert groups(plain, monkeypatch) == [[name] for name in names]


def test_a_trunk_may_be_called_like_a_stack(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a variable is about is told by its tag: names that look like a stack's tell nothing."""
    plain = strategies.worked_example()
    names = [stack["id"] for stack in plain["enclosure"]["stacks"]]
    renamed = json.loads(json.dumps(plain).replace('"P"', f'"{names[0]}"').replace('"P:', f'"{names[0]}:'))
    assert groups(renamed, monkeypatch) == [names]


@pytest.mark.parametrize(("first", "stacks"), [(73000, 2), (74000, 3)])
def test_broken_ties_change_no_answer(first: int, stacks: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Blocks with ties between stacks broken say what blocks without say: bounds and divisions."""
    seen = Counter[str]()
    for seed in range(first, first + 40):
        plain = strategies.random_job(random.Random(seed), stacks=stacks, at_port=0.6, shape="shuffled", rules=0.0)
        divider = Divider(job_of(plain))
        if divider.hopeless:
            continue
        with monkeypatch.context() as patch:
            patch.setattr(Segments, "swaps", False)
            plainly = blocks_of(plain)
        broken = blocks_of(plain)
        seen["alike"] += len(alike(plainly, [stack.id for stack in plainly.stacks])) < stacks
        one, other = RelaxedModel(plainly, Clock()), RelaxedModel(broken, Clock())
        weight = one.least(plainly.broken("prefer"))
        assert other.least(broken.broken("prefer")).bound == weight.bound, f"seed {seed}"
        if weight.bound is None:
            seen["denied"] += 1
            continue
        assert other.least(broken.broken("prefer"), below=weight.bound).bound == weight.bound
        held = plainly.broken("prefer") <= weight.bound, broken.broken("prefer") <= weight.bound
        legs = one.least(plainly.placed_legs(), held[0]).bound
        assert legs is not None
        assert other.least(broken.placed_legs(), held[1]).bound == legs, f"seed {seed}"
        few = plainly.placed_legs() <= legs, broken.placed_legs() <= legs
        open_ = divider.within(legs)
        left = one.divisions(open_, None, held[0], few[0])
        assert other.divisions(open_, None, held[1], few[1]) == left, f"seed {seed}"
        seen["jobs"] += 1
    assert seen["jobs"] > 10
    assert seen["alike"] > 3


SOON = (75003, 75006, 75008, 75009, 75010, 75016, 75061, 75062, 75066, 75067, 75098)
"""Seeds of jobs with a complete plan that is soon found: in four divisions stand alone, in the others they do not."""


@pytest.mark.parametrize(
    "seeds", [SOON, pytest.param(range(75000, 75120), marks=pytest.mark.slow)], ids=["few", "many"]
)
def test_one_question_settles_legs_and_divisions(seeds: Sequence[int]) -> None:
    """The division of the best plan is told to be alone exactly where every layout as good is divided like it."""
    seen = Counter[bool]()
    for seed in seeds:
        plain = strategies.random_job(random.Random(seed), at_port=0.6, shape="shuffled")
        job = job_of(plain)
        best = find(job, Options(time_limit_s=60)).assignment
        values = measure_all(Laid(job, best))
        if values["unplaced"] or values["broken_must"]:
            continue
        divider = Divider(job)
        blocks = Segments(divider, divider.open, STRICT, all_placed=True, clock=Clock())
        layouts = RelaxedModel(blocks, Clock())
        legs, placed = values["legs"], blocks.placed_legs()
        held = (blocks.broken("prefer") <= values["broken_prefer"], placed <= legs)
        open_ = divider.within(legs)
        likeness = layouts.like(open_, best, placed < legs, *held)
        assert likeness is not None
        like = likeness.divisions()
        left = layouts.divisions(open_, None, *held)
        alone = all(len(of) == 1 for of in left.values())
        assert (like is not None) == alone, f"seed {seed}"
        if like is not None:
            assert like == left, f"seed {seed}"
        seen[alone] += 1
        if min(seen[True], seen[False]) > 3:
            break
    assert min(seen[True], seen[False]) > 3


def test_the_divisions_that_are_left_take_few_questions() -> None:
    """All 44 divisions of a job are left where legs are plenty: each layout has as many as can be that no other had."""
    job = load_job("models/standard/2x576-mixed-subunits.yaml")
    divider, clock = Divider(job), Clock()
    settled = divider.settle()
    assert settled is not None
    layouts = RelaxedModel(Segments(divider, divider.open, STRICT, all_placed=True, clock=clock), clock)
    before = clock.effort
    left = layouts.divisions(divider.open, None, layouts.blocks.placed_legs() <= settled.legs + 12)
    assert left == divider.open
    assert sum(map(len, left.values())) == 44
    assert clock.effort - before < 2.5, "one by one, and with every literal tried three times over, it was 4.2"
