"""A place in a box where one more stack can stand, like one that is there."""

from __future__ import annotations

from collections.abc import Iterator
from math import hypot

from trayopt.domain.base import remade
from trayopt.domain.hardware import Enclosure, End, Entrance, Stack
from trayopt.library.soundness import remarks

STEP_MM = 5
"""Places are tried in steps of so many millimetres."""
BESIDE_MM = 10
"""Least distance of the trays of two stacks, so that a hand lifts each (common practice, no source)."""


def stack_beside(box: Enclosure, number: int, name: str) -> Stack | None:
    """Copy a stack of a box to the nearest place where nothing is in its way; None if there is no such place.

    Each entrance moves with the stack, and starts at the nearest guide that lets legs turn into it.

    Parameters
    ----------
    box
        The box, which can be built.
    number
        Index of the stack.
    name
        Id of the copy.
    """
    stack = box.stacks[number]
    x, y = stack.at_mm
    for dx, dy in sorted(_steps(box, stack), key=lambda step: (step[1] != 0, hypot(*step), step)):
        made = remade(stack, id=name, at_mm=(x + dx, y + dy), ends=tuple(_moved(end, dx, dy) for end in stack.ends))
        if any(_near(made, other) for other in box.stacks) or _fails(box, number, made, "at_mm"):
            continue
        ends = [_entered(box, number, made, i) for i in range(len(made.ends))]
        found = remade(made, ends=tuple(end for end in ends if end is not None))
        if None not in ends and not _fails(box, number, found):
            return found
    return None


def _steps(box: Enclosure, stack: Stack) -> Iterator[tuple[int, int]]:
    """Yield the ways in x and y by which a stack can be moved and stays inside of the box."""
    (x, y), (width, length) = stack.at_mm, stack.tray.size_mm
    for dx in range(-(x // STEP_MM) * STEP_MM, int(box.size_mm[0] - width - x) + 1, STEP_MM):
        for dy in range(-(y // STEP_MM) * STEP_MM, int(box.size_mm[1] - length - y) + 1, STEP_MM):
            yield dx, dy


def _moved(end: End, dx: int, dy: int) -> End:
    def shifted(entrance: Entrance) -> Entrance:
        return remade(entrance, x_mm=entrance.x_mm + dx, y_mm=entrance.y_mm + dy)

    return remade(end, clockwise=shifted(end.clockwise), counterclockwise=shifted(end.counterclockwise))


def _near(one: Stack, other: Stack) -> bool:
    """Whether the trays of two stacks overlap, or leave no room for a hand between them."""
    return all(
        one.at_mm[i] < other.at_mm[i] + other.tray.size_mm[i] + BESIDE_MM
        and other.at_mm[i] < one.at_mm[i] + one.tray.size_mm[i] + BESIDE_MM
        for i in (0, 1)
    )


def _entered(box: Enclosure, number: int, stack: Stack, index: int) -> End | None:
    """Give each entrance of an end the nearest guide that it can start at; None if there is none."""
    end = stack.ends[index]
    for travel in ("clockwise", "counterclockwise"):
        entrance: Entrance = getattr(end, travel)
        guides = sorted(
            box.track.guides, key=lambda guide: hypot(guide.x_mm - entrance.x_mm, guide.y_mm - entrance.y_mm)
        )
        for guide in guides:
            tried = remade(end, **{travel: remade(entrance, guide=guide.id)})
            ends = (*stack.ends[:index], tried, *stack.ends[index + 1 :])
            if not _fails(box, number, remade(stack, ends=ends), "ends", index, travel):
                end = tried
                break
        else:
            return None
    return end


def _fails(box: Enclosure, number: int, stack: Stack, *path: str | int) -> bool:
    """Whether a value of a stack that follows another one makes the box one that cannot be built."""
    after = number + 1
    there = remade(box, stacks=(*box.stacks[:after], stack, *box.stacks[after:]))
    whole = ("stacks", after, *path)
    return any(remark.level == "error" and remark.path[: len(whole)] == whole for remark in remarks(there))
