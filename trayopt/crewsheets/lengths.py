"""Lengths as a crew reads them: millimetres, or feet and inches to an eighth."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Literal

Units = Literal["metric", "feet"]
EIGHTH_MM = Fraction(254, 80)
"""An eighth of an inch, exactly."""


def eighths(mm: int, *, up: bool = False) -> int:
    """Give a length in eighths of an inch: the nearest (a half rounds up), or the next above."""
    exact = Fraction(mm) / EIGHTH_MM
    return -(-exact.numerator // exact.denominator) if up else (exact + Fraction(1, 2)).__floor__()


def feet(mm: int, *, up: bool = False) -> str:
    """Write a length as ``7 ft 3 1/2 in``; ``up`` never makes it shorter, as for a cut."""
    total = eighths(abs(mm), up=up and mm > 0)
    inches, part = divmod(total, 8)
    whole, inches = divmod(inches, 12)
    text = f"{whole} ft {inches}"
    if part:
        fraction = Fraction(part, 8)
        text += f" {fraction.numerator}/{fraction.denominator}"
    return f"{'-' if mm < 0 and total else ''}{text} in"


_FEET = re.compile(r"(?:(\d+)\s*(?:ft|'|’))?\s*(?:(\d+(?:\.\d+)?)?\s*(?:(\d+)/(\d+))?\s*(?:in|\"|”))?")


def read_length(text: str) -> int | None:
    """Read ``2230``, ``2230 mm`` or ``7 ft 3 1/2 in`` as mm, rounded to the nearest; None where it is no length."""
    text = text.strip().lower()
    number = text.removesuffix("mm").strip()
    if number.isascii() and number.isdigit():
        return int(number[:9])
    match = _FEET.fullmatch(text)
    if not text or match is None or (match[4] and int(match[4]) == 0):
        return None
    inches = Fraction(match[1] or 0) * 12 + Fraction(match[2] or 0) + Fraction(int(match[3] or 0), int(match[4] or 1))
    return (inches * Fraction(254, 10) + Fraction(1, 2)).__floor__()
