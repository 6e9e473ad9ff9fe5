"""The page with all hardware, which needs no network: an index by kind, and a picture of each entry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files

from trayopt.pictures.base import Picture
from trayopt.pictures.page import content_policy, page_world
from trayopt.pictures.svg import style, svg_text

HEADS = {"enclosure": "Boxes", "tray": "Trays", "cable": "Cables", "tubes": "Tubes"}


@dataclass(frozen=True)
class Shown:
    """An entry as the page shows it, with its file and the warnings about it."""

    kind: str
    id: str
    summary: str
    source: str
    picture: Picture
    warnings: Sequence[str] = ()


def catalogue_page(entries: Sequence[Shown], title: str = "Hardware for splice plans") -> str:
    """Return the page in HTML, with kinds in the order of ``HEADS``."""
    from markupsafe import Markup

    room = files("trayopt.pictures")
    world = page_world(lstrip_blocks=True)
    world.globals["svg"] = lambda picture: Markup(svg_text(picture))
    source = room.joinpath("catalogue.html.j2").read_text(encoding="utf-8")
    kinds = {kind: found for kind in HEADS if (found := [entry for entry in entries if entry.kind == kind])}
    css = Markup(room.joinpath("catalogue.css").read_text(encoding="utf-8") + style())
    return world.from_string(source).render(
        title=title, css=css, policy=content_policy(), heads=HEADS, kinds=kinds, entries=entries
    )
