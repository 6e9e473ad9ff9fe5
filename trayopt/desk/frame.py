"""The frame of a desk's page in the chosen language; scripts make its content."""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files

from trayopt.crewsheets.words import words_of as words_of_sheets
from trayopt.desk.words import LANGUAGES, words_of
from trayopt.pictures.page import page_world

STATIC = frozenset(
    {
        "desk.css", "main.mjs", "board.mjs", "dom.mjs", "forms.mjs", "goals.mjs", "link.mjs", "reasons.mjs", "trunks.mjs",
        "more.mjs", "hardware.mjs",
    }
)  # fmt: skip
"""Files that the page may ask for, in addition to the style of pictures."""


@cache
def page_text(language: str) -> str:
    """Return the frame of the page."""
    from markupsafe import Markup

    words = words_of(language)
    made = page_world(lstrip_blocks=True)
    source = files("trayopt.desk").joinpath("page", "page.html.j2").read_text(encoding="utf-8")
    text = json.dumps(words.entries, ensure_ascii=False).replace("<", "\\u003c")
    return made.from_string(source).render(
        say=words, sheets=words_of_sheets(language), language=language, languages=LANGUAGES, words=Markup(text)
    )
