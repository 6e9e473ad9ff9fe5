"""A place for one more stack in a box."""

from __future__ import annotations

import pytest

from trayopt.api import library_survey
from trayopt.domain.base import remade
from trayopt.domain.hardware import Enclosure
from trayopt.library.free_place import BESIDE_MM, stack_beside
from trayopt.library.soundness import remarks

BOXES = [entry.model for entry in library_survey(()).entries if isinstance(entry.model, Enclosure)]


ROOMY = [box for box in BOXES if len(box.stacks) > 1 or stack_beside(box, 0, "new") is not None]
"""Boxes with room for a stack, as they are or after their first stack is taken out."""


@pytest.mark.parametrize("box", ROOMY, ids=lambda box: box.id)
def test_a_stack_comes_where_the_box_can_be_built_with_it_or_nowhere(box: Enclosure) -> None:
    """In a library box as it is, and with its first stack taken out: where it stood there is room for a copy of the next one."""
    for known in (box, remade(box, stacks=box.stacks[1:])):
        if not known.stacks:
            continue
        made = stack_beside(known, 0, "new")
        if known is not box:
            assert made is not None
        if made is None:
            continue
        whole = remade(known, stacks=(*known.stacks, made))
        assert [each.message for each in remarks(whole) if each.level == "error"] == []
        (x, y), (width, length) = made.at_mm, made.tray.size_mm
        for other in known.stacks:
            across = max(other.at_mm[0] - x - width, x - other.at_mm[0] - other.tray.size_mm[0])
            along = max(other.at_mm[1] - y - length, y - other.at_mm[1] - other.tray.size_mm[1])
            assert max(across, along) >= BESIDE_MM


def test_the_boxes_tried_are_some_with_room_and_some_without() -> None:
    found = {stack_beside(box, 0, "new") is not None for box in BOXES}
    assert found == {True, False}
