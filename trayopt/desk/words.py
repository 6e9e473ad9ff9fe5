"""Words of the desk: one catalogue a language; the page says them, with numbers as the language writes them."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

from trayopt.crewsheets.words import LANGUAGES, Words

__all__ = ["LANGUAGES", "words_of"]


@cache
def words_of(language: str) -> Words:
    """Return the words of a language; KeyError where there is no catalogue for it."""
    import tomllib

    if language not in LANGUAGES:
        raise KeyError(language)
    text = files("trayopt.desk").joinpath("catalogue", f"{language}.toml").read_text(encoding="utf-8")
    entries: dict[str, str] = {}
    for part, found in tomllib.loads(text).items():
        entries |= {f"{part}.{key}": said for key, said in found.items()}
    return Words(language, entries)
