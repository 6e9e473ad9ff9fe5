"""Plain scalars by the core schema of YAML 1.2: ``12:24``, ``NO`` and ``2024-01-01`` stay text."""

from __future__ import annotations

import re
from math import isfinite

from trayopt.domain.said import said

_NULL = {"", "~", "null", "Null", "NULL"}
_BOOL = {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False}
_INT = re.compile(r"[-+]?[0-9]+")
_OCTAL = re.compile(r"0o[0-7]+")
_HEX = re.compile(r"0x[0-9a-fA-F]+")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_NOT_FINITE = re.compile(r"[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)")
MOST_DIGITS = 18


def plain(text: str) -> str | int | float | bool | None:
    """Return the value of a scalar that was written without quotes.

    Raises
    ------
    ValueError
        For a number that is not finite or has more than 18 digits; the message says which.
    """
    if text in _NULL:
        return None
    if text in _BOOL:
        return _BOOL[text]
    if text[0] not in "+-.0123456789":
        return text
    for pattern, base in ((_INT, 10), (_OCTAL, 8), (_HEX, 16)):
        if pattern.fullmatch(text):
            if len(text.lstrip("+-0")) > MOST_DIGITS:
                raise ValueError(said("a number of more than {most} digits", most=MOST_DIGITS))
            return int(text, base) if base == 10 else int(text[2:], base)
    if _NOT_FINITE.fullmatch(text):
        raise ValueError(said("a number that is not finite"))
    if _FLOAT.fullmatch(text):
        number = float(text)
        if not isfinite(number):
            raise ValueError(said("a number that is not finite"))
        return number
    return text


KINDS: dict[str, tuple[type, str]] = {
    "int": (int, said("no whole number")), "float": (float, said("no number")), "bool": (bool, said("neither true nor false")),
    "null": (type(None), said("not null")),
}  # fmt: skip
"""The type of each core tag except text, and the words of a message for a value of another type."""


def tagged(tag: str, text: str) -> str | int | float | bool | None:
    """Return the value of a scalar with one of the core tags (``str``, ``int``, ``float``, ``bool``, ``null``).

    Raises
    ------
    ValueError
        If the text is not a value of that type.
    """
    if tag == "str":
        return text
    value = plain(text)
    if tag == "float" and type(value) is int:
        return float(value)
    kind, called = KINDS[tag]
    if type(value) is not kind:
        raise ValueError(said("a value that is {called}", called=called))
    return value
