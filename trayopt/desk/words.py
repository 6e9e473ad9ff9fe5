"""Words of the desk: each language has a catalogue, and its own way to write numbers on the page."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

from trayopt.crewsheets.words import LANGUAGES, Words

__all__ = ["LANGUAGES", "words_of"]


@cache
def words_of(language: str) -> Words:
    """Return the words of a language; raise KeyError if there is no catalogue for it."""
    import tomllib

    if language not in LANGUAGES:
        raise KeyError(language)
    text = files("trayopt.desk").joinpath("catalogue", f"{language}.toml").read_text(encoding="utf-8")
    entries: dict[str, str] = {}
    for part, found in tomllib.loads(text).items():
        entries |= {f"{part}.{key}": said for key, said in found.items()}
    return Words(language, entries)
