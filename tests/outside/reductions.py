"""Jobs that are other people's problems in disguise: bin packing, one-sided crossing minimisation, assignment."""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, pi, sin
from typing import Any

from tests.build import Json, job_of
from tests.strategies import worked_example
from trayopt.domain.job import Job
from trayopt.rules.registry import SETTABLE

BARE: dict[str, str] = dict.fromkeys(SETTABLE, "off")
"""No rule but those that always hold."""


def bare(rules: Json) -> Json:
    """Turn off every rule but these."""
    return BARE | rules


def group(ribbons: int, fibres: int) -> Json:
    """Give one subunit."""
    return {"count": 1, "ribbons": ribbons, "ribbon_fibres": fibres, "diameter_mm": 3}


def loose(name: str, subunits: Sequence[Json], **given: Any) -> Json:
    """Give a trunk of loose tubes that goes one way only."""
    cable = {"kind": "cable", "id": name, "construction": "loose_tube", "diameter_mm": 20, "subunits": list(subunits)}
    return {"id": name, "cable": cable, "ports": ["bl"], "travel": "clockwise", "loops": [1]} | given


def one_stack(positions: int, **tray: int) -> Json:
    """Give the box of the worked example with one stack of so many trays."""
    data = worked_example()
    data["enclosure"]["stacks"] = data["enclosure"]["stacks"][:1]
    stack = data["enclosure"]["stacks"][0]
    stack["positions"], stack["pitch_mm"] = positions, 1
    stack["tray"] |= {"fibres": 10_000, "sleeves": 10_000, "sleeve_fibres": 12, "entrance_legs": 10_000} | tray
    return data


def packing(items: Sequence[int], capacity: int, bins: int, spare: int) -> Job:
    """Pack items into trays: ``spare`` trays of ``bins + spare`` are to stay free.

    An item is a subunit of either trunk. Subunits of more than one ribbon are spliced crosswise, so that no division parts
    them.
    """
    data = one_stack(bins + spare, fibres=capacity)
    subunits, joins, first = [], [], 1
    for size in items:
        ribbons = 1 if size <= 96 else 2
        subunits.append(group(ribbons, size // ribbons))
        assert size % ribbons == 0
        half, last = size // 2, first + size - 1
        quarter = half // 2
        runs = [(0, 0, size)]
        if ribbons == 2:
            rest = half - quarter
            runs = [
                (0, 0, quarter),
                (quarter, size - rest, rest),
                (half, half, quarter),
                (half + quarter, quarter, rest),
            ]
        joins += [
            {"a": f"N:{first + a}-{first + a + n - 1}", "b": f"S:{first + b}-{first + b + n - 1}"} for a, b, n in runs
        ]
        first = last + 1
    data["trunks"] = [loose("N", subunits, divide_at="port"), loose("S", subunits, divide_at="port")]
    data["joins"] = joins
    data["tubes"]["tubes"] = [{"bore_mm": 100, "diameter_mm": 110}]
    data["rules"] = bare(
        {"tray_fibres": "must", "no_empty_below": "must", "reserve": {"level": "must", "trays": spare}}
    )
    return job_of(data)


def two_layers(edges: Sequence[tuple[int, int]]) -> tuple[Job, int]:
    """Order the right vertices so that edges (left, right) cross least; also give what crosses in every order.

    A right vertex is a tray: a trunk of its own with one subunit, to which every edge at it is spliced. The edges are the
    subunits of trunk N, sorted by left vertex, and once more of trunk M, sorted alike but downwards inside a left vertex:
    two edges of one left vertex cross in exactly one of the two, two of different ones in both or in none.
    """
    vertices = sorted({v for _, v in edges})
    up = sorted(edges)
    down = sorted(edges, key=lambda edge: (edge[0], -edge[1]))
    data = one_stack(len(vertices))
    taken = dict.fromkeys(vertices, 0)
    joins: list[Json] = []
    for trunk, order in (("N", up), ("M", down)):
        for i, (_, v) in enumerate(order, start=1):
            taken[v] += 1
            joins.append({"a": f"{trunk}:{i}", "b": f"V{v}:{taken[v]}", "name": f"{trunk}{i}"})
    data["trunks"] = [loose(trunk, [group(1, 1)] * len(edges)) for trunk in ("N", "M")]
    data["trunks"] += [loose(f"V{v}", [group(1, taken[v])]) for v in vertices]
    data["joins"] = joins
    one_each = {v: f"N{i}" for i, (_, v) in enumerate(up, start=1)}
    data["apart"] = [{"joins": list(one_each.values()), "scope": "tray"}]
    data["rules"] = bare({"apart": "must", "no_empty_below": "must"})
    degrees = [sum(left == u for left, _ in edges) for u in {left for left, _ in edges}]
    return job_of(data), sum(d * (d - 1) // 2 for d in degrees)


def assignment(matrix: Sequence[Sequence[int]]) -> Json:
    """Give each row a tray of its own, the sum of lengths being the sum of entries, up to constants of rows and columns.

    Stack j has one tray, entered at guide s<j>; port p<j> lies behind it, clockwise. A trunk that goes clockwise from p<j>
    makes nearly a whole round more to the stacks 0 … j than to the others, and one that goes counterclockwise to the
    others: a row is a group of trunks that are spliced together, one for each unit by which its entries fall or rise.
    """
    n = len(matrix)
    data = one_stack(1)
    spots = [(name, j) for j in range(n) for name in ("s", "p")]
    where = [(round(2000 * cos(-i * pi / n)) + 2000, round(2000 * sin(-i * pi / n)) + 2000) for i in range(2 * n)]
    at = {f"{name}{j}": xy for (name, j), xy in zip(spots, where, strict=True)}
    box = data["enclosure"]
    box["size_mm"] = [4100, 4100, 60]
    box["track"]["guides"] = [{"id": id_, "x_mm": x, "y_mm": y, "opening_mm2": 1} for id_, (x, y) in at.items()]
    box["ports"] = [
        {
            "id": f"p{j}",
            "x_mm": at[f"p{j}"][0],
            "y_mm": at[f"p{j}"][1] + 50,
            "guide": f"p{j}",
            "bore_mm": 40,
            "seals": [],
        }
        for j in range(n)
    ]
    stack = box["stacks"][0]
    box["stacks"] = []
    for j in range(n):
        x, y = at[f"s{j}"]
        entrance = {"guide": f"s{j}", "x_mm": x + 40 + j, "y_mm": y + 30}
        box["stacks"].append(
            stack | {"id": f"t{j}", "ends": [{"id": "end", "clockwise": entrance, "counterclockwise": entrance}]}
        )
    falls = [[max(0, row[j] - row[j + 1]) for j in range(n - 1)] for row in matrix]
    rises = [[max(0, row[j + 1] - row[j]) for j in range(n - 1)] for row in matrix]
    most = (max(map(sum, falls)), max(map(sum, rises)))
    data["trunks"], data["joins"] = [], []
    for i in range(n):
        starts = []
        for travel, steps, all_ in (("clockwise", falls[i], most[0]), ("counterclockwise", rises[i], most[1])):
            of_row = [j for j in range(n - 1) for _ in range(steps[j])]
            starts += [(travel, j) for j in of_row + [n - 1] * (all_ - len(of_row))]
        data["trunks"].append(loose(f"H{i}", [group(1, len(starts))], ports=[f"p{n - 1}"]))
        for f, (travel, j) in enumerate(starts, start=1):
            data["trunks"].append(loose(f"R{i}-{f}", [group(1, 1)], ports=[f"p{j}"], travel=travel))
            data["joins"].append({"a": f"H{i}:{f}", "b": f"R{i}-{f}:1"})
    for stack in box["stacks"]:
        stack["tray"] = stack["tray"] | {"fibres": sum(most)}
    data["rules"] = bare({"tray_fibres": "must"})
    return data
