"""Mend: the fewest changes, against brute force; what is built stays; a move list that can be carried out."""

from __future__ import annotations

import itertools
import json
import random
import re
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

from tests import oracle, strategies
from tests.build import job_of
from tests.crewsheets.plans import straight
from tests.review.good_plans import FILE, STANDARD, assignment_of
from tests.review.recorded import handed, table_text
from tests.test_oracle import opened_job
from trayopt import api
from trayopt.api import load_job
from trayopt.checker import check
from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.base import remade
from trayopt.domain.decision import GoesBy, RunAt
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.pins import LegPin
from trayopt.domain.plan import Plan
from trayopt.domain.ranges import Run
from trayopt.errors import InputError
from trayopt.formats.locate import frozen
from trayopt.review.answers import mended_text
from trayopt.review.desk import review_table
from trayopt.review.mend import Mended, mend, parse_built
from trayopt.review.moves import Move
from trayopt.review.plans import handmade_of
from trayopt.review.reading import parse_handmade
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.decisions import KINDS, Given, Weights, changes
from trayopt.solver.model.run import Tuning
from trayopt.solver.repair.least_moves import least_moves
from trayopt.solver.repair.nearest import nearest
from trayopt.track.laid import Laid

TABLES = Path(__file__).parent / "tables"
PLANS: dict[str, Any] = json.loads(FILE.read_text())
QUIET = Tuning(workers=1)
Lies = dict[tuple[str, int], set[Place]]
"""The trays in which each fibre lies: two where rows contradict each other."""
MOST = 4_000
"""Decisions that a tiny job may have; larger ones are drawn again."""


def tiny(seed: int) -> tuple[dict[str, Any], list[oracle.Decision]] | None:
    """Draw a tiny job with every decision that places all splices and keeps every must; None where it has none.

    Every third is one in which tubes are opened and legs parked; in every second what is done with ribbons is open.
    """
    rng = random.Random(seed)
    data = (
        opened_job(seed)
        if seed % 3 == 0
        else strategies.random_job(
            rng,
            trunks=2,
            ribbons=rng.choice([1, 2]),
            stacks=2,
            positions=2,
            ends=rng.choice([1, 2]),
            ports=2,
            rules=0.05,
            pins=0.0,
        )
    )
    if seed % 2:
        data["trunks"][0]["ribbons"] = ["as_they_are", "split", 4][: 2 + seed % 4 // 2]
    every = list(itertools.islice(oracle.all_feasible(data), MOST + 1))
    if len(every) > MOST:
        return None
    good = [decision for decision in every if oracle.judge(data, decision).goals[:2] == (0, 0)]
    return (data, good) if good else None


def spoiled(rng: random.Random, data: dict[str, Any], decision: oracle.Decision) -> Given:
    """Take a good decision as runs and ways, and spoil some of it."""
    facts = oracle.Facts(data)
    places = [(s["id"], p) for s in data["enclosure"]["stacks"] for p in range(1, s["positions"] + 1)]
    runs = []
    for leg, place in decision.legs.items():
        if place:
            first, last = facts.leg_fibres(leg, decision.k[leg[0]][leg[1] - 1])
            at = rng.choice([*places, ("gone", 7)]) if rng.random() < 0.3 else place
            runs.append(RunAt(leg[0], first, last, Place(*at)))
    ways = {}
    for trunk, option in decision.trunks.items():
        if option:
            port, travel, loops = option
            if rng.random() < 0.3:
                travel = rng.choice(oracle.TRAVELS)
            if rng.random() < 0.3:
                port = rng.choice([item["id"] for item in data["enclosure"]["ports"]])
            if rng.random() < 0.3:
                loops = rng.choice([1, 2, 3])
            parted = rng.choice(["tray", "port", None]) if rng.random() < 0.3 else decision.divide_at.get(trunk)
            way = GoesBy(trunk, port, "clockwise" if travel == "clockwise" else "counterclockwise", loops)
            way = way._replace(divide_at=None if parted is None else "tray" if parted == "tray" else "port")
            own = next(entry.get("ribbons") for entry in data["trunks"] if entry["id"] == trunk)
            ways[trunk] = way if own is None else way._replace(ribbons=rng.choice([*own, 5, None]))
    ends = {stack: end for stack, end in decision.ends.items() if end and rng.random() < 0.8}
    return Given(tuple(run for run in runs if rng.random() < 0.9), ways, ends)


def parted_at(data: dict[str, Any], decision: oracle.Decision, trunk: str) -> str:
    """Tell where a decision divides a trunk: at the tray where it may and no leg that lies in a tray is a part of a subunit."""
    listed = next(entry["divide_at"] for entry in data["trunks"] if entry["id"] == trunk)
    parts = (
        leg for leg, place in decision.legs.items() if place and leg[0] == trunk and decision.k[trunk][leg[1] - 1] > 1
    )
    whole = next(parts, None) is None
    return "tray" if whole and "tray" in listed else decision.divide_at.get(trunk) or listed[0]


def spliced_fibres(data: dict[str, Any]) -> set[tuple[str, int]]:
    """Give every fibre of a trunk that a join names."""
    runs = [oracle.parse_run(join[side]) for join in data["joins"] for side in "ab"]
    return {(trunk, fibre) for trunk, first, last in runs for fibre in range(first, last + 1)}


def parked(data: dict[str, Any], decision: oracle.Decision) -> list[oracle.Leg]:
    """Give the legs of a decision that lie in trays without a spliced fibre."""
    facts, spliced = oracle.Facts(data), spliced_fibres(data)
    fibres = {
        leg: facts.leg_fibres(leg, decision.k[leg[0]][leg[1] - 1]) for leg, place in decision.legs.items() if place
    }
    return [
        leg for leg, (first, last) in fibres.items() if not any((leg[0], f) in spliced for f in range(first, last + 1))
    ]


def counted(data: dict[str, Any], given: Given, decision: oracle.Decision, weights: Weights) -> int:
    """Count the weighed changes of a decision fibre by fibre, without anything of the package."""
    facts = oracle.Facts(data)
    spliced = spliced_fibres(data)
    lies: dict[tuple[str, int], Any] = {}
    for leg, place in decision.legs.items():
        if place:
            first, last = facts.leg_fibres(leg, decision.k[leg[0]][leg[1] - 1])
            lies.update({(leg[0], fibre): place for fibre in range(first, last + 1)})
    total = 0
    asked: dict[tuple[str, int], set[int]] = {}
    for run in given.runs:
        whole = [(run.trunk, fibre) for fibre in range(run.first, run.last + 1)]
        own = [fibre for fibre in whole if fibre in spliced] or whole  # a parked leg lies where all of it does
        total += weights.legs * any(lies.get(fibre) != tuple(run.place) for fibre in own)
        number = next(
            i
            for i, ks in enumerate(decision.k[run.trunk], 1)
            if facts.leg_fibres((run.trunk, i, 1), 1)[0] <= run.first <= facts.leg_fibres((run.trunk, i, 1), 1)[1]
        )
        first, last = facts.leg_fibres((run.trunk, number, 1), 1)
        asked.setdefault((run.trunk, number), set()).add((last - first + 1) // (run.last - run.first + 1))
    for (trunk, number), ks in asked.items():
        total += weights.splits * (ks != {decision.k[trunk][number - 1]})
    for trunk, way in given.ways.items():
        option = decision.trunks.get(trunk)
        if option:
            total += weights.ports * (option[0] != way.port) + weights.travel * (option[1] != way.travel)
            total += weights.loops * (option[2] != way.loops)
            own = next(entry.get("ribbons", ["as_they_are"]) for entry in data["trunks"] if entry["id"] == trunk)
            total += weights.ribbons * (way.ribbons not in {None, decision.ribbons.get(trunk, own[0])})
            total += weights.partings * (way.divide_at not in {None, parted_at(data, decision, trunk)})
    used = {place[0] for place in decision.legs.values() if place}
    return total + sum(
        weights.ends * (stack in used and decision.ends.get(stack) != end) for stack, end in given.ends.items()
    )


@pytest.mark.parametrize("seed", range(24))
def test_no_plan_with_fewer_changes_exists(seed: int) -> None:
    rng = random.Random(seed)
    drawn = next(made for i in itertools.count() if (made := tiny(1000 * seed + i)) is not None)
    data, good = drawn
    job = job_of(data)
    given = spoiled(rng, data, rng.choice(good))
    weights = rng.choice(
        [
            Weights(),
            Weights(1, 1, 1, 1, 1, 1, 1, 1),
            Weights(legs=3, travel=7, ends=0, partings=6, ribbons=8, ports=2, splits=5, loops=4),
        ]
    )
    costs = [(counted(data, given, decision, weights), oracle.judge(data, decision).goals) for decision in good]
    least = min(cost for cost, _ in costs)
    found = nearest(job, given, weights=weights, tuning=QUIET)
    assert found.assignment is not None
    assert (found.weighed, found.bound) == (least, least)
    assert found.proven
    assert changes(job, given, found.assignment).weighed(weights) == least
    best = min(goals for cost, goals in costs if cost == least)
    assert tuple(found.values.values()) == best


def test_given_plans_say_what_is_done_with_ribbons() -> None:
    drawn = [made for seed in range(1, 14, 2) if (made := tiny(1000 * seed + seed)) is not None]
    assert sum(len({str(dict(decision.ribbons)) for decision in good}) > 1 for _, good in drawn) > 4


def test_given_plans_have_parked_legs() -> None:
    drawn = [made for i in range(30) if (made := tiny(3 * i)) is not None]
    assert sum(any(parked(data, decision) for decision in good) for data, good in drawn) > 10


@pytest.mark.parametrize("seed", range(8))
def test_what_is_fixed_stays_and_the_fewest_changes_are_found_round_it(seed: int) -> None:
    rng = random.Random(100 + seed)
    drawn = next(made for i in itertools.count() if (made := tiny(5000 + 1000 * seed + i)) is not None)
    data, good = drawn
    job = job_of(data)
    base = rng.choice(good)
    given = spoiled(rng, data, base)
    facts = oracle.Facts(data)
    leg = rng.choice([leg for leg, place in base.legs.items() if place])
    of = base.k[leg[0]][leg[1] - 1]
    fixed = RunAt(leg[0], *facts.leg_fibres(leg, of), Place(*base.legs[leg]))  # type: ignore[misc]
    allowed = [d for d in good if d.k[leg[0]][leg[1] - 1] == of and d.legs.get(leg) == base.legs[leg]]
    found = nearest(job, given, [fixed], tuning=QUIET)
    assert found.weighed == min(counted(data, given, decision, Weights()) for decision in allowed)
    assert found.proven


@pytest.mark.parametrize("seed", range(16))
def test_the_bound_on_moved_legs_is_never_above_the_least(seed: int) -> None:
    rng = random.Random(300 + seed)
    data, good = next(made for i in itertools.count() if (made := tiny(90_000 + 1000 * seed + i)) is not None)
    job = job_of(data)
    only_legs = Weights(legs=1, travel=0, ends=0, ports=0, splits=0, loops=0)
    for _ in range(3):
        given = spoiled(rng, data, rng.choice(good))
        least = min(counted(data, given, decision, only_legs) for decision in good)
        assert least_moves(job, given, (), 1, Clock()).bound <= least
        found = nearest(job, given, weights=only_legs, tuning=QUIET)
        assert found.weighed == found.bound == least


def test_a_job_without_a_plan_is_told_so() -> None:
    data = strategies.worked_example()
    data["enclosure"]["stacks"] = data["enclosure"]["stacks"][:1]
    data["enclosure"]["stacks"][0]["positions"] = 1
    found = nearest(job_of(data), Given(), tuning=QUIET)
    assert found.assignment is None
    assert found.impossible


def table(job: Job, text: str) -> Any:
    """Read a table for a job that may have changed."""
    return parse_handmade(job, text.encode(), "plan.csv", lenient=True)


def test_a_good_plan_is_left_alone(quay: Job, good: str) -> None:
    mended = mend(quay, table(quay, good))
    assert mended.plan is not None
    assert mended.weighed == mended.bound == 0
    assert mended.moves == ()
    assert not mended.changes


def test_a_leg_in_the_wrong_tray_is_taken_out_and_laid_in(quay: Job, good: str) -> None:
    text = good.replace("73-144,left,2", "73-144,left,3")
    mended = mend(quay, table(quay, text))
    assert mended.proven
    assert mended.changes.counts() == {"legs": 2} | dict.fromkeys(KINDS[1:], 0)
    assert [move.text for move in mended.moves] == [
        "hold a written release for east, and warn the circuits",
        "take QUAY:73-144 and EAST:73-144 out of left/3",
        "lift left/3, from the door inward",
        "lay QUAY/1.2 (73-144) and EAST/1.2 (73-144) into left/2",
        "lower left/3, from the back towards the door",
    ]
    assert carried_out(quay, mended)


def test_the_new_plan_passes_its_check(quay: Job, good: str) -> None:
    mended = mend(quay, table(quay, good.replace("right,2", "left,2").replace("bottom-right", "bottom-left")))
    assert mended.plan is not None
    assert check(quay, mended.plan).passed
    assert carried_out(quay, mended)


def test_a_lost_tray_is_absorbed_round_what_is_built(quay: Job, good: str) -> None:
    data = changed(positions=1)
    job = load_job(data)
    mended = mend(job, table(job, good), built=parse_built(job, "left/1"))
    assert mended.plan is None
    assert mended.impossible
    job = load_job(changed(positions=5))
    deep = good.replace("right,1", "right,5").replace("right,2", "right,6")
    mended = mend(job, table(job, deep), built=parse_built(job, "left/1-2"))
    assert mended.plan is not None
    assert mended.proven
    places = {(leg.trunk, leg.fibres): (leg.stack, leg.position) for leg in mended.plan.legs}
    assert places["QUAY", "1-72"] == ("left", 1)
    assert places["EAST", "73-144"] == ("left", 2)
    assert any("no such position" in note for note in mended.notes)
    assert carried_out(job, mended)


def test_a_job_that_nothing_can_make_whole_is_told_so_at_once(good: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """No cable fits a seal: the outline says so, and no plan is searched for, with trays built or not."""
    data = changed()
    for port in data["enclosure"]["ports"]:
        port["seals"] = [{"holes": 1, "least_mm": 1, "most_mm": 2}]
    job = load_job(data)
    monkeypatch.setattr(import_module("trayopt.solver.repair.nearest"), "nearest", None)
    for built in (set[Place](), parse_built(job, "left/1")):
        mended = mend(job, table(job, good), built=built)
        assert mended.plan is None
        assert mended.impossible
        assert not mended.clash


def test_a_new_trunk_is_absorbed_without_a_change(good: str) -> None:
    data = changed()
    data["trunks"].append({"id": "NORTH", "cable": "central-tube-144"})
    data["joins"].append({"a": "QUAY:265-288", "b": "NORTH:1-24", "name": "north"})
    job = load_job(data)
    mended = mend(job, table(job, good), built=parse_built(job, "left/1-2,right/1-2"))
    assert mended.plan is not None
    assert mended.weighed == 0
    assert [move.do for move in mended.moves if move.do == "lay in"] == ["lay in"]
    north = [leg for leg in mended.plan.legs if leg.trunk == "NORTH" and leg.stack is not None]
    assert {(leg.stack, leg.position) for leg in north} == {("right", 2)}
    assert carried_out(job, mended)


def test_a_swapped_cable_is_absorbed(good: str) -> None:
    data = changed()
    data["trunks"][2]["cable"] = "loose-tube-144-12x12"
    job = load_job(data)
    mended = mend(job, table(job, good), built=parse_built(job, "left/1-2"))
    assert mended.plan is not None
    assert mended.proven
    assert carried_out(job, mended)


def test_a_column_of_built_rows_freezes_them(quay: Job, good: str) -> None:
    head, *rows = good.replace("73-144,left,2", "73-144,left,3").splitlines()
    marked = [f"{row},{'yes' if ',left,' in row else ''}" for row in rows]
    text = "\n".join([f"{head},built", *marked])
    mended = mend(quay, table(quay, text))
    assert mended.plan is None
    assert mended.impossible
    assert mended.clash
    assert all("row" in name or " by " in name for name in mended.clash)


def test_a_built_row_that_names_no_port_is_said_without_one() -> None:
    """What stands against each other is named by what its rows say: no port, no loops, or one loop."""
    job = job_of(strategies.worked_example())
    rows = "P,1-24,left,2,,,\nP,25-48,left,1,,,yes\nQ,1-24,left,2,tray,,\nQ,25-48,left,1,,1,yes\n"
    mended = mend(job, table(job, "trunk,fibres,stack,position,divide_at,loops,built\n" + rows))
    assert [name for name in mended.clash if name.startswith("Q")] == ["Q, 1 loop, divided at the tray"]


def test_weights_decide_what_gives_way(quay: Job, good: str) -> None:
    crowded = good.replace("bottom-right,counterclockwise", "bottom-left,clockwise")
    cheap = mend(quay, table(quay, crowded), weights=Weights(ports=1, travel=1000))
    assert cheap.changes.ports
    assert not cheap.changes.travel
    assert cheap.proven


def test_built_trays_are_read_as_ranges(quay: Job) -> None:
    assert parse_built(quay, "left/1-2, right/3") == {Place("left", 1), Place("left", 2), Place("right", 3)}
    assert parse_built(quay, "") == set()
    for text in ("left", "left/7", "middle/1", "left/3-1"):
        with pytest.raises(InputError):
            parse_built(quay, text)


def test_damaged_cells_are_told_before_anything_is_moved(quay: Job, good: str) -> None:
    with pytest.raises(InputError, match="turned this cell into a date"):
        mend(quay, table(quay, good.replace("1-72", "Jan-72")))


@pytest.mark.parametrize("seed", range(6))
def test_moves_can_be_carried_out_whatever_is_spoiled(quay: Job, good: str, seed: int) -> None:
    rng = random.Random(seed)
    head, *rows = good.splitlines()
    spoiled_rows = []
    for row in rows:
        cells = row.split(",")
        if rng.random() < 0.4:
            cells[2], cells[3] = rng.choice(["left", "right"]), str(rng.randint(1, 6))
        spoiled_rows.append(",".join(cells))
    mended = mend(quay, table(quay, "\n".join([head, *spoiled_rows])))
    assert mended.plan is not None
    assert mended.proven
    assert carried_out(quay, mended)


def changed(positions: int = 6) -> dict[str, Any]:
    """Give the scenario's job as data, with fewer trays on its stacks."""
    from trayopt.formats.yaml_in import read_yaml
    from trayopt.library.find import shipped

    def thawed(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: thawed(item) for key, item in value.items()}
        return [thawed(item) for item in value] if isinstance(value, tuple) else value

    data: dict[str, Any] = thawed(read_yaml(TABLES / "quay.yaml").data)
    box: dict[str, Any] = thawed(read_yaml(shipped() / "enclosures" / "wall-2x6.yaml").data)
    for stack in box["stacks"]:
        stack["positions"] = positions
    data["enclosure"] = box
    return data


def carried_out(job: Job, mended: Mended) -> bool:
    """Carry a move list out: trays over a hand are lifted, each once, nothing is overfilled, and the plan comes out.

    The box then holds what the plan says and nothing else: no leg, no trunk and no tray that the job does not have.
    """
    lies: Lies = {}
    for run in mended.given.runs:
        for fibre in range(run.first, run.last + 1):
            lies.setdefault((run.trunk, fibre), set()).add(run.place)
    standing = {run.place for run in mended.given.runs}
    lifted: list[Place] = []
    done: set[str] = set()
    inside = {run.trunk for run in mended.given.runs}
    for move in mended.moves:
        assert move.do != "release" or move.step == 1
        if move.do in {"lead out", "lead in", "lead"}:
            assert (move.what[0] in inside) == (move.do != "lead in")
            inside ^= {move.what[0]} if move.do != "lead" else set()
        if move.do == "remove":
            (name,) = move.what
            place = place_of(name)
            assert place not in job.enclosure.place_rank
            assert not any(place in places for places in lies.values())
            assert all(other in lifted for other in standing if outward(other, place))
            standing.remove(place)
        if move.do == "lift":
            for name in move.what:
                place = place_of(name)
                assert name not in done
                assert place in standing
                assert all(other in lifted for other in standing if outward(other, place))
                lifted.append(place)
                done.add(name)
        elif move.do == "lower":
            for name in move.what:
                place = place_of(name)
                assert not [other for other in lifted if outward(place, other)]
                lifted.remove(place)
        elif move.do in {"take out", "lay in"}:
            assert move.place is not None
            place = place_of(move.place)
            assert all(other in lifted for other in standing if outward(other, place))
            assert place not in lifted
            _hand(job, mended, move, place, lies)
    assert not lifted
    assert standing <= set(job.enclosure.places)
    assert mended.plan is not None
    assert inside == {row.trunk for row in mended.plan.trunks if row.port is not None}
    planned = set()
    for leg in mended.plan.legs:
        if leg.stack is not None and leg.position is not None:
            first, _, last = leg.fibres.partition("-")
            for fibre in range(int(first), int(last or first) + 1):
                assert lies[leg.trunk, fibre] == {Place(leg.stack, leg.position)}
                planned.add((leg.trunk, fibre))
    assert {fibre for fibre, places in lies.items() if places} == planned
    return True


def _hand(job: Job, mended: Mended, move: Move, place: Place, lies: Lies) -> None:
    """Take out or lay in; rows that overlap are taken out once."""
    for name in move.what:
        if move.do == "take out":
            trunk, _, fibres = name.partition(":")
        else:
            assert mended.plan is not None
            leg = next(row for row in mended.plan.legs if row.leg == name)
            trunk, fibres = leg.trunk, leg.fibres
        first, _, last = fibres.partition("-")
        for fibre in range(int(first), int(last or first) + 1):
            if move.do == "take out":
                lies[trunk, fibre].discard(place)
            else:
                assert not lies.get((trunk, fibre))
                lies[trunk, fibre] = {place}
    if move.do == "lay in":
        inside = sum(place in at for at in lies.values())
        assert inside <= 2 * job.enclosure.tray_at(place).fibres


def outward(one: Place, other: Place) -> bool:
    """Whether a tray hangs over another, on the door's side of it."""
    return one.stack == other.stack and one.position > other.position


def place_of(text: str) -> Place:
    """Read ``left/3``."""
    stack, _, position = text.rpartition("/")
    return Place(stack, int(position))


def test_the_way_that_a_trunk_goes_is_only_compared_where_it_is_told() -> None:
    job = job_of(strategies.worked_example())
    assignment = Assignment({"P": Way("bl", "clockwise", 1)}, {}, {})
    given = Given((), {"P": GoesBy("P", travel="counterclockwise")}, {})
    assert changes(job, given, assignment).counts() == {kind: int(kind == "travel") for kind in KINDS}


def only(do: str, mended: Mended) -> list[Move]:
    """Give the steps of one kind."""
    return [move for move in mended.moves if move.do == do]


def without_east() -> dict[str, Any]:
    """Give the job without the cable of the east shed."""
    data = changed()
    data["trunks"] = [row for row in data["trunks"] if row["id"] != "EAST"]
    data["joins"] = [row for row in data["joins"] if row["name"] != "east"]
    return data


def test_the_legs_of_a_removed_trunk_are_taken_out(good: str) -> None:
    job = load_job(without_east())
    mended = mend(job, table(job, good))
    assert carried_out(job, mended)
    assert [move.what for move in only("lead out", mended)] == [("EAST",)]
    out = [name for move in only("take out", mended) for name in move.what]
    assert {"EAST:1-72", "EAST:73-144"} <= set(out)
    assert "changes: none" not in mended_text(mended)
    assert "EAST led out" in mended_text(mended)


def test_the_legs_of_a_removed_trunk_are_taken_out_whatever_the_plan_is_written_as(quay: Job, good: str) -> None:
    report = review_table(quay, parse_handmade(quay, good.encode(), "plan.csv")).report
    assert report is not None
    job = load_job(without_east())
    mended = mend(job, handmade_of(job, report.plan, "plan.json"), document=report.plan)
    assert carried_out(job, mended)
    assert only("lead out", mended)
    runs = """from trunk,from fibres,to trunk,to fibres,stack,position
QUAY,1-72,EAST,1-72,left,1
QUAY,73-144,EAST,73-144,left,2
QUAY,145-216,WEST,1-72,right,1
QUAY,217-264,WEST,73-120,right,2
"""
    mended = mend(job, table(job, runs))
    out = {name for move in only("take out", mended) for name in move.what}
    assert {"EAST:1-72", "EAST:73-144", "QUAY:1-72", "QUAY:73-144"} <= out
    assert only("lead out", mended)


def test_fibres_that_a_smaller_cable_does_not_have_are_taken_out(good: str) -> None:
    data = changed()
    data["trunks"][2]["cable"] = {
        "kind": "cable", "id": "small", "construction": "loose_tube", "diameter_mm": 13,
        "subunits": [{"count": 8, "ribbons": 1, "ribbon_fibres": 12, "diameter_mm": 2.5}],
    }  # fmt: skip
    data["joins"][1] = {"a": "QUAY:145-240", "b": "WEST:1-96", "name": "west"}
    job = load_job(data)
    mended = mend(job, table(job, good))
    assert mended.plan is not None
    assert carried_out(job, mended)
    assert "WEST:97-120" in {name for move in only("take out", mended) for name in move.what}


def test_a_new_trunk_is_led_in_and_divided(good: str) -> None:
    data = changed()
    data["trunks"].append({"id": "NORTH", "cable": "central-tube-144"})
    data["joins"].append({"a": "QUAY:265-288", "b": "NORTH:1-24", "name": "north"})
    job = load_job(data)
    mended = mend(job, table(job, good))
    (led,) = only("lead in", mended)
    assert mended.plan is not None
    way = next(row for row in mended.plan.trunks if row.trunk == "NORTH")
    assert led.text == f"lead NORTH in: port {way.port}, {way.travel}, {way.loops} loop{'s' * (way.loops != 1)}"
    assert [move.what for move in only("divide", mended)] == [("NORTH/1",)]
    assert not only("release", mended)
    assert carried_out(job, mended)


def test_a_new_trunk_is_fitted_in_beside_what_lies_where_open_divisions_take_too_long(
    good: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In a large job no plan is found soon while divisions are open: one is, with nothing moved and the new trunk settled."""
    data = changed()
    data["trunks"].append({"id": "NORTH", "cable": "central-tube-144"})
    data["joins"].append({"a": "QUAY:265-288", "b": "NORTH:1-24", "name": "north"})
    job = load_job(data)
    room = import_module("trayopt.solver.repair.nearest")
    look = room._Search.look

    def of_a_large_job(self: Any, divisions: Any, *rest: Any) -> Any:
        settled = all(len(divisions.get((unit.trunk, unit.number), ())) == 1 for unit in job.subunits)
        return look(self, divisions, *rest) if settled else None

    monkeypatch.setattr(room._Search, "look", of_a_large_job)
    mended = mend(job, table(job, good))
    assert mended.plan is not None
    assert mended.weighed == mended.bound == 0
    assert only("lead in", mended)


def test_a_lost_tray_is_removed_and_not_lowered(good: str) -> None:
    job = load_job(changed(positions=5))
    mended = mend(job, table(job, good.replace("right,1", "right,5").replace("right,2", "right,6")))
    assert [move.what for move in only("remove", mended)] == [("right/6",)]
    assert "right/6" not in {name for move in only("lower", mended) for name in move.what}
    assert "right/6 removed" in mended_text(mended)
    assert carried_out(job, mended)


def test_a_lost_stack_is_removed_tray_by_tray(good: str) -> None:
    data = changed()
    data["enclosure"]["stacks"] = [row for row in data["enclosure"]["stacks"] if row["id"] != "right"]
    job = load_job(data)
    mended = mend(job, table(job, good))
    assert [move.what for move in only("remove", mended)] == [("right/2",), ("right/1",)]
    assert carried_out(job, mended)


def test_a_step_says_which_splices_it_breaks_and_a_release_stands_before_it(quay: Job, good: str) -> None:
    crowded = good.replace("EAST,1-72,left,1,bottom-right,counter", "EAST,1-72,left,1,bottom-left,counter")
    mended = mend(quay, table(quay, crowded), weights=Weights(ports=1))
    moved = {*mended.changes.ports}
    assert moved
    release = mended.moves[0]
    assert release.do == "release"
    broken = {name: 0 for name in ("east", "west")}
    for move in mended.moves:
        for name, count in move.breaks.items():
            broken[name] += count
    want = {"east": 144 * bool(moved & {"QUAY", "EAST"}), "west": 120 * bool(moved & {"QUAY", "WEST"})}
    assert broken == want
    names, counts = (
        [name for name in want if want[name]],
        [f"{name} ({count})" for name, count in want.items() if count],
    )
    assert release.text == (
        f"hold a written release for {' and '.join(names)}, and warn the circuits; "
        f"splices that are broken: {', '.join(counts)}"
    )
    text = mended_text(mended)
    assert "BREAKS splices: " in text
    assert "tries left to splice again: " in text
    assert "invisible" in text


def test_a_join_that_is_only_numbered_is_called_a_join(quay: Job, good: str) -> None:
    """``BREAKS splices: 0 (144)`` would read as if no splice were broken."""
    numbered = remade(quay, joins=tuple(remade(join, name=str(i)) for i, join in enumerate(quay.joins)), apart=())
    crowded = good.replace("EAST,1-72,left,1,bottom-right,counter", "EAST,1-72,left,1,bottom-left,counter")
    mended = mend(numbered, table(numbered, crowded), weights=Weights(ports=1))
    text = mended_text(mended)
    assert re.search(r"hold a written release for join \d", text)
    assert re.search(r"BREAKS splices: join \d \(\d", text)
    assert not re.search(r"(splices|disturbs|broken): \d", text)
    assert {name for move in mended.moves for name in move.breaks} <= {join.name for join in numbered.joins}


def test_one_built_leg_that_a_must_forbids_is_named_alone(quay: Job, good: str) -> None:
    pin = LegPin(leg=Run("EAST", 1, 72), stack="right")
    mended = mend(remade(quay, pins=(pin,)), table(quay, good), built=[Place("left", 1)])
    assert mended.clash == ("QUAY:1-72 in left/1 (row 2)",)
    assert mended_text(mended) == "proven: no plan keeps every must and QUAY:1-72 in left/1 (row 2), which is built\n"


def test_a_leg_that_is_carried_keeps_its_splices_and_its_tries(quay: Job, good: str) -> None:
    mended = mend(quay, table(quay, good.replace("73-144,left,2", "73-144,left,3")))
    assert not [move for move in mended.moves if move.breaks]
    assert mended.moves[0].text == "hold a written release for east, and warn the circuits"
    (taken,) = only("take out", mended)
    assert taken.disturbs == {"east": 72}
    (laid,) = only("lay in", mended)
    assert laid.tries == 3


def test_a_leg_that_was_cut_too_short_is_named(quay: Job, good: str) -> None:
    """The table says that the legs in left/3 were cut at 1,000 mm: no tray is that near."""
    rows = good.replace("73-144,left,2", "73-144,left,3").splitlines()
    cut = [f"{row},{'1000' if 'left,3' in row else ''}" for row in rows[1:]]
    mended = mend(quay, table(quay, "\n".join([f"{rows[0]},cut", *cut])))
    (laid,) = only("lay in", mended)
    assert "too short as it was cut" in laid.text
    assert laid.tries == 0


def test_rows_that_enter_at_another_end_are_laid_in_again() -> None:
    job = load_job(STANDARD / "2x864-wall-2x7-two-ends.yaml")
    good = assignment_of(job, PLANS["2x864-wall-2x7-two-ends.yaml"])
    laid = Laid(job, good)
    stack, other = next(
        (item.id, end.id) for item in job.enclosure.stacks for end in item.ends if end.id != laid.ends[item.id]
    )
    claims = list(laid.claims)
    i = next(i for i, claim in enumerate(claims) if claim.place.stack == stack)
    claims[i] = claims[i]._replace(end=other)
    mended = mend(job, table(job, table_text(claims, good.ways)), limit_s=60)
    assert mended.weighed == 0
    run = f"{claims[i].trunk}:{claims[i].first}-{claims[i].last}"
    assert mended.beside.entered == (run,)
    assert run in {name for move in only("take out", mended) for name in move.what}
    assert carried_out(job, mended)


@pytest.mark.parametrize(
    "name",
    [
        "worked-example.yaml",
        pytest.param("2x144-wall-1x12-single.yaml", marks=pytest.mark.slow),
        pytest.param("2x288-wall-2x6.yaml", marks=pytest.mark.slow),
    ],
)
def test_nothing_changes_only_where_the_check_passes(name: str) -> None:
    job = load_job(STANDARD / name)
    tried = 0
    for item in handed(job, assignment_of(job, PLANS[name]), name):
        if item.plan is None:
            made, passed = item.made(lenient=True), review_table(item.job, item.made()).passed
        else:
            made, passed = handmade_of(item.job, item.plan, "plan.json"), False
        assert not passed
        mended = mend(item.job, made, document=item.plan, limit_s=30)
        if mended.plan is not None:
            tried += 1
            assert "changes: none;" not in mended_text(mended), item.name
            assert carried_out(item.job, mended), item.name
    assert tried >= 10


def moved_at_random(job: Job, good: Assignment, seed: int) -> tuple[Given, set[Place]]:
    """Give the decisions of a plan of which some legs are told in other trays, and the trays that this concerns."""
    rng = random.Random(seed)
    runs = [RunAt(leg.trunk, *job.subunit(leg).leg_run(leg), place) for leg, place in good.places.items()]
    concerned = set()
    for i in rng.sample(range(len(runs)), rng.choice([1, 2, 3])):
        other = rng.choice([place for place in job.enclosure.places if place != runs[i].place])
        concerned |= {runs[i].place, other}
        runs[i] = runs[i]._replace(place=other)
    ways = {trunk: GoesBy(trunk, way.port, way.travel, way.loops) for trunk, way in good.ways.items()}
    return Given(tuple(runs), ways, dict(good.ends)), concerned


@pytest.mark.parametrize("cut_off", [False, True], ids=["all looks", "without the last look"])
@pytest.mark.parametrize(
    "name", ["2x432-shuffled-wall-2x6.yaml", "2x576-mixed-subunits.yaml", "hub-of-three-wall-2x6.yaml"]
)
@pytest.mark.parametrize("seed", [0, pytest.param(1, marks=pytest.mark.slow)])
def test_no_more_is_moved_than_with_every_other_tray_given_as_built(
    name: str, seed: int, cut_off: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also where the time ends before all divisions are looked at, which is when a look ends without a plan."""
    job = load_job(STANDARD / name)
    given, concerned = moved_at_random(job, assignment_of(job, PLANS[name]), 10 * seed + len(name))
    built = [run for run in given.runs if run.place not in concerned]
    some = [run for i, run in enumerate(built) if i % 2]
    pinned = [nearest(job, given, pins, tuning=QUIET, clock=Clock(20)) for pins in (built, some)]
    if cut_off:
        room = import_module("trayopt.solver.repair.nearest")
        look = room._Search.look
        ended = lambda self, divisions, *rest: look(self, divisions, *rest) if divisions else None  # noqa: E731
        monkeypatch.setattr(room._Search, "look", ended)
    free = nearest(job, given, tuning=QUIET, clock=Clock(20))
    assert free.weighed is not None
    told = [found for found in pinned if found.weighed is not None]
    assert told
    for found in told:
        assert found.weighed is not None
        assert free.weighed <= found.weighed
        assert len(free.changes.legs) <= len(found.changes.legs)


def test_a_near_plan_is_found_before_the_whole_model_is_looked_at(good: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The clock ends before the look at all divisions: legs that need not move are held, as if they were built."""
    job = load_job(changed(positions=5))
    given = table(job, good.replace("right,1", "right,5").replace("right,2", "right,6")).given()
    whole = nearest(job, given, tuning=QUIET)
    room = import_module("trayopt.solver.repair.nearest")
    look = room._Search.look

    def cut_off(self: Any, divisions: Any, *rest: Any) -> Any:
        return look(self, divisions, *rest) if len(rest) > 2 or divisions else None

    monkeypatch.setattr(room._Search, "look", cut_off)
    found = nearest(job, given, tuning=QUIET)
    assert found.assignment is not None
    assert len(found.changes.legs) == len(whole.changes.legs)
    assert found.bound is not None
    assert whole.weighed is not None
    assert found.bound <= whole.weighed


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("", ""), ""),
        (
            ("joins:", "  - {id: N2, cable: ribbon-288-2x144}\n  - {id: S2, cable: ribbon-288-2x144}\njoins:"),
            "N2 and S2 led in",
        ),
        (("S1:1-288, name: through", "S1:1-288, name: as before"), ""),
    ],
    ids=["as it was", "two new trunks", "another name"],
)
def test_a_plan_of_the_job_as_it_was_is_not_called_wrong(change: tuple[str, str], said: str, tmp_path: Path) -> None:
    """Its digest, its goals, and the rows that it could not have, were listed as figures to correct, as Python writes them."""
    path, changed = STANDARD / "2x288-wall-2x6.yaml", tmp_path / "job.yaml"
    plan = straight(path.stem)[1]
    text = path.read_text().replace('"S1:1-288"', "S1:1-288").replace('"N1:1-288"', "N1:1-288")
    assert change[0] in text
    text = text.replace(*change)
    if "N2" in text:
        text += "  - {a: N2:1-288, b: S2:1-288, name: new}\n"
    changed.write_text(text)
    mended = api.mend(load_job(changed), plan, time_limit_s=60)
    assert mended.plan is not None
    assert mended.changes.counts()["legs"] == 0
    shown = mended_text(mended)
    assert "to correct" not in shown
    assert said in shown


def test_a_wrong_length_of_a_leg_that_stays_is_told_though_the_job_has_changed(tmp_path: Path) -> None:
    path = STANDARD / "2x288-wall-2x6.yaml"
    plan = straight(path.stem)[1].plain()
    right = plan["legs"][0]["cut_mm"]
    plan["legs"][0]["cut_mm"] += 10
    changed = tmp_path / "job.yaml"
    changed.write_text(path.read_text().replace("name: through", "name: as before"))
    mended = api.mend(load_job(changed), Plan.model_validate(frozen(plan)), time_limit_s=60)
    [figure] = mended.figures
    assert figure.endswith(f".cut_mm: the plan says {right + 10}, right is {right}")
