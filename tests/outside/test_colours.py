"""Colours and positions of fibres against the colour code of a federal regulation."""

from __future__ import annotations

import re
from itertools import combinations

import pytest

from trayopt.domain import colours
from trayopt.domain.cable import Cable
from trayopt.domain.trunk import Trunk

# 7 CFR 1755.200, "RUS standard for splicing copper and fiber optic cables" (60 FR 5097, 1995), (e)(9), table 7: buffer tubes
# and fibres 1 to 12, and 13 to 24 with a tracer in a second colour
TABLE_7 = """
Blue. Orange. Green. Brown. Slate. White. Red. Black. Yellow. Violet. Rose. Aqua.
Blue/Black Orange/Black Green/Black Brown/Black Slate/Black White/Black
Red/Black Black/Yellow Yellow/Black Violet/Black Rose/Black Aqua/Black
"""
SEQUENCE = [word.strip(".").lower() for word in TABLE_7.split()[:12]]
# two-letter forms: common practice, no source
SHORT = ["BL", "OR", "GR", "BR", "SL", "WH", "RD", "BK", "YL", "VI", "RS", "AQ"]


def test_the_sequence() -> None:
    assert [colours.name(n) for n in range(1, 13)] == SEQUENCE
    assert [colours.short(n) for n in range(1, 13)] == SHORT


@pytest.mark.parametrize(("position", "word"), list(enumerate(TABLE_7.split()[12:], start=13)))
def test_a_second_dozen_has_a_tracer(position: int, word: str) -> None:
    base, tracer = word.lower().split("/")
    assert colours.name(position) == f"{base} + {tracer} stripe"
    assert colours.position(colours.name(position)) == position


@pytest.mark.parametrize(
    ("position", "name"),
    # one stripe more for each further dozen: common practice, no source
    [
        (25, "blue + 2 black stripes"),
        (32, "black + 2 yellow stripes"),
        (36, "aqua + 2 black stripes"),
    ],
)
def test_above_two_dozen(position: int, name: str) -> None:
    assert colours.name(position) == name
    assert colours.position(name) == position


@pytest.mark.parametrize("position", range(1, 289))
def test_there_and_back(position: int) -> None:
    # base = (n - 1) mod 12 + 1, stripes = (n - 1) div 12 (calculated)
    base, stripes = colours.colour(position)
    assert (SEQUENCE.index(base) + 1, stripes) == ((position - 1) % 12 + 1, (position - 1) // 12)
    assert colours.position(colours.name(position)) == position
    assert colours.position(colours.short(position)) == position


@pytest.mark.parametrize("text", ["", "gold", "teal", "XX", "blue + yellow stripe", "black + black stripe", "0"])
def test_other_words_are_no_colours(text: str) -> None:
    with pytest.raises(ValueError, match="allowed: blue, orange"):
        colours.position(text)


def test_display_values_differ() -> None:
    # no open standard gives RGB for these names: they only have to differ, stripe and base too
    assert all(a != b for a, b in combinations(colours.RGB.values(), 2))
    assert all(re.fullmatch("#[0-9a-f]{6}", value) for value in colours.RGB.values())
    assert all(colours.stripe(base) != base for base in SEQUENCE)


@pytest.mark.parametrize(
    ("fibre", "tube", "ribbon", "place"),
    # a cable of 12 tubes x 12 ribbons x 12 fibres, counted tube by tube (calculated)
    [
        (1, 1, 1, 1),
        (12, 1, 1, 12),
        (13, 1, 2, 1),
        (144, 1, 12, 12),
        (145, 2, 1, 1),
        (500, 4, 6, 8),
        (864, 6, 12, 12),
        (865, 7, 1, 1),
        (1000, 7, 12, 4),
        (1728, 12, 12, 12),
    ],
)
def test_positions_in_a_cable_of_1728(fibre: int, tube: int, ribbon: int, place: int) -> None:
    subunit = _trunk(12, 12).subunit_of(fibre)
    assert (subunit.number, subunit.ribbon_of(fibre), subunit.fibre_in_ribbon(fibre)) == (tube, ribbon, place)


def test_colours_in_a_cable_of_1728() -> None:
    # 500: brown tube, white ribbon, black fibre; 1000: red, aqua, brown (calculated from the sequence)
    names = {}
    for fibre in (500, 1000):
        subunit = _trunk(12, 12).subunit_of(fibre)
        numbers = (subunit.number, subunit.ribbon_of(fibre), subunit.fibre_in_ribbon(fibre))
        names[fibre] = tuple(colours.name(number) for number in numbers)
    assert names == {500: ("brown", "white", "black"), 1000: ("red", "aqua", "brown")}


def test_runs_of_fibres_in_a_cable_of_96() -> None:
    # 4 tubes x 2 ribbons x 12 = 96 (calculated)
    trunk = _trunk(4, 2)
    assert trunk.cable.fibres == 96
    assert [(subunit.first, subunit.last) for subunit in trunk.subunits] == [(1, 24), (25, 48), (49, 72), (73, 96)]


def _trunk(tubes: int, ribbons: int) -> Trunk:
    group = {"count": tubes, "ribbons": ribbons, "ribbon_fibres": 12, "diameter_mm": 8}
    return Trunk(
        id="N",
        cable=Cable.model_validate({"id": "c", "construction": "loose_tube", "diameter_mm": 28, "subunits": (group,)}),
    )
