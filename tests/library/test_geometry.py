"""Plane geometry of boxes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trayopt.library.geometry import Point, Rectangle, area2, clear_inside, crossing_sides, inside, segments_meet

SQUARE = [Point(0, 0), Point(0, 10), Point(10, 10), Point(10, 0)]
ARROW = [Point(0, 0), Point(5, 3), Point(0, 10), Point(10, 5)]


def test_area_tells_the_direction() -> None:
    assert area2(SQUARE) == -200
    assert area2(SQUARE[::-1]) == 200


@pytest.mark.parametrize(
    ("ring", "simple"),
    [
        (SQUARE, True),
        (ARROW, True),
        ([SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3]], False),
        ([Point(0, 0), Point(10, 0), Point(5, 0)], False),  # back on itself
        ([Point(0, 0), Point(0, 0), Point(5, 5)], False),
        ([Point(0, 0), Point(5, 0), Point(10, 0), Point(5, 5)], True),  # a straight run through a point
        ([Point(0, 0), Point(10, 0), Point(5, 5), Point(5, 0)], False),  # a corner on another side
    ],
)
def test_simple_rings(ring: list[Point], simple: bool) -> None:
    assert (crossing_sides(ring) is None) == simple


def test_inside_is_strict() -> None:
    assert inside(SQUARE, Point(5, 5))
    assert not inside(SQUARE, Point(0, 5))
    assert not inside(SQUARE, Point(10, 10))
    assert not inside(SQUARE, Point(11, 5))
    assert not inside(ARROW, Point(2, 4))
    assert inside(ARROW, Point(7, 5))


def test_a_rectangle_is_clear_of_a_ring_that_reaches_into_it() -> None:
    spike = [Point(0, 0), Point(0, 10), Point(5, 4), Point(10, 10), Point(10, 0)]
    assert clear_inside(spike, Rectangle(1, 1, 9, 3))
    assert not clear_inside(spike, Rectangle(1, 1, 9, 4))
    assert not clear_inside(spike, Rectangle(1, 1, 9, 5))
    assert not clear_inside(SQUARE, Rectangle(0, 1, 5, 5))


@given(st.lists(st.integers(-5, 5), min_size=8, max_size=8))
def test_meeting_is_mutual(numbers: list[int]) -> None:
    a, b, c, d = (Point(*numbers[i : i + 2]) for i in (0, 2, 4, 6))
    assert segments_meet(a, b, c, d) == segments_meet(c, d, b, a)


def test_distance_from_an_edge() -> None:
    rectangle = Rectangle(0, 0, 10, 20)
    assert rectangle.off_edge(Point(0, 5)) == 0
    assert rectangle.off_edge(Point(3, 10)) == 3
    assert rectangle.off_edge(Point(14, 10)) == 4
