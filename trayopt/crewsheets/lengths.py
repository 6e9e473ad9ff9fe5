"""Lengths as a crew reads them: millimetres, or feet and inches in eighths."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Literal

Units = Literal["metric", "feet"]
EIGHTH_MM = Fraction(254, 80)
"""An eighth of an inch in mm, exactly."""


def eighths(mm: int, *, up: bool = False) -> int:
    """Return a length in eighths of an inch, rounded to the nearest (a half up), or with ``up`` always up."""
    exact = Fraction(mm) / EIGHTH_MM
    return -(-exact.numerator // exact.denominator) if up else (exact + Fraction(1, 2)).__floor__()


def feet(mm: int, *, up: bool = False) -> str:
    """Write a length as ``7 ft 3 1/2 in``; with ``up`` it is never rounded down, as for a cut."""
    total = eighths(abs(mm), up=up and mm > 0)
    inches, part = divmod(total, 8)
    whole, inches = divmod(inches, 12)
    text = f"{whole} ft {inches}"
    if part:
        fraction = Fraction(part, 8)
        text += f" {fraction.numerator}/{fraction.denominator}"
    return f"{'-' if mm < 0 and total else ''}{text} in"


_MILLIMETRES = re.compile(r"([0-9]{1,9})\s*(?:mm)?")
_METRES = re.compile(r"([0-9]{1,6})(?:[.,]([0-9]{1,3}))?\s*m")
_FEET = re.compile(
    r"(?:([0-9]{1,6})\s*(?:ft|'|’))?\s*"
    r"(?:([0-9]{1,6}(?:\.[0-9]{1,6})?)?\s*(?:([0-9]{1,4})/([0-9]{1,4}))?\s*(?:in|\"|”))?"
)


def read_length(text: str) -> int | None:
    """Read ``2230``, ``2230 mm``, ``2.23 m`` or ``7 ft 3 1/2 in`` as mm, rounded to the nearest; None for other texts.

    Thousands separators are not accepted: 3,140 means three metres to one reader and three millimetres to another. The page reads
    lengths by the same rule.
    """
    text = text.strip().lower()
    if whole := _MILLIMETRES.fullmatch(text):
        return int(whole[1])
    if metres := _METRES.fullmatch(text):
        return int(metres[1]) * 1000 + int((metres[2] or "0").ljust(3, "0"))
    match = _FEET.fullmatch(text)
    if not text or match is None or (match[4] and int(match[4]) == 0):
        return None
    inches = Fraction(match[1] or 0) * 12 + Fraction(match[2] or 0) + Fraction(int(match[3] or 0), int(match[4] or 1))
    return (inches * Fraction(254, 10) + Fraction(1, 2)).__floor__()
