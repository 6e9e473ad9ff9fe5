"""Crossings of the two columns against published figures of two-layer drawings and of inversions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import permutations

import pytest
from scipy.stats import kendalltau

from tests.outside.boxes import fanned_out
from trayopt.goals.crossings import crossing_pairs
from trayopt.goals.registry import BY_ID


def crossings(rows: Sequence[Sequence[int]]) -> int:
    """Count, and see that the pairs that are listed are as many."""
    laid = fanned_out(rows)
    count = BY_ID["crossings"].measure(laid.job, laid)
    assert len(crossing_pairs(laid)) == count
    return count


def inversions(order: Sequence[int]) -> int:
    """Crossings of whole subunits at these positions."""
    return crossings([[position] for position in order])


@pytest.mark.parametrize(
    ("m", "n", "count"),
    # C(m,2) x C(n,2) for a complete two-layer drawing, whatever the order: two on the left and two on the right are joined
    # by four edges, of which the two diagonals cross (calculated)
    [(2, 2, 1), (3, 3, 9), (4, 4, 36), (5, 4, 60), (6, 2, 15), (12, 6, 990), (12, 12, 4356)],
)
def test_complete_two_layer_drawings(m: int, n: int, count: int) -> None:
    assert crossings([range(1, n + 1)] * m) == count


def test_it_is_not_the_number_of_the_free_plane() -> None:
    # drawn freely, Km,n can be drawn with floor(m/2) floor((m-1)/2) floor(n/2) floor((n-1)/2) crossings, so K3,3, K4,4 and
    # K5,4 with 1, 4 and 8 (Zarankiewicz, On a problem of P. Turán concerning graphs, Fund. Math. 41, 1954, 137-145)
    for m, n, plane in ((3, 3, 1), (4, 4, 4), (5, 4, 8)):
        assert (m // 2) * ((m - 1) // 2) * (n // 2) * ((n - 1) // 2) == plane
        assert crossings([range(1, n + 1)] * m) > plane


def test_ten_crossings_counted_by_hand() -> None:
    # 5 left, 4 right, edges 1-1 1-2 2-1 2-2 3-3 4-1 4-3 5-1 5-2 5-4: 10 crossings
    # (counted by hand, pair by pair)
    assert crossings([[1, 2], [1, 2], [3], [1, 3], [1, 2, 4]]) == 10


def test_straight_through_and_reversed() -> None:
    # 0 and n(n-1)/2: 12 gives 66, 144 gives 10296 (calculated)
    assert inversions(range(1, 13)) == 0
    assert inversions(range(12, 0, -1)) == 66
    assert inversions(range(144, 0, -1)) == 10296


@pytest.mark.parametrize(
    ("order", "count"),
    [
        # inversion table 2 3 6 4 0 2 2 1 0, sum 20 (Knuth, The Art of Computer Programming, vol. 3, 2nd ed., 1998, section
        # 5.1.1, its first example; counted again by hand)
        ((5, 9, 1, 8, 2, 6, 4, 7, 3), 20),
        # pairs (3,1)(3,2)(5,1)(5,2)(5,4) (counted by hand)
        ((3, 5, 1, 2, 4), 5),
        # pairs (4,3)(4,2)(3,2) (counted by hand)
        ((1, 4, 3, 2, 5), 3),
        # pairs (3,2)(3,1)(2,1)(4,1)(5,1) (counted by hand)
        ((3, 2, 4, 5, 1), 5),
    ],
)
def test_inversions(order: tuple[int, ...], count: int) -> None:
    assert inversions(order) == count


def test_an_order_is_compared_and_not_its_ranks() -> None:
    # {3,1,2} and {2,1,3}: 3 as orderings, 1 as rank vectors (counted by hand).
    # Subunits stand in the order 3,1,2 in one column and 2,1,3 in the other: 3 lies last, 1 in the middle, 2 first
    place = {subunit: position for position, subunit in enumerate((2, 1, 3), start=1)}
    assert inversions([place[subunit] for subunit in (3, 1, 2)]) == 3
    # as rank vectors, item i has rank 3,1,2 and 2,1,3: sorted by the first, the second reads 1,3,2
    assert inversions([second for _, second in sorted(zip((3, 1, 2), (2, 1, 3), strict=True))]) == 1


def test_permutations_of_four_by_inversions() -> None:
    # 1, 3, 5, 6, 5, 3, 1 are the coefficients of (1 + x)(1 + x + x²)(1 + x + x² + x³), as the k-th element forms 0 to k - 1
    # inversions with those before it; a pair that is inverted is inverted in the inverse too (calculated)
    counts = {order: inversions(order) for order in permutations(range(1, 5))}
    assert [Counter(counts.values())[n] for n in range(7)] == [1, 3, 5, 6, 5, 3, 1]
    for order, count in counts.items():
        inverse = tuple(order.index(i) + 1 for i in range(1, 5))
        assert counts[inverse] == count


@pytest.mark.parametrize("order", [(7, 2, 9, 1, 5, 3, 8, 6, 4, 10), tuple(range(20, 0, -2)) + tuple(range(1, 21, 2))])
def test_against_kendall_tau(order: tuple[int, ...]) -> None:
    # inversions = (1 - tau) n (n - 1) / 4 for permutations (Kendall, A new measure of rank correlation, Biometrika 30,
    # 1938, 81-93); tau by SciPy, scipy.stats.kendalltau
    n = len(order)
    tau = kendalltau(range(n), order).statistic
    assert inversions(order) == round((1 - tau) * n * (n - 1) / 4)
