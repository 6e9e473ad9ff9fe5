"""Sentences for the page in every language: in English, and in each other language that can translate them in full."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel

from trayopt.domain.said import Said, joined, said
from trayopt.errors import Fault
from trayopt.rules.tongues import LANGUAGES, tongue_of


def spoken(text: str) -> str | dict[str, str]:
    """Return a text by language; a text that exists only in English stays a plain text."""
    found = {language: tongue_of(language).say(text) for language in LANGUAGES if tongue_of(language).knows(text)}
    return {"en": str(text), **found} if found else str(text)


def spoken_fault(fault: Fault) -> str | dict[str, str]:
    """Return the text of a fault by language, put together like its own text; a plain text if there is only English."""
    if not isinstance(fault.message, Said):
        return str(fault)
    at = str(fault).partition(f": {fault.message}")[0]
    parts: list[str] = [said("{at}: {message}", at=at, message=fault.message) if fault.source else fault.message]
    if fault.found:
        parts.append(said("found {found}", found=fault.found))
    if fault.allowed:
        parts.append(said("allowed: {allowed}", allowed=fault.allowed))
    return spoken(joined([*parts, fault.hint] if fault.hint else parts, "; "))


def all_spoken(value: Any) -> Any:
    """Return a document as plain data, with its sentences by language."""
    if isinstance(value, BaseModel):
        return {name: all_spoken(getattr(value, name)) for name in type(value).model_fields}
    if isinstance(value, Mapping):
        return {key: all_spoken(inner) for key, inner in value.items()}
    if isinstance(value, tuple | list):
        return [all_spoken(inner) for inner in value]
    return spoken(value) if isinstance(value, Said) else value
