"""Words of the sheets: each language has one catalogue with every text, and its own way to write numbers."""

from __future__ import annotations

import string
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import Any

from trayopt.domain import colours

LANGUAGES: tuple[str, ...] = ("en", "de")
"""Languages that have a catalogue in ``catalogue/``; the first is the default."""


class Words(string.Formatter):
    """The texts of one language: ``words("strip.note", n=3)``.

    A text may have a singular and a plural, separated by ``|``; the value ``n`` decides between them. Whole numbers are
    written with the language's thousands separator, decimals with its decimal mark.
    """

    def __init__(self, language: str, entries: Mapping[str, str]) -> None:
        self.language = language
        self.entries = entries

    def __call__(self, key: str, **values: Any) -> str:
        """Write a text of the catalogue; raise KeyError if the catalogue does not have it."""
        text = self.entries[key]
        if "|" in text and "n" in values:
            one, more = text.split("|")
            text = one if values["n"] == 1 else more
        return self.vformat(text, (), values) if "{" in text else text

    def format_field(self, value: Any, format_spec: str) -> str:
        """Write numbers as the language does."""
        if isinstance(value, int) and not isinstance(value, bool) and not format_spec:
            return self.number(value)
        text: str = super().format_field(value, format_spec)
        return text.replace(".", self.entries["number.decimal"]) if isinstance(value, float) else text

    def number(self, value: float, digits: int = 0) -> str:
        """Write a number with thousands separators and ``digits`` decimals."""
        text = f"{value:,.{digits}f}"
        marks = {",": self.entries["number.thousands"], ".": self.entries["number.decimal"]}
        return "".join(marks.get(char, char) for char in text)

    def shortest(self, value: str | float) -> str:
        """Write a figure with as few decimals as it needs, at most two; a text stays as it is."""
        if isinstance(value, str):
            return value
        return self.number(value, next((digits for digits in (0, 1) if round(value, digits) == value), 2))

    def colour(self, position: int) -> str:
        """Write the TIA-598 colour of a position in words."""
        base, stripes = colours.colour(position)
        name = self.entries[f"colour.{base}"]
        if not stripes:
            return name
        return f"{name} + {self('colour.stripes', n=stripes, colour=self.entries[f'colour.{colours.stripe(base)}'])}"

    def listed(self, items: Sequence[object]) -> str:
        """Write ``a, b and c``."""
        texts = [str(item) for item in items]
        if len(texts) < 2:
            return "".join(texts)
        return f"{', '.join(texts[:-1])} {self('list.and')} {texts[-1]}"


@cache
def words_of(language: str) -> Words:
    """Return the words of a language; raise KeyError if there is no catalogue for it."""
    import tomllib

    if language not in LANGUAGES:
        raise KeyError(language)
    text = files("trayopt.crewsheets").joinpath("catalogue", f"{language}.toml").read_text(encoding="utf-8")
    return Words(language, dict(_flat(tomllib.loads(text))))


def _flat(entries: Mapping[str, Any], before: str = "") -> list[tuple[str, str]]:
    found: list[tuple[str, str]] = []
    for key, value in entries.items():
        found += _flat(value, f"{before}{key}.") if isinstance(value, Mapping) else [(before + key, value)]
    return found
