"""The cases: standard jobs, shuffled joins, scale, awkward subunits. Each gives a job; nothing is kept between two of them."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Any, Literal

from benchmarks.boxes import RIBBON_72, RIBBON_144, SINGLE_12, Json, bundles, cabinet, loose_tubes, ribbons_of_12

ROOT = Path(__file__).parents[1]
STANDARD = ROOT / "models" / "standard"
SEEDS = (1, 2, 3)
"""Seeds of the shuffles."""

Family = Literal["standard", "shuffled", "scale", "awkward"]
FAMILIES: tuple[Family, ...] = ("standard", "shuffled", "scale", "awkward")
Until = Literal["all", "crossings"]


@dataclass(frozen=True)
class Case:
    """One job to measure.

    Attributes
    ----------
    id, family
        ``id`` is unique.
    source
        A job file, or a job as a mapping.
    whole
        Whether a plan places every splice and keeps every must; None where that is not known beforehand.
    target_s
        Seconds in which it is to be proven on two cores, None for no target of its own.
    until
        What the target asks for: every goal, or all goals up to the crossings.
    size
        What is plotted against time in its group, and the group: ("straight joins", 1728).
    """

    id: str
    family: Family
    source: Path | Mapping[str, Any]
    whole: bool | None = None
    target_s: float | None = None
    until: Until = "all"
    size: tuple[str, int] | None = None


def standard() -> Iterator[Case]:
    """Every job of the library; the names of those that cannot be kept whole say so."""
    for path in sorted(STANDARD.glob("*.yaml")):
        big = any(mark in path.stem for mark in ("2880", "3456", "6912"))
        whole = not path.stem.startswith(("no-", "unmet-"))
        yield Case(path.stem, "standard", path, whole, 60.0 if big else 10.0)


def _job(title: str, box: Json, trunks: Sequence[Json], joins: Sequence[Json]) -> Json:
    return {
        "schema": "trayopt/job/2",
        "title": title,
        "enclosure": box,
        "trunks": list(trunks),
        "joins": list(joins),
    }


def _join(name: str, a: tuple[str, int], b: tuple[str, int], count: int) -> Json:
    """Join ``count`` fibres from two first fibres on."""
    return {
        "a": f"{a[0]}:{a[1]}-{a[1] + count - 1}",
        "b": f"{b[0]}:{b[1]}-{b[1] + count - 1}",
        "name": name,
    }


def shuffle(cable: Json, blocks: int, size: int, seed: int, box: Json, divide_at: str) -> Json:
    """Join blocks of ``size`` fibres of one trunk to those of another in random order."""
    order = list(range(blocks))
    random.Random(seed).shuffle(order)
    trunks = [{"id": name, "cable": cable, "divide_at": divide_at} for name in ("N1", "S1")]
    joins = [
        _join(f"circuit-{i + 1:02}", ("N1", i * size + 1), ("S1", j * size + 1), size) for i, j in enumerate(order)
    ]
    return _job(f"{blocks} blocks of {size}, shuffled by seed {seed}", box, trunks, joins)


def shuffled() -> Iterator[Case]:
    """Two trunks of n whole legs on two stacks, and halves of subunits on three, divided at the tray and at the port."""
    for n, target_s in ((24, 2.0), (48, 5.0), (96, 20.0)):
        for seed in SEEDS:
            job = shuffle(loose_tubes(n), n, 12, seed, cabinet(2, n // 2, SINGLE_12), "tray")
            yield Case(f"legs-{n}-seed-{seed}", "shuffled", job, True, target_s, "all", ("shuffled legs", 12 * n))
    for divide_at in ("tray", "port"):
        for seed in SEEDS:
            job = shuffle(bundles(12), 24, 72, seed, cabinet(3, 8, RIBBON_72), divide_at)
            whole = True if divide_at == "port" else None
            yield Case(f"halves-12x144-{divide_at}-seed-{seed}", "shuffled", job, whole, 60.0)


def straight(fibres: int) -> Json:
    """Join two trunks of subunits of 144 end to end; the trays of 72 are just enough, two for a subunit on every stack."""
    stacks = 3 if fibres <= 3456 else 4
    subunits_a_stack = -(-fibres // 144 // stacks)
    trunks = [{"id": name, "cable": bundles(fibres // 144)} for name in ("N1", "S1")]
    box = cabinet(stacks, 2 * subunits_a_stack, RIBBON_72)
    return _job(f"2 x {fibres}, straight", box, trunks, [_join("through", ("N1", 1), ("S1", 1), fibres)])


def pairs(number: int, subunits: int) -> Json:
    """Join pairs of trunks, each pair straight, in a cabinet of eight stacks; every trunk has its port from the duct."""
    tray = RIBBON_72 if subunits == 12 else RIBBON_144
    box = cabinet(8, 24, tray, ports=2 * number, bore_mm=80)
    names = [port["id"] for port in box["ports"]]
    cable = bundles(subunits)
    trunks, joins = [], []
    for i in range(number):
        west, east = f"W{i + 1}", f"E{i + 1}"
        trunks += [
            {"id": west, "cable": cable, "ports": [names[i]]},
            {"id": east, "cable": cable, "ports": [names[number + i]]},
        ]
        joins.append(_join(f"pair-{i + 1}", (west, 1), (east, 1), 144 * subunits))
    return _job(f"{number} pairs of {144 * subunits}", box, trunks, joins)


def scale() -> Iterator[Case]:
    """Straight joins from 432 to 6,912 fibres, and 13,824 and 27,648 fibres over sixteen trunks."""
    for fibres in (432, 864, 1728, 3456, 6912):
        target_s = 10.0 if fibres <= 1728 else 60.0
        yield Case(f"straight-{fibres}", "scale", straight(fibres), True, target_s, "all", ("straight joins", fibres))
    for fibres, subunits in ((13_824, 12), (27_648, 24)):
        yield Case(f"pairs-8-{fibres}", "scale", pairs(8, subunits), True, 120.0, "crossings", ("eight pairs", fibres))


AWKWARD: Mapping[str, Json] = {
    "96": ribbons_of_12((6, 96)),
    "108": ribbons_of_12((4, 108)),
    "144": ribbons_of_12((3, 144)),
    "mixed": ribbons_of_12((3, 96), (1, 144)),
}
"""Cables whose subunits do not match, by what is in them; all have 432 fibres or more."""


def all_with_all(kinds: Sequence[str], divide_at: str) -> Json:
    """Join every trunk to every other one: 432 fibres of each, an equal share for each partner, in order."""
    names = [f"{'NESW'[i]}1" for i in range(len(kinds))]
    share = 432 // (len(kinds) - 1)
    trunks = [
        {"id": name, "cable": AWKWARD[kind], "divide_at": divide_at} for name, kind in zip(names, kinds, strict=True)
    ]
    used = dict.fromkeys(names, 1)
    joins = []
    for a, b in combinations(names, 2):
        joins.append(_join(f"{a}-{b}", (a, used[a]), (b, used[b]), share))
        used[a] += share
        used[b] += share
    return _job(f"{' '.join(kinds)}, all with all", cabinet(2, 12, RIBBON_144), trunks, joins)


def awkward() -> Iterator[Case]:
    """Three and four trunks joined all with all, subunits of 96, 108, 144 and mixed."""
    for kinds in (("108", "mixed", "144"), ("96", "108", "144"), ("96", "108", "144", "mixed"), ("144",) * 4):
        for divide_at in ("tray", "port"):
            name = f"all-{'-'.join(kinds)}-{divide_at}"
            yield Case(name, "awkward", all_with_all(kinds, divide_at), None, 60.0)


def registry() -> dict[str, Case]:
    """Every case by id, in order."""
    return {case.id: case for made in (standard(), shuffled(), scale(), awkward()) for case in made}
