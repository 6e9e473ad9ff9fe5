"""A box as seen by somebody who stands at its right side: the door on the left, the back plate on the right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from trayopt.domain.hardware import Enclosure, Stack
from trayopt.domain.said import said
from trayopt.pictures.base import WIDTH, Box, Picture, Rect, Text, wrapped
from trayopt.pictures.doubts import Doubts
from trayopt.pictures.front import room_beside
from trayopt.pictures.sizes import size_across, size_upright

HEIGHT_X = 44.0
"""The x at which the height of the box is drawn."""
LEFT_PX = 60.0
"""Room at the left of a drawing, for the height of the box."""
WORDS_PX = 30.0
"""Room on each side of a view, for the words at the door and at the back plate."""
LEAST_PX = 90.0
"""Least width of a view with its words below it."""
LABELS_PX = 76.0
"""Least room between the front of the box and the first view, for the names of ports."""
FRONT_PX = (420.0, 430.0)
"""Greatest width and height of the front of the box."""
BESIDE = 0.65
"""The views stand beside the front if the front is drawn at this part of its size at least; otherwise they stand below it."""
BELOW_PX = (220.0, 280.0)
"""Greatest width and height of a view that stands below."""
NUMBER_PX = 16.0
"""Least distance of two numbers of trays."""
LINE = 15.0


class Slab(NamedTuple):
    """A tray from the side, in mm: its distance from the back plate, its height, and its lower and upper end."""

    z: int
    thick: float
    low: float
    high: float


Profile = tuple[Slab, ...]
View = dict[Profile, list[Stack]]
"""Stacks that can be drawn in one view: those of one profile lie behind each other and look the same."""


def profile_of(stack: Stack) -> Profile:
    """Return the trays of a stack as they are seen from the side, from position 1 outward."""
    low = stack.at_mm[1]
    return tuple(
        Slab(stack.z_mm(i), tray.height_mm, low, low + tray.size_mm[1]) for i, tray in enumerate(stack.by_position, 1)
    )


def views_of(stacks: Sequence[Stack]) -> list[View]:
    """Divide stacks into as few views as they need so that no stack hides another stack that looks different.

    The stack at the right wall is nearest to the viewer, and comes first.
    """
    views: list[View] = []
    for stack in sorted(stacks, key=lambda stack: (-stack.at_mm[0], -stack.at_mm[1])):
        mine = profile_of(stack)
        view = next((view for view in views if all(mine == other or _clear(mine, other) for other in view)), None)
        if view is None:
            view = {}
            views.append(view)
        view.setdefault(mine, []).append(stack)
    return views


def _clear(a: Profile, b: Profile) -> bool:
    """Whether two stacks lie beside each other when they are seen from the side."""
    return not any(
        one.low < two.high and two.low < one.high and one.z < two.z + two.thick and two.z < one.z + one.thick
        for one in a
        for two in b
    )


class Layout(NamedTuple):
    """Where a box is drawn: the scale of its front and of its views in px for a mm, and whether they stand side by side."""

    views: list[View]
    front: float
    side: float
    beside: bool
    left: float
    """The x at which the room for the front begins."""
    names: float
    """Room for the names of ports in the right wall."""

    def column(self, box: Enclosure) -> float:
        """Return the width of a view with its words."""
        return max(box.size_mm[2] * self.side, LEAST_PX) + 2 * WORDS_PX

    def front_right(self, box: Enclosure) -> float:
        """Return the x up to which the front and its labels may reach."""
        return WIDTH - self.column(box) * len(self.views) if self.beside else WIDTH

    def across(self, box: Enclosure) -> tuple[float, float]:
        """Return the x between which the front stands in the middle, so that names of ports have room beside it."""
        return self.left, self.front_right(box) - (self.names if self.beside else 0.0)


def layout_of(box: Enclosure, names: Mapping[str, str]) -> Layout:
    """Choose the scale of a box, and where its views stand; ``names`` are written beside the ids of ports."""
    width, height, depth = box.size_mm
    views = views_of(box.stacks)
    alone = min(FRONT_PX[0] / width, FRONT_PX[1] / height)
    left, right = max(LEFT_PX, HEIGHT_X + room_beside(box, 0, names)), room_beside(box, width, names)
    room = WIDTH - left - max(LABELS_PX, right) - 2 * WORDS_PX * len(views)
    both = min(alone, room / (width + depth * len(views)), (room - LEAST_PX * len(views)) / width)
    if both >= BESIDE * alone:
        return Layout(views, both, both, beside=True, left=left, names=right)
    return Layout(views, alone, min(BELOW_PX[0] / depth, BELOW_PX[1] / height), beside=False, left=0.0, names=right)


def draw_side(picture: Picture, box: Enclosure, doubts: Doubts, layout: Layout, top: float) -> float:
    """Draw the views of a box from its right side; return the y of the end.

    Parameters
    ----------
    picture, box, doubts
        The picture, the box, and its values that are only assumed.
    layout
        Where to draw.
    top
        The y of the upper wall of the box.
    """
    _, height, depth = box.size_mm
    column, left = layout.column(box), layout.front_right(box) if layout.beside else LEFT_PX
    abreast = max(1, int((WIDTH - left + 1e-6) / column))
    y = end = top
    for i, view in enumerate(layout.views):
        if i and i % abreast == 0:
            y = end + 40
        middle = left + (i % abreast + 0.5) * column
        case = Rect(middle - depth * layout.side / 2, y, depth * layout.side, height * layout.side)
        _case(picture, box, case, layout.side)
        if i == 0:
            _sizes(picture, box, case, layout, doubts)
        for profile, stacks in view.items():
            _stack(picture, case, layout.side, profile, stacks[0])
        under = case.bottom + 52
        picture.texts.append(Text(middle, under, picture.say(said("from the right side")), "name", "middle"))
        names = ", ".join(stack.id for stacks in view.values() for stack in sorted(stacks, key=lambda s: s.at_mm))
        for line in wrapped(names, column - 8):
            under += LINE
            picture.texts.append(Text(middle, under, line, "note", "middle", full=names))
        end = max(end, under + LINE)
    return end


def _case(picture: Picture, box: Enclosure, case: Rect, scale: float) -> None:
    """Draw the walls, the band in which the track carries legs, and the words at the door and at the back plate."""
    low, high = box.track.z_mm
    band = Rect(case.right - high * scale, case.y, (high - low) * scale, case.height)
    picture.boxes += [Box(band, "band"), Box(case, "case")]
    middle = case.y + case.height / 2
    for x, word in ((case.x - 13, said("door")), (case.right + 13, said("back plate"))):
        picture.texts.append(Text(x, middle, picture.say(word), "note", "middle", upright=True))


def _sizes(picture: Picture, box: Enclosure, case: Rect, layout: Layout, doubts: Doubts) -> None:
    """Draw the depth of the box and of the track, and the height where the front does not stand beside."""
    _, height, depth = box.size_mm
    low, high = box.track.z_mm
    size_across(picture, case.x, case.right, case.y - 12, f"{depth:g}")
    if not layout.beside:
        size_upright(picture, HEIGHT_X, case.y, case.bottom, f"{height:g}")
    track = picture.say(said("track {low}-{high}{mark}", low=low, high=high, mark=doubts.mark("track", "z_mm")))
    scale = layout.side
    size_across(picture, case.right - high * scale, case.right - low * scale, case.bottom + 28, track)


def _stack(picture: Picture, case: Rect, scale: float, profile: Profile, stack: Stack) -> None:
    """Draw the trays of a stack, and the numbers of the first and the last tray above them."""
    middles = []
    for position, slab in enumerate(profile, 1):
        thick = max(slab.thick * scale, 1.0)
        right = case.right - slab.z * scale
        rect = Rect(right - thick, case.bottom - slab.high * scale, thick, (slab.high - slab.low) * scale)
        picture.boxes.append(Box(rect, "slab", {"tray": f"{stack.id}/{position}"}))
        middles.append((right - thick / 2, rect.y - 8))
    picture.texts.append(Text(*middles[0], "1", "number", "middle"))
    if middles[0][0] - middles[-1][0] > NUMBER_PX:
        picture.texts.append(Text(*middles[-1], str(len(profile)), "number", "middle"))
