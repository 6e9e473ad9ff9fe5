"""YAML out: plain data on one line, so that every reader of YAML takes it for what it is."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

_WORDS = {"true", "false", "null", "yes", "no", "on", "off", "y", "n"}
"""Words that are not text to every reader of YAML."""


def flow(value: Any) -> str:
    """Write plain data as a YAML flow value."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{key}: {flow(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(flow(item) for item in value) + "]"
    if isinstance(value, bool) or value is None:
        return {True: "true", False: "false", None: "null"}[value]
    if isinstance(value, int | float):
        return str(int(value)) if value == int(value) else repr(value)
    return _text(str(value))


def _text(text: str) -> str:
    """Write a text plain where YAML and every reader take it for one, else in quotes."""
    plain = re.fullmatch("[A-Za-z][A-Za-z0-9_./-]*", text) and text.lower() not in _WORDS
    return text if plain else json.dumps(text, ensure_ascii=not text.isprintable())
