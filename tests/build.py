"""Jobs and assignments out of plain data, for tests: references inlined, everything that is usual left out."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from typing import Any

from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.base import DivideAt, RibbonWord
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Enclosure, Place
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan, PlanSolver
from trayopt.domain.ranges import parse_run
from trayopt.domain.trunk import Trunk
from trayopt.formats.locate import Located
from trayopt.library.through import TrunkAt, entries, goes_through, read_through, settled
from trayopt.rules.registry import fill
from trayopt.track.laid import Claim

Json = dict[str, Any]

SOLVER = PlanSolver(version="test", seed=0, workers=1, deterministic_time=0.0)


def frozen(value: Any) -> Any:
    """Turn lists into tuples, all the way down."""
    if isinstance(value, Mapping):
        return {key: frozen(item) for key, item in value.items()}
    return tuple(frozen(item) for item in value) if isinstance(value, list | tuple) else value


def job_of(data: Json) -> Job:
    """Build a job from a resolved job dict: rules filled in, joins without a name named by index."""
    data = _with_ends(copy.deepcopy(data))
    box = Enclosure.model_validate(frozen(data["enclosure"]))
    data["rules"], faults = fill(data.get("rules", {}), box)
    assert not faults, faults
    for i, join in enumerate(data.get("joins", [])):
        join.setdefault("name", str(i))
    return Job.model_validate(frozen(data))


def _with_ends(data: Json) -> Json:
    """Read trunks that go through as the library does, in hardware that need not be sound."""
    located, trunks, gone = Located.plain(data), [], []
    for i, entry in enumerate(frozen(data["trunks"])):
        read, faults = read_through(located, i, entry) if goes_through(entry) else (None, [])
        assert not faults, faults
        gone += [read] if read else []
        sides = [side for side, _ in entries(read, entry)] if read else [entry]
        trunks += [TrunkAt(Trunk.model_validate(side), i, located, 0 if read else None) for side in sides]
    if not gone:
        return data
    runs = [parse_run(join[key]) for join in data["joins"] for key in ("a", "b")]
    made, through = settled(gone, trunks, runs)
    return data | {"trunks": [at.trunk for at in made], "through": through}


def leg_of(job: Job, text: str, of: int | None = None) -> Leg:
    """Read ``N1/3``, ``N1/3.2`` (with the k given), or ``N1:1-72``."""
    if ":" in text:
        trunk, _, span = text.partition(":")
        first, _, last = span.partition("-")
        leg = job.trunk_by_id[trunk].subunit_of(int(first)).leg_of_run(int(first), int(last or first))
        assert leg is not None, text
        return leg
    trunk, _, rest = text.partition("/")
    subunit, _, group = rest.partition(".")
    return Leg(trunk, int(subunit), int(group or 1), (of or 1) if group else 1)


def place_of(text: str) -> Place:
    """Read ``left/3``."""
    stack, _, position = text.partition("/")
    return Place(stack, int(position))


def assignment_of(
    job: Job,
    ways: Mapping[str, tuple[str, str, int]],
    legs: Mapping[str, str],
    ends: Mapping[str, str] | None = None,
    divide_at: Mapping[str, DivideAt] | None = None,
    ribbons: Mapping[str, RibbonWord] | None = None,
) -> Assignment:
    """Build an assignment: ways as (port, travel, loops), legs by fibres (``N1:1-72``) at places (``left/3``).

    For a trunk that ``divide_at`` or ``ribbons`` does not name, the first of its own list holds.
    """
    return Assignment(
        {trunk: Way(*way) for trunk, way in ways.items()},  # type: ignore[arg-type]
        {leg_of(job, leg): place_of(place) for leg, place in legs.items()},
        dict(ends or {}),
        dict(divide_at or {}),
        dict(ribbons or {}),
    )


def claim_of(text: str) -> Claim:
    """Read ``N1:1-72 left/3`` or ``N1:1-72 left/3 top``."""
    run, place, *end = text.split()
    trunk, _, span = run.partition(":")
    first, _, last = span.partition("-")
    return Claim(trunk, int(first), int(last or first), place_of(place), end[0] if end else None)


def plan_of(data: Json) -> Plan:
    """Read a plan from plain data."""
    return Plan.model_validate(frozen(data))
