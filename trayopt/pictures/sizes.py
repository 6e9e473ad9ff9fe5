"""Sizes in a picture: a line with an arrow at each end, and the measured size next to it."""

from __future__ import annotations

from trayopt.pictures.base import Dot, Path, Picture, Text

TIP = "tip"


def size_across(picture: Picture, left: float, right: float, y: float, text: str, *, kind: str = "size") -> None:
    """Draw a size from left to right, with its text above the middle."""
    picture.paths.append(Path(((left, y), (right, y)), "size"))
    picture.dots += [Dot(left, y, TIP, {}, 180.0), Dot(right, y, TIP)]
    picture.texts.append(Text((left + right) / 2, y - 9, text, kind, "middle"))


def size_upright(
    picture: Picture, x: float, top: float, bottom: float, text: str, *, kind: str = "size", after: bool = False
) -> None:
    """Draw a size from top to bottom, with its text to the left of the line, or to the right with ``after``."""
    picture.paths.append(Path(((x, top), (x, bottom)), "size"))
    picture.dots += [Dot(x, top, TIP, {}, -90.0), Dot(x, bottom, TIP, {}, 90.0)]
    off, anchor = (8, "start") if after else (-8, "end")
    picture.texts.append(Text(x + off, (top + bottom) / 2, text, kind, anchor))  # type: ignore[arg-type]
