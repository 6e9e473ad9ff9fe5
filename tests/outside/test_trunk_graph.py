"""Opposite travel is two-colouring: possible where joined trunks make no odd cycle.

König, Über Graphen und ihre Anwendung auf Determinantentheorie und Mengenlehre, Math. Ann. 77, 1916, 453-465. Going round a
cycle, two colours in turn come back to the first after an even number of steps only.
"""

from __future__ import annotations

from itertools import pairwise, product

import pytest

from tests.outside.boxes import box, trunk
from trayopt.domain.job import Job
from trayopt.track.graph import odd_cycle, trunk_graph, two_sides


def joined(pairs: list[tuple[str, str]]) -> Job:
    """Build a job that joins these pairs of trunks by 12 splices each."""
    names = sorted({name for pair in pairs for name in pair})
    used = dict.fromkeys(names, 0)
    joins = []
    for pair in pairs:
        runs = []
        for name in pair:
            runs.append(f"{name}:{used[name] + 1}-{used[name] + 12}")
            used[name] += 12
        joins.append({"a": runs[0], "b": runs[1]})
    group = [{"count": 1, "ribbons": 12, "ribbon_fibres": 12, "diameter_mm": 3}]
    return box(2, [trunk(name, group) for name in names], joins)


def ring(n: int) -> list[tuple[str, str]]:
    """Give a cycle of n trunks."""
    names = [chr(ord("A") + i) for i in range(n)]
    return [*pairwise(names), (names[-1], names[0])]


@pytest.mark.parametrize("pairs", [ring(4), ring(6), [("A", "B"), ("A", "C"), ("C", "D"), ("C", "E")], [("A", "B")]])
def test_no_odd_cycle(pairs: list[tuple[str, str]]) -> None:
    job = joined(pairs)
    sides = two_sides(job)
    assert sides is not None
    assert all(sides[a] != sides[b] for a, b in pairs)
    assert odd_cycle(job) is None


@pytest.mark.parametrize("n", [3, 5])
def test_odd_cycles_are_named(n: int) -> None:
    job = joined(ring(n))
    assert two_sides(job) is None
    cycle = odd_cycle(job)
    assert cycle is not None
    assert (len(cycle), cycle[0]) == (n, "A")
    graph = trunk_graph(job)
    assert all(graph.has_edge(a, b) for a, b in pairwise((*cycle, cycle[0])))


def test_the_shortest_odd_cycle_is_named() -> None:
    # a ring of five with a chord: A-B-C is the triangle
    assert set(odd_cycle(joined([*ring(5), ("A", "C")])) or ()) == {"A", "B", "C"}


@pytest.mark.parametrize("pairs", [ring(3), ring(4), ring(5), [*ring(5), ("A", "C")]])
def test_against_every_colouring(pairs: list[tuple[str, str]]) -> None:
    names = sorted({name for pair in pairs for name in pair})
    possible = any(
        all(sides[names.index(a)] != sides[names.index(b)] for a, b in pairs)
        for sides in product((0, 1), repeat=len(names))
    )
    assert (two_sides(joined(pairs)) is not None) == possible
