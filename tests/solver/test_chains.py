"""Legs that follow each other tray upon tray share literals, and no plan is lost by it or let in."""

from __future__ import annotations

from collections import Counter

import pytest

from benchmarks.cases import straight
from tests.build import Json, job_of
from tests.solver.test_enumeration import solutions
from tests.solver.tiny import drawn
from trayopt import load_job
from trayopt.domain.hardware import Place
from trayopt.solver.bounds.division import Divider
from trayopt.solver.model.chains import Link, Step, chains
from trayopt.solver.model.legs import LegModel
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.ways import Partings

FREE = Policy("hard", "free")
KNOBS: Json = {
    "trunks": 2,
    "ribbons": 2,
    "stacks": 2,
    "positions": 3,
    "loops": ((1,),),
    "tight": 0.3,
    "rules": 0.1,
    "pins": 0.1,
}


def test_a_chain_is_told_from_its_steps() -> None:
    steps = [Step(3, 1), Step(1, 5), Step(4, 5), Step(7, 4)]
    assert chains(range(9), steps) == {
        0: Link(0, 0),
        2: Link(2, 0),
        6: Link(6, 0),
        8: Link(8, 0),
        3: Link(3, 0),
        7: Link(3, 0),
        1: Link(3, 1),
        4: Link(3, 1),
        5: Link(3, 2),
    }


def test_halves_share_their_literals() -> None:
    """Subunits of 144 in trays of 72: where the first half lies says where the second one does, one position outward."""
    job = load_job(straight(432))
    halves = {(subunit.trunk, subunit.number): (2,) for subunit in job.subunits}
    at_tray: Partings = {trunk.id: ("tray",) for trunk in job.trunks}
    model = build(job, FREE, all_placed=True, divisions=halves, divide_at=at_tray)
    positions = job.enclosure.stacks[0].positions
    for subunit in job.subunits:
        first, second = model.legs(subunit, 2)
        for place in model.places:
            outward = Place(place.stack, place.position + 1)
            if place.position < positions:
                assert model.at(first, place) is model.at(second, outward)
            else:
                assert model.at(first, place) == 0
            if place.position == 1:
                assert model.at(second, place) == 0


@pytest.mark.parametrize("first", [0, pytest.param(1000, marks=pytest.mark.slow)])
def test_plans_are_the_same_with_and_without_chains(first: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """On tiny jobs a model with chains holds exactly the plans that it holds without them, also where there are none."""
    seen: Counter[str] = Counter()
    for seed in range(first, first + 1000):
        job = job_of(drawn(seed, **KNOBS))
        divider = Divider(job)
        settled = None if divider.hopeless else divider.settle()
        if settled is None:
            continue
        model = build(job, FREE, all_placed=True, divisions=settled.divisions)
        if not any(isinstance(literal, int) for bunch in model.bunches for literal in model.literals(bunch)):
            continue
        with monkeypatch.context() as patch:
            patch.setattr(LegModel, "_steps", lambda _: iter(()))
            plain = build(job, FREE, all_placed=True, divisions=settled.divisions)
        assert len(plain.cp.proto.variables) > len(model.cp.proto.variables)
        plans = solutions(model)
        assert plans == solutions(plain), seed
        seen["jobs"] += 1
        seen["with plans"] += bool(plans)
        if seen["with plans"] == 6:
            break
    assert seen["with plans"] == 6
    assert seen["jobs"] > 6
