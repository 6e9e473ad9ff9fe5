"""Writing YAML: plain data on one line, in a form that every reader of YAML understands in the same way."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

_WORDS = {"true", "false", "null", "yes", "no", "on", "off", "y", "n"}
"""Words that some readers of YAML do not take as text."""


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
    """Write a text without quotes if every reader of YAML takes it as text, otherwise in quotes."""
    plain = re.fullmatch("[A-Za-z][A-Za-z0-9_./-]*", text) and text.lower() not in _WORDS
    return text if plain else json.dumps(text, ensure_ascii=not text.isprintable())
