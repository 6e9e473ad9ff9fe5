"""Names that a wrong word may have been meant for."""

from __future__ import annotations

from difflib import get_close_matches
from itertools import product

from trayopt.formats.validate import nearest

NAMES = ("left", "mid-left", "right", "N1", "NORTH", "bottom-right", "loops", "position", "w" * 120)
TEXTS = (
    "lefft",
    "LEFT",
    "st9",
    "n1",
    "N",
    "",
    "Noth",
    "bottom right",
    "loop",
    "ssloop",
    "pozition",
    "w" * 99,
    "x" * 300,
)


def test_the_nearest_name_is_that_of_difflib_though_most_names_are_left_out_before() -> None:
    for text, rest in product(TEXTS, range(len(NAMES))):
        names = NAMES[rest:]
        near = get_close_matches(text[:100], names, 1, 0.7) or get_close_matches(text[:100].lower(), names, 1, 0.7)
        assert nearest(text, names) == (near[0] if near else None)
