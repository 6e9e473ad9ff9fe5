"""Published optima: one-sided crossing minimisation, solved as jobs by the whole of trayopt.

The instances and their least crossings are the tiny test set of the PACE 2024 challenge, as carried by the package
``pace2024-verifier`` 0.3.8 (MIT licence). Run ``python -m benchmarks.ordering``; where that package can be imported
(``pip install --no-deps pace2024-verifier segment-tree``), its three counters count our orders as well.

An instance becomes a job like this. Every edge is a subunit of one fibre of trunk L, in the order of the fixed side, and
another one of trunk R, in the same order but with the edges of each fixed vertex turned round. Every free vertex is a trunk of
its own with one ribbon, to which its edges are spliced, so all of them share a tray; as wide as a tray, no two share one.
Pairs of edges of one fixed vertex cross in exactly one of L and R, all other pairs cross in both or in none of them:

    crossings of the job = 2 x crossings of the drawing + sum over fixed vertices of C(degree, 2)
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Sequence
from importlib import import_module
from math import comb
from typing import TYPE_CHECKING, NamedTuple

from benchmarks.boxes import SINGLE_12, Json, cabinet

if TYPE_CHECKING:
    from trayopt.domain.plan import Plan

OFF = (
    "entrance_legs", "guide_fill", "bend_radius", "reach", "exposed", "port_seal", "opposite_travel", "natural_travel",
    "tray_pair", "same_division", "alternate_stacks", "subunit_together",
)  # fmt: skip
"""Rules that have nothing to do with an order."""


class Instance(NamedTuple):
    """Vertices on the fixed and on the free side, least crossings, and edges ``fixed-free``."""

    fixed: int
    free: int
    optimum: int
    text: str

    @property
    def edges(self) -> list[tuple[int, int]]:
        """Edges by fixed vertex, then as published."""
        pairs = (edge.split("-") for edge in self.text.split())
        return sorted(((int(a), int(b)) for a, b in pairs), key=lambda edge: edge[0])


INSTANCES: dict[str, Instance] = {
    "complete_4_5": Instance(4, 5, 60, "1-1 1-2 1-3 1-4 1-5 2-1 2-2 2-3 2-4 2-5 3-1 3-2 3-3 3-4 3-5 4-1 4-2 4-3 4-4 4-5"),
    "cycle_8_shuffled": Instance(4, 4, 4, "1-2 1-4 2-2 2-3 3-1 3-3 4-1 4-4"),
    "cycle_8_sorted": Instance(4, 4, 3, "1-1 1-3 2-1 2-2 3-3 3-4 4-2 4-4"),
    "grid_9_shuffled": Instance(4, 5, 17, "1-1 1-3 1-4 2-2 2-3 2-5 3-3 3-4 3-5 4-1 4-2 4-3"),
    "ladder_4_4_shuffled": Instance(4, 4, 11, "1-1 1-2 2-2 2-3 2-4 3-3 3-4 4-1 4-2 4-3"),
    "ladder_4_4_sorted": Instance(4, 4, 3, "1-1 1-4 2-1 2-4 2-3 3-4 3-3 3-2 4-3 4-2"),
    "matching_4_4": Instance(4, 4, 0, "1-3 2-1 3-2 4-4"),
    "path_9_shuffled": Instance(5, 4, 6, "1-3 2-2 2-1 3-4 4-1 4-3 5-2 5-4"),
    "path_9_sorted": Instance(5, 4, 0, "1-2 2-2 2-4 3-4 3-1 4-1 4-3 5-3"),
    "plane_5_6": Instance(5, 6, 0, "1-1 1-4 1-6 2-1 2-5 3-5 4-5 4-2 4-3 5-3"),
    "star_6": Instance(2, 6, 0, "1-1 2-2 1-3 2-4 1-5 2-6"),
    "tree_6_10": Instance(6, 10, 13, "1-1 1-2 2-1 2-3 2-4 2-5 3-1 3-6 3-7 4-1 5-2 6-2 6-8 6-9 6-10"),
    "website_20": Instance(10, 10, 17, "1-5 1-6 2-7 3-8 4-9 5-10 6-1 7-2 8-3 9-4 10-5 10-6"),
}  # fmt: skip


def shift(instance: Instance) -> int:
    """Crossings that the job has beyond twice those of the drawing."""
    edges = instance.edges
    return sum(comb(sum(a == vertex for a, _ in edges), 2) for vertex in range(1, instance.fixed + 1))


def columns(instance: Instance) -> Iterator[tuple[str, list[tuple[int, int]]]]:
    """Give the edges in the order of trunk L and of trunk R."""
    edges = instance.edges
    yield "L", edges
    yield "R", sorted(reversed(edges), key=lambda edge: edge[0])


def job_of(instance: Instance) -> Json:
    """Write an instance as a job."""
    used = sorted({b for _, b in instance.edges})
    degree = {b: sum(b == other for _, other in instance.edges) for b in used}
    width = 2 * max(degree.values())
    box = cabinet(1, len(used), SINGLE_12)
    box["stacks"][0]["tray"] = {
        "kind": "tray", "id": "one-vertex", "fibres": width, "sleeves": width, "sleeve_fibres": 1, "entrance_legs": width,
        "height_mm": 8, "size_mm": [100, 220], "inside_mm": 700, "min_radius_mm": 30,
    }  # fmt: skip
    trunks = [_trunk(side, len(edges), 1) for side, edges in columns(instance)]
    trunks += [_trunk(f"V{b}", 1, width) for b in used]
    joins = []
    taken = dict.fromkeys(used, 0)
    for side, edges in columns(instance):
        for i, (_, b) in enumerate(edges, start=1):
            taken[b] += 1
            joins.append({"a": f"{side}:{i}", "b": f"V{b}:{taken[b]}"})
    return {
        "schema": "trayopt/job/2",
        "title": "One-sided crossing minimisation",
        "enclosure": box,
        "trunks": trunks,
        "joins": joins,
        "rules": dict.fromkeys(OFF, "off"),
    }


def _trunk(name: str, subunits: int, fibres: int) -> Json:
    """Build a trunk of so many tubes with one ribbon of so many fibres."""
    tube = max(2.4, 0.35 * fibres**0.5)
    cable = {
        "kind": "cable",
        "id": f"tubes-{subunits}x{fibres}",
        "construction": "loose_tube",
        "diameter_mm": round(6 + 1.3 * tube * subunits**0.5, 1),
        "subunits": [
            {"count": subunits, "ribbons": 1, "ribbon_fibres": fibres, "diameter_mm": tube, "least_radius_mm": 38}
        ],
    }
    return {"id": name, "cable": cable, "ports": ["bottom-1"], "travel": "clockwise", "loops": [1]}


def order_of(instance: Instance, plan: Plan) -> list[int]:
    """Give the free vertices in the order of their trays; one without an edge comes last."""
    position = {leg.trunk: leg.position for leg in plan.legs if leg.position is not None}
    return sorted(range(1, instance.free + 1), key=lambda b: (position.get(f"V{b}", instance.free + 1), b))


def drawn(instance: Instance, order: Sequence[int]) -> int:
    """Count the crossings of a drawing, pair by pair."""
    place = {b: i for i, b in enumerate(order)}
    edges = instance.edges
    return sum(a < c and place[b] > place[d] for a, b in edges for c, d in edges)


def verified(instance: Instance, order: Sequence[int]) -> list[int] | None:
    """Count by the three counters of the verifier; None where it is not installed."""
    try:
        counters = import_module("pace2024_verifier.pace")
    except ImportError:
        return None
    edges = [(a, instance.fixed + b) for a, b in instance.edges]
    graph = counters.PaceGraph(instance.fixed, instance.free, edges, [instance.fixed + b for b in order])
    return [graph.countcrossings_segtree(), graph.countcrossings_trivial(), graph.countcrossings_stacklike()]


def solve(instance: Instance, limit_s: float = 60.0) -> tuple[Plan, list[int]]:
    """Solve an instance by trayopt, and give the plan and the order in it."""
    from trayopt.api import load_job
    from trayopt.api import solve as search

    result = search(load_job(job_of(instance)), time_limit_s=limit_s)
    return result.plan, order_of(instance, result.plan)


def main() -> int:
    """Solve every instance and compare."""
    wrong = 0
    for name, instance in INSTANCES.items():
        begun = time.perf_counter()
        plan, order = solve(instance)
        took = time.perf_counter() - begun
        goal = next(goal for goal in plan.goals if goal.goal == "crossings")
        count = drawn(instance, order)
        counts = verified(instance, order)
        right = (
            count == instance.optimum
            and goal.value == goal.bound == 2 * count + shift(instance)
            and (counts is None or set(counts) == {count})
        )
        wrong += not right
        said = "not installed" if counts is None else "/".join(map(str, counts))
        print(
            f"{name:20} published {instance.optimum:3}  drawn {count:3}  job {goal.value} (bound {goal.bound})  "
            f"verifier {said}  {took:5.1f} s  {'equal' if right else 'DIFFERENT'}"
        )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
