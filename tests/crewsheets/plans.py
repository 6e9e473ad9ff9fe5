"""Jobs and plans for the sheets: laid by hand, so that no test waits for a solver."""

from __future__ import annotations

import json
from collections.abc import Collection
from functools import cache
from pathlib import Path
from typing import Any

from trayopt.api import load_job
from trayopt.checker.claims import assignment_of
from trayopt.checker.measure import measure
from trayopt.crewsheets.book import Book
from trayopt.crewsheets.settings import Settings
from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.base import DivideAt, remade
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.pins import LegPin, TrunkPin
from trayopt.domain.plan import Plan, PlanSolver

STANDARD = Path(__file__).parents[2] / "models" / "standard"
SOLVER = PlanSolver(version="by hand", seed=0, workers=0, deterministic_time=0.0)


def planned(
    job: Job, ways: dict[str, Way], places: dict[Leg, Place], divide_at: dict[str, DivideAt] | None = None
) -> Plan:
    """Measure a plan that is laid by hand."""
    assignment = Assignment(ways, places, {}, divide_at or {})
    return measure(job, assignment, status="feasible", stopped="time_limit", bounds={}, solver=SOLVER)


@cache
def straight(name: str) -> tuple[Job, Plan]:
    """Lay a standard job of two equal trunks straight through: subunits over the stacks by turns, the back first."""
    job = load_job(STANDARD / f"{name}.yaml")
    stacks = job.enclosure.stacks
    ways = {
        job.trunks[0].id: Way("bottom-left", "clockwise", 1),
        job.trunks[1].id: Way("bottom-right", "counterclockwise", 1),
    }
    places: dict[Leg, Place] = {}
    for trunk in job.trunks:
        filled = dict.fromkeys((stack.id for stack in stacks), 0)
        for subunit in trunk.subunits:
            stack = stacks[(subunit.number - 1) % len(stacks)]
            for leg in subunit.legs(-(-subunit.fibres // stack.tray.fibres)):
                filled[stack.id] += 1
                places[leg] = Place(stack.id, filled[stack.id])
    return job, planned(job, ways, places)


@cache
def thin(name: str = "2x864-wall-3x8-port") -> tuple[Job, Plan]:
    """Lay 864 splices in 18 trays of 48, two thirds full: many trays, steps, marks and labels for so few fibres."""
    job = load_job(STANDARD / f"{name}.yaml")
    stacks = job.enclosure.stacks
    ways = {"N1": Way("bottom-left", "clockwise", 1), "S1": Way("bottom-right", "counterclockwise", 1)}
    places = {
        leg: Place(stacks[(leg.subunit - 1) % len(stacks)].id, 3 * ((leg.subunit - 1) // len(stacks)) + leg.group)
        for trunk in job.trunks
        for subunit in trunk.subunits
        for leg in subunit.legs(3)
    }
    return job, planned(job, ways, places, {"N1": "port", "S1": "port"})


@cache
def worked() -> tuple[Job, Plan]:
    """Give the worked example of the specification (section 10), with its best plan."""
    job = load_job(WORKED)
    places = {
        Leg("P", 1, 1, 1): Place("left", 1),
        Leg("P", 2, 1, 1): Place("left", 2),
        Leg("Q", 1, 1, 2): Place("left", 1),
        Leg("Q", 1, 2, 2): Place("left", 2),
    }
    return job, planned(job, {"P": Way("bl", "clockwise", 1), "Q": Way("br", "counterclockwise", 1)}, places)


@cache
def ported() -> tuple[Job, Plan]:
    """Give the worked example with Q divided at the port: no tube ties its trays."""
    job, plan = worked()
    assignment, _ = assignment_of(job, plan)
    return job, planned(job, dict(assignment.ways), dict(assignment.places), {"P": "tray", "Q": "port"})


@cache
def half() -> tuple[Job, Plan]:
    """Give a plan with parked fibres, idle subunits, legs coiled at the port, an unplaced run and a trunk outside."""
    data = {**WORKED, "title": "half", "trunks": [*WORKED["trunks"]], "joins": []}
    data["trunks"].append({**WORKED["trunks"][1], "id": "R"})
    data["joins"] = [
        {"a": "P:1-12", "b": "Q:1-12", "name": "east"},
        {"a": "P:25-28", "b": "R:1-4", "name": "west"},
    ]
    job = load_job(data)
    places = {Leg("P", 1, 1, 1): Place("left", 1), Leg("Q", 1, 1, 4): Place("left", 1)}
    ways = {"P": Way("bl", "clockwise", 1), "Q": Way("br", "counterclockwise", 1)}
    return job, planned(job, ways, places, {"Q": "port"})


@cache
def tapped(*, at_port: bool = False) -> tuple[Job, Plan]:
    """Give a plan with a tube that is opened for two trays: two of its legs are spliced, the others parked beside them.

    Q's tube is opened for its four legs: Q/1.1 in left/1 with P/1, Q/1.2 in left/1 too, Q/1.3 in left/2 and Q/1.4 with P/2
    there. With ``at_port`` Q is divided at the port, and its idle legs are coiled.
    """
    data = {**WORKED, "title": "tapped", "joins": []}
    data["joins"] = [
        {"a": "P:1-12", "b": "Q:1-12", "name": "east"},
        {"a": "P:25-36", "b": "Q:37-48", "name": "west"},
    ]
    job = load_job(data)
    places = {
        Leg("P", 1, 1, 1): Place("left", 1),
        Leg("P", 2, 1, 1): Place("left", 2),
        Leg("Q", 1, 1, 4): Place("left", 1),
        Leg("Q", 1, 4, 4): Place("left", 2),
    }
    if not at_port:
        places |= {Leg("Q", 1, 2, 4): Place("left", 1), Leg("Q", 1, 3, 4): Place("left", 2)}
    ways = {"P": Way("bl", "clockwise", 1), "Q": Way("br", "counterclockwise", 1)}
    return job, planned(job, ways, places, {"Q": "port" if at_port else "tray"})


@cache
def gone(*joined: str, **keys: Any) -> tuple[Job, Plan]:
    """Give the worked example with P going through, in at bl and out at br.

    Without ``joined``, P.in/1 is spliced to Q, of which half is parked, P.out/1 is capped, P/2 passes uncut. ``both``
    splices P/1 to itself, as one that was cut by mistake; ``whole`` splices P.in/2 to Q as well, so that nothing passes.
    With ``three`` P has a third subunit, and with ``apart`` that one is spliced to the other half of Q.
    """
    trunk = WORKED["trunks"][0] | {"through": True, "ports": ["bl", "br"]} | keys
    if {"three", "apart"} & set(joined):
        trunk["cable"] = trunk["cable"] | {
            "diameter_mm": 15,
            "subunits": [trunk["cable"]["subunits"][0] | {"count": 3}],
        }
    box = json.loads(json.dumps(WORKED["enclosure"]))
    box["ports"][1]["seals"] = [{"holes": 2, "least_mm": 8, "most_mm": 16}]
    data = {**WORKED, "title": "gone through", "trunks": [trunk, WORKED["trunks"][1]], "enclosure": box}
    q = {Leg("Q", 1, 1, 2): Place("left", 1), Leg("Q", 1, 2, 2): Place("left", 2)}
    places = {Leg("P.in", 1, 1, 1): Place("left", 1), **q}
    data["joins"] = [{"a": "P.in:1-24", "b": "Q:1-24", "name": "tap"}]
    if "both" in joined:
        data["joins"] = [{"a": "P.in:1-24", "b": "P.out:1-24", "name": "again"}]
        places = dict.fromkeys((Leg("P.in", 1, 1, 1), Leg("P.out", 1, 1, 1)), Place("left", 1))
    if "whole" in joined:
        data["joins"] = [{"a": "P.in:1-48", "b": "Q:1-48", "name": "tap"}]
        places[Leg("P.in", 2, 1, 1)] = Place("left", 2)
    if "apart" in joined:
        data["joins"] = [
            {"a": "P.in:1-24", "b": "Q:1-24", "name": "tap"},
            {"a": "P.in:49-72", "b": "Q:25-48", "name": "far"},
        ]
        places[Leg("P.in", 3, 1, 1)] = Place("left", 2)
    job = load_job(data)
    ways = {"P.in": Way("bl", "clockwise", 1), "P.out": Way("br", "counterclockwise", 1)}
    if "both" not in joined:
        ways["Q"] = Way("br", "counterclockwise", 1)
    return job, planned(job, ways, places)


@cache
def hostile() -> tuple[Job, Plan]:
    """Give the worked example under names that try to get out of cells, attributes and scripts."""
    p, q = '=HYPERLINK("x"),<script>', "@'q\"><img src=x onerror=bad()>"
    data: dict[str, Any] = {
        **WORKED,
        "title": "</title></script><script>window.bad = 1<" + "/script> =1+1",
        "trunks": [{**WORKED["trunks"][0], "id": p}, {**WORKED["trunks"][1], "id": q}],
        "joins": [{"a": f"{p}:1-48", "b": f"{q}:1-48", "name": "</script><script>window.bad = 2<" + "/script>"}],
    }
    job = load_job(data)
    places = {
        Leg(p, 1, 1, 1): Place("left", 1),
        Leg(p, 2, 1, 1): Place("left", 2),
        Leg(q, 1, 1, 2): Place("left", 1),
        Leg(q, 1, 2, 2): Place("left", 2),
    }
    return job, planned(job, {p: Way("bl", "clockwise", 1), q: Way("br", "counterclockwise", 1)}, places)


def crossed(at: DivideAt = "tray") -> tuple[Job, Plan]:
    """Give a plan of 48 legs in which the second half of each trunk lies under the first: many crossings."""
    job, _ = straight("2x1728-wall-3x8")
    ways = {
        job.trunks[0].id: Way("bottom-left", "clockwise", 1),
        job.trunks[1].id: Way("bottom-right", "counterclockwise", 1),
    }
    places: dict[Leg, Place] = {}
    for trunk in job.trunks:
        for subunit in trunk.subunits:
            turned = 13 - subunit.number
            for leg in subunit.legs(2):
                layer, stack = divmod(turned - 1, 3)
                places[leg] = Place(("left", "middle", "right")[stack], 2 * layer + leg.group)
    return job, planned(job, ways, places, dict.fromkeys(ways, at))


def built_in(pair: tuple[Job, Plan], trays: Collection[str], ways: Collection[str] = ()) -> tuple[Job, Plan]:
    """Give a plan again, of a job in which the legs in some trays, and the ways of some trunks, are built."""
    job, plan = pair
    pins: list[LegPin | TrunkPin] = [
        LegPin(leg=f"{row.trunk}:{row.fibres}", stack=row.stack, position=row.position, built=True)  # type: ignore[arg-type]
        for row in plan.legs
        if row.stack is not None and f"{row.stack}/{row.position}" in trays
    ]
    pins += [
        TrunkPin(trunk=row.trunk, port=row.port, travel=row.travel, loops=row.loops, built=True)
        for row in plan.trunks
        if row.trunk in ways
    ]
    changed = remade(job, pins=tuple(pins))
    return replanned(changed, plan, job)


def replanned(changed: Job, plan: Plan, job: Job) -> tuple[Job, Plan]:
    """Lay the legs of a job's plan as they lie, in a changed job."""
    assignment, _ = assignment_of(job, plan)
    return changed, planned(changed, dict(assignment.ways), dict(assignment.places), dict(assignment.divide_at))


@cache
def grown() -> tuple[Job, Plan]:
    """Give a box in service that a third trunk comes into: a live tray gets a leg, and a new tray goes under a live one.

    P and Q are built: P/1 with a quarter of Q in left/1, P/2 with another quarter in right/2. R is new: half of it is
    spliced to what P/1 parks in left/1, the other half to Q in right/1, under right/2.
    """
    data = {**WORKED, "title": "grown", "trunks": [*WORKED["trunks"]]}
    data["trunks"].append({"id": "R", "cable": _cable("r", 14, 2, 1, 5), "loops": [1], "ports": ["bl"]})
    box = json.loads(json.dumps(WORKED["enclosure"]))
    box["ports"][0]["seals"] = [{"holes": 2, "least_mm": 8, "most_mm": 18}]
    data["enclosure"] = box
    data["joins"] = [
        {"a": "P:1-12", "b": "Q:1-12", "name": "east"},
        {"a": "P:25-36", "b": "Q:13-24", "name": "west"},
        {"a": "P:13-24", "b": "R:1-12", "name": "north"},
        {"a": "Q:37-48", "b": "R:13-24", "name": "south"},
    ]
    data["rules"] = {"reach": "off", "no_empty_below": "off"}
    data["trunks"][0] = {**data["trunks"][0], "divide_at": "port"}
    data["trunks"][1] = {**data["trunks"][1], "divide_at": "port"}
    data["pins"] = [
        {"trunk": "P", "port": "bl", "travel": "clockwise", "loops": 1, "built": True},
        {"leg": "P:1-24", "stack": "left", "position": 1, "built": True},
        {"leg": "P:25-48", "stack": "right", "position": 2, "built": True},
        {"leg": "Q:1-12", "stack": "left", "position": 1, "built": True},
        {"leg": "Q:13-24", "stack": "right", "position": 2, "built": True},
    ]
    job = load_job(data)
    places = {
        Leg("P", 1, 1, 1): Place("left", 1),
        Leg("P", 2, 1, 1): Place("right", 2),
        Leg("Q", 1, 1, 4): Place("left", 1),
        Leg("Q", 1, 2, 4): Place("right", 2),
        Leg("Q", 1, 4, 4): Place("right", 1),
        Leg("R", 1, 1, 1): Place("left", 1),
        Leg("R", 2, 1, 1): Place("right", 1),
    }
    ways = {
        "P": Way("bl", "clockwise", 1), "Q": Way("br", "counterclockwise", 1), "R": Way("bl", "clockwise", 1),
    }  # fmt: skip
    return job, planned(job, ways, places)


def book(pair: tuple[Job, Plan], settings: Settings | None = None) -> Book:
    """Open a plan's book."""
    return Book(*pair, settings or Settings())


def _guide(name: str, x: int, y: int) -> dict[str, Any]:
    return {"id": name, "x_mm": x, "y_mm": y, "opening_mm2": 1500}


def _stack(name: str, x: int, clockwise: tuple[str, int], counterclockwise: tuple[str, int]) -> dict[str, Any]:
    tray = {
        "kind": "tray", "id": "t24", "fibres": 24, "sleeves": 2, "sleeve_fibres": 12, "entrance_legs": 4,
        "height_mm": 10, "size_mm": [80, 200], "inside_mm": 300, "min_radius_mm": 30,
    }  # fmt: skip
    ends = [
        {
            "id": "top",
            "clockwise": {"guide": clockwise[0], "x_mm": clockwise[1], "y_mm": 330},
            "counterclockwise": {"guide": counterclockwise[0], "x_mm": counterclockwise[1], "y_mm": 330},
        }
    ]
    return {
        "id": name, "tray": tray, "positions": 2, "at_mm": [x, 120], "base_z_mm": 12, "pitch_mm": 11, "ends": ends,
    }  # fmt: skip


def _port(name: str, x: int, guide: str, turns: str) -> dict[str, Any]:
    seals = [{"holes": 1, "least_mm": 8, "most_mm": 30}]
    return {"id": name, "x_mm": x, "y_mm": 0, "guide": guide, "bore_mm": 40, "turns": turns, "seals": seals}


def _cable(name: str, diameter: float, count: int, ribbons: int, tube: float) -> dict[str, Any]:
    subunit = {"count": count, "ribbons": ribbons, "ribbon_fibres": 12, "diameter_mm": tube}
    return {
        "kind": "cable", "id": name, "construction": "ribbon", "diameter_mm": diameter, "fibre": "G.652.D",
        "ribbon_mm": [3.22, 0.36], "subunits": [subunit],
    }  # fmt: skip


WORKED: dict[str, Any] = {
    "schema": "trayopt/job/2",
    "title": "worked example",
    "enclosure": {
        "kind": "enclosure",
        "id": "small",
        "size_mm": [400, 500, 60],
        "track": {
            "z_mm": [10, 10],
            "min_radius_mm": 80,
            "guides": [
                _guide("nw", 60, 440), _guide("n", 200, 460), _guide("ne", 340, 440),
                _guide("se", 340, 60), _guide("s", 200, 40), _guide("sw", 60, 60),
            ],
        },
        "ports": [_port("bl", 40, "sw", "clockwise"), _port("br", 360, "se", "counterclockwise")],
        "stacks": [_stack("left", 100, ("nw", 170), ("n", 110)), _stack("right", 220, ("n", 290), ("ne", 230))],
    },
    "trunks": [
        {"id": "P", "cable": _cable("p", 14, 2, 2, 5), "loops": [1]},
        {"id": "Q", "cable": _cable("q", 12, 1, 4, 6), "loops": [1]},
    ],
    "joins": [{"a": "P:1-48", "b": "Q:1-48", "name": "through"}],
    "rules": {"reach": {"bench_mm": 1800}},
}  # fmt: skip
