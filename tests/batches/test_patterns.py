"""Ways to join the trunks of a mix: worked by hand for small ones, and sound for every cable of the library."""

from __future__ import annotations

from itertools import product

import pytest

from trayopt.api import library_survey
from trayopt.batches.patterns import PATTERNS, End, joins
from trayopt.domain.cable import Cable, SubunitGroup
from trayopt.domain.ranges import parse_run

CABLES = {entry.model.id: entry.model for entry in library_survey().entries if isinstance(entry.model, Cable)}


def cable(*subunits: int, width: int = 12) -> Cable:
    """Make a cable of subunits of so many ribbons."""
    groups = tuple(SubunitGroup(count=1, ribbons=ribbons, ribbon_fibres=width, diameter_mm=6.0) for ribbons in subunits)
    return Cable(id="made", construction="loose_tube", diameter_mm=20.0, subunits=groups)


@pytest.mark.parametrize(
    ("pattern", "expected"),
    [
        ("through", ["A:1-36 B:1-36"]),
        ("pairs", ["A:1-36 B:1-36"]),
        ("halves_swapped", ["A:1-18 B:19-36", "A:19-36 B:1-18"]),
        ("subunits_reversed", ["A:1-24 B:13-36", "A:25-36 B:1-12"]),
        ("ring", ["A:19-36 B:1-18", "B:19-36 A:1-18"]),
        ("mesh", ["A:1-36 B:1-36"]),
    ],
)
def test_two_trunks_worked_by_hand(pattern: str, expected: list[str]) -> None:
    ends = [End("A", cable(1, 1, 1)), End("B", cable(1, 2))]
    assert [f"{join['a']} {join['b']}" for join in joins(pattern, ends)] == expected


def test_odd_then_even_takes_subunits_1_3_5_and_then_2_4() -> None:
    ends = [End("A", cable(5)), End("B", cable(1, 1, 1, 1, 1))]
    assert [f"{join['a']} {join['b']}" for join in joins("odd_then_even", ends)] == [
        "A:1-12 B:1-12",
        "A:13-24 B:25-36",
        "A:25-36 B:49-60",
        "A:37-48 B:13-24",
        "A:49-60 B:37-48",
    ]


def test_three_trunks_worked_by_hand() -> None:
    ends = [End("A", cable(4)), End("B", cable(1)), End("C", cable(5))]
    assert [f"{join['a']} {join['b']}" for join in joins("through", ends)] == ["A:1-12 B:1-12", "A:13-48 C:1-36"]
    assert [f"{join['a']} {join['b']}" for join in joins("pairs", ends)] == ["A:1-12 B:1-12"]
    assert joins("mesh", ends) == [{"a": "A:1-24", "b": "C:1-24"}], "half of B's 12 fibres is no whole ribbon"
    equal = [End(name, cable(4)) for name in "ABC"]
    assert [f"{join['a']} {join['b']}" for join in joins("mesh", equal)] == [
        "A:1-24 B:1-24",
        "A:25-48 C:1-24",
        "B:25-48 C:25-48",
    ]


@pytest.mark.parametrize("pattern", PATTERNS)
def test_no_pattern_splices_a_fibre_twice_or_beyond_its_cable(pattern: str) -> None:
    names = sorted(CABLES)[::5]
    for first, second, third in product(names, names, names[:2]):
        ends = [End("A", CABLES[first]), End("B", CABLES[second]), End("C", CABLES[third])]
        seen: set[tuple[str, int]] = set()
        for join in joins(pattern, ends):
            a, b = parse_run(join["a"]), parse_run(join["b"])
            assert a.count == b.count
            assert a.trunk != b.trunk
            for run in (a, b):
                fibres = {(run.trunk, fibre) for fibre in range(run.first, run.last + 1)}
                assert not fibres & seen
                assert run.last <= {end.trunk: end for end in ends}[run.trunk].fibres
                seen |= fibres


def test_a_trunk_alone_has_no_joins() -> None:
    assert all(joins(pattern, [End("A", cable(2))]) == [] for pattern in PATTERNS)
