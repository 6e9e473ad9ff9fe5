"""Pictures as SVG text, for pages and as separate files."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from html import escape
from importlib.resources import files

from trayopt.pictures.base import SIZE, Box, Disc, Dot, Keys, Path, Picture, Text, fitted

ARROW = "M-5,-4.5 L5,0 L-5,4.5 Z"
SHAPES: dict[str, str] = {
    "arrow": ARROW,
    "gate": ARROW,
    "tip": "M-7,-3 L0,0 L-7,3 Z",
    "opening": "M-3,-3 L3,-3 L3,3 L-3,3 Z",
    "guide": "M-3,-8 L3,-8 L3,8 L-3,8 Z",
    "entrance": "M-4,-4 L4,-4 L4,4 L-4,4 Z",
    "crossing": "M0,-5 L5,0 L0,5 L-5,0 Z",
    "with": "M-6,0 A6,6 0 1 1 6,0 A6,6 0 1 1 -6,0 Z",
    "without": "M-5.5,-5.5 L5.5,-5.5 L5.5,5.5 L-5.5,5.5 Z",
}
"""Outlines of marks by the first word of their kind; a port is drawn as a ring instead."""
SAFETY_PX = 24.0
"""Height of the line of safety under a picture in a file of its own, in px."""


@cache
def style() -> str:
    """Return the style sheet of all pictures."""
    return files("trayopt.pictures").joinpath("picture.css").read_text(encoding="utf-8")


def svg_text(picture: Picture) -> str:
    """Write a picture as an ``svg`` element; all text is escaped."""
    width, height = _number(picture.width), _number(picture.height)
    name = escape(picture.id, quote=True)
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="picture" role="img" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" aria-label="{escape(picture.title, quote=True)}" data-picture="{name}">',
        f"<desc>{escape(picture.description)}</desc>",
    ]
    out += [_box(box) for box in picture.boxes]
    out += [_disc(disc) for disc in picture.discs]
    out += [_path(path) for path in picture.paths]
    out += [_dot(dot) for dot in picture.dots]
    out += [_text(text) for text in picture.texts]
    return "".join([*out, "</svg>"])


def svg_file(picture: Picture, safety: str = "") -> str:
    """Write a picture as a file of its own, with its style inside and, if given, a line of safety under the picture."""
    if safety:
        line = Text(8, picture.height + SAFETY_PX / 2, fitted(safety, picture.width - 16), "name", full=safety)
        picture = replace(picture, height=picture.height + SAFETY_PX, texts=[*picture.texts, line])
    text = svg_text(picture)
    start = text.index(">") + 1
    sheet = f"<style>{style()}</style>"
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text[:start]}{sheet}{text[start:]}\n'


def path_data(points: list[tuple[float, float]]) -> str:
    """Write points as the data of a path."""
    return "M" + " L".join(f"{_number(x)},{_number(y)}" for x, y in points)


def _box(box: Box) -> str:
    rect = box.rect
    title = f"<title>{escape(box.title)}</title>" if box.title else ""
    at = f'x="{_number(rect.x)}" y="{_number(rect.y)}" width="{_number(rect.width)}" height="{_number(rect.height)}"'
    return f'<rect class="{box.kind}"{_keys(box.keys)} {at}>{title}</rect>'


def _disc(disc: Disc) -> str:
    return f'<circle class="{disc.kind}" cx="{_number(disc.x)}" cy="{_number(disc.y)}" r="{_number(disc.radius)}"/>'


def _path(path: Path) -> str:
    data = path_data(list(path.points)) + ("Z" if path.closed else "")
    start = f'<path class="{path.kind}"{_keys(path.keys)} d="{data}"'
    return f"{start}><title>{escape(path.title)}</title></path>" if path.title else f"{start}/>"


def _dot(dot: Dot) -> str:
    if dot.kind.startswith("port"):
        return f'<circle class="{dot.kind}"{_keys(dot.keys)} cx="{_number(dot.x)}" cy="{_number(dot.y)}" r="7"/>'
    turn = f" rotate({_number(dot.turn)})" if dot.turn else ""
    shape = SHAPES[dot.kind.split(maxsplit=1)[0]]
    move = f"translate({_number(dot.x)},{_number(dot.y)}){turn}"
    return f'<path class="{dot.kind}"{_keys(dot.keys)} transform="{move}" d="{shape}"/>'


def _text(text: Text) -> str:
    anchor = "" if text.anchor == "start" else f' text-anchor="{text.anchor}"'
    size = "" if text.size == SIZE else f' font-size="{_number(text.size)}"'
    title = f"<title>{escape(text.full)}</title>" if text.full and text.full != text.text else ""
    at = f'x="{_number(text.x)}" y="{_number(text.y)}"'
    if text.upright:
        at += f' transform="rotate(-90 {_number(text.x)} {_number(text.y)})"'
    return f'<text class="{text.kind}"{_keys(text.keys)} {at}{anchor}{size}>{escape(text.text)}{title}</text>'


def _keys(keys: Keys) -> str:
    return "".join(f' data-{key}="{escape(value, quote=True)}"' for key, value in keys.items())


def _number(value: float) -> str:
    return f"{value:.1f}".rstrip("0").rstrip(".")
