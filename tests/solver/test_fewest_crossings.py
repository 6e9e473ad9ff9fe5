"""The least that crosses between strands, against every order of them."""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import combinations

import pytest

from trayopt.solver.bounds import fewest_crossings as bound
from trayopt.solver.bounds.fewest_crossings import fewest_crossings

Seen = dict[tuple[int, int], int]


def seen_by(*trunks: Sequence[int]) -> Seen:
    """Count how many trunks see one strand before another, from the strands of each in its order."""
    seen: Seen = {}
    for order in trunks:
        for pair in combinations(order, 2):
            seen[pair] = seen.get(pair, 0) + 1
    return seen


def by_enumeration(seen: Seen, strands: Sequence[int], together: int) -> int:
    """Try who turns off first, and go on with the others."""
    if not strands:
        return 0
    costs = []
    for size in range(1, together + 1):
        for first in combinations(strands, size):
            rest = [j for j in strands if j not in first]
            paid = sum(seen.get((j, i), 0) for i in first for j in rest)
            costs.append(paid + by_enumeration(seen, rest, together))
    return min(costs)


def draw(seed: int) -> tuple[Seen, int, int]:
    """Draw two or three trunks that see some or all of a few strands."""
    rng = random.Random(seed)
    number = rng.randint(2, 6)
    sizes = [number if rng.random() < 0.6 else rng.randint(2, number) for _ in range(rng.randint(2, 3))]
    return seen_by(*(rng.sample(range(number), size) for size in sizes)), number, rng.randint(1, 3)


def test_against_every_order() -> None:
    met = 0
    for seed in range(200):
        seen, number, together = draw(seed)
        least = by_enumeration(seen, range(number), together)
        found = fewest_crossings(seen, together)
        assert found <= least, f"seed {seed}"
        met += found == least
    assert met > 150


def test_one_that_the_count_of_pairs_does_not_see() -> None:
    """Four strands, two at a low: all three disputes are with the last strand, and only one other lies beside it."""
    seen = seen_by([0, 1, 2, 3], [3, 0, 1, 2])
    disputed = [(i, j) for i, j in seen if i < j and (j, i) in seen]
    assert len(disputed) - 2 < fewest_crossings(seen, 2) == by_enumeration(seen, range(4), 2) == 2


@pytest.mark.parametrize("steps", [1, 10, 100])
def test_a_search_that_ends_early_gives_a_bound(monkeypatch: pytest.MonkeyPatch, steps: int) -> None:
    monkeypatch.setattr(bound, "STEPS", steps)
    bound._fewest.cache_clear()
    for seed in range(60):
        seen, number, together = draw(seed)
        assert fewest_crossings(seen, together) <= by_enumeration(seen, range(number), together), f"seed {seed}"
    bound._fewest.cache_clear()
