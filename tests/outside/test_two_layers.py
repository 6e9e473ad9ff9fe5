"""One-sided crossing minimisation in disguise: published optima are counted alike, and found and proven."""

from __future__ import annotations

import pytest

from tests.outside.reductions import two_layers
from tests.outside.test_crossings import crossings
from trayopt.api import solve

Edges = tuple[tuple[int, int], ...]

# The tiny test set of pace2024-verifier 0.3.8 (Python package index, MIT licence, see NOTICE.txt): left vertices are fixed,
# the right ones are to be ordered; edges, an optimal order and its crossings. Edges are written left:right+right.
TINY: dict[str, tuple[str, str, int]] = {
    "complete_4_5": ("1:5+6+7+8+9 2:5+6+7+8+9 3:5+6+7+8+9 4:5+6+7+8+9", "5 6 7 8 9", 60),
    "cycle_8_shuffled": ("1:6+8 2:6+7 3:5+7 4:5+8", "6 7 8 5", 4),
    "cycle_8_sorted": ("1:5+7 2:5+6 3:7+8 4:6+8", "5 7 6 8", 3),
    "grid_9_shuffled": ("1:5+7+8 2:6+7+9 3:7+8+9 4:5+6+7", "8 5 7 9 6", 17),
    "ladder_4_4_shuffled": ("1:5+6 2:6+7+8 3:7+8 4:5+6+7", "5 6 8 7", 11),
    "ladder_4_4_sorted": ("1:5+8 2:5+7+8 3:6+7+8 4:6+7", "5 8 7 6", 3),
    "matching_4_4": ("1:7 2:5 3:6 4:8", "7 5 6 8", 0),
    "path_9_shuffled": ("1:8 2:6+7 3:9 4:6+8 5:7+9", "8 6 7 9", 6),
    "path_9_sorted": ("1:7 2:7+9 3:6+9 4:6+8 5:8", "7 9 6 8", 0),
    "plane_5_6": ("1:6+9+11 2:6+10 3:10 4:7+8+10 5:8", "9 11 6 10 7 8", 0),
    "star_6": ("1:3+5+7 2:4+6+8", "3 5 7 4 6 8", 0),
    "tree_6_10": ("1:7+8 2:7+9+10+11 3:7+12+13 4:7 5:8 6:8+14+15+16", "9 10 11 7 12 13 8 14 15 16", 13),
    "website_20": ("1:15+16 2:17 3:18 4:19 5:20 6:11 7:12 8:13 9:14 10:15+16", "15 16 17 18 19 20 11 12 13 14", 17),
}
SLOW = ("complete_4_5", "tree_6_10", "website_20")


def edges_of(name: str) -> Edges:
    """Read the edges of an instance."""
    found = []
    for text in TINY[name][0].split():
        left, _, rights = text.partition(":")
        found += [(int(left), int(right)) for right in rights.split("+")]
    return tuple(found)


@pytest.mark.parametrize("name", TINY)
def test_an_optimal_order_is_counted_alike(name: str) -> None:
    _, order, count = TINY[name]
    position = {int(vertex): i for i, vertex in enumerate(order.split(), start=1)}
    rows: dict[int, list[int]] = {}
    for left, right in edges_of(name):
        rows.setdefault(left, []).append(position[right])
    assert crossings([sorted(rows[left]) for left in sorted(rows)]) == count


@pytest.mark.parametrize("name", [pytest.param(name, marks=[pytest.mark.slow] * (name in SLOW)) for name in TINY])
def test_the_optimum_is_found_and_proven(name: str) -> None:
    job, whatever_the_order = two_layers(edges_of(name))
    plan = solve(job).plan
    values = {item.goal: (item.value, item.bound) for item in plan.goals}
    assert values["unplaced"] == values["broken_must"] == (0, 0)
    best = 2 * TINY[name][2] + whatever_the_order
    assert values["crossings"] == (best, best)
