"""Sentences of rules, and of what is wrong with an input, in other languages: forms by the English ones."""

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
    """Return the catalogues of a language by their parts; KeyError where there is none."""
    import tomllib

    if language not in LANGUAGES:
        raise KeyError(language)
    found: dict[str, dict[str, str]] = {}
    for name in (f"{language}.toml", f"{language}-input.toml", f"{language}-moves.toml"):
        text = files("trayopt.rules").joinpath("catalogue", name).read_text(encoding="utf-8")
        for part, forms in tomllib.loads(text).items():
            found[part] = {**found.get(part, {}), **forms}
    return found


@cache
def tongue_of(language: str) -> Tongue:
    """Return a language that says what rules say; English says everything as it was made."""
    if language not in LANGUAGES:
        return Tongue({}, str)
    parts = forms_of(language)
    forms = {form: said for part, found in parts.items() if part != "statements" for form, said in found.items()}
    return Tongue(forms, lambda number: number.translate(MARKS[language]))


def statement_of(rule: Rule[Any], language: str) -> str:
    """Say when a rule is broken."""
    return forms_of(language)["statements"].get(rule.id, rule.statement) if language in LANGUAGES else rule.statement
