"""Sentences of rules in other languages: forms by the English ones, one catalogue a language."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Any

from trayopt.domain.said import Tongue
from trayopt.rules.base import Rule

LANGUAGES = ("de",)
"""Languages that have a catalogue in ``catalogue/``, beside English, which stands in the code."""
MARKS = {"de": str.maketrans(",.", ".,")}
"""How a language writes the marks of thousands and of decimals."""


@cache
def forms_of(language: str) -> dict[str, dict[str, str]]:
    """Give the catalogue of a language by its parts; KeyError where there is none."""
    import tomllib

    if language not in LANGUAGES:
        raise KeyError(language)
    text = files("trayopt.rules").joinpath("catalogue", f"{language}.toml").read_text(encoding="utf-8")
    found: dict[str, dict[str, str]] = tomllib.loads(text)
    return found


@cache
def tongue_of(language: str) -> Tongue:
    """Give a language that says what rules say; English says everything as it was made."""
    if language not in LANGUAGES:
        return Tongue({}, str)
    parts = forms_of(language)
    forms = {form: said for part, found in parts.items() if part != "statements" for form, said in found.items()}
    return Tongue(forms, lambda number: number.translate(MARKS[language]))


def statement_of(rule: Rule[Any], language: str) -> str:
    """Say when a rule is broken."""
    return forms_of(language)["statements"].get(rule.id, rule.statement) if language in LANGUAGES else rule.statement
