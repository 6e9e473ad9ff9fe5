"""The language and the units of the sheets."""

from __future__ import annotations

from typing import Any

from trayopt.crewsheets.lengths import Units, feet
from trayopt.crewsheets.words import Words


class Teller:
    """Writes texts of the catalogue, and lengths in the crew's units."""

    def __init__(self, words: Words, units: Units) -> None:
        self.words, self.units = words, units

    def __call__(self, key: str, **values: Any) -> str:
        """Write a text of the catalogue."""
        return self.words(key, **values)

    def length(self, mm: int) -> str:
        """Write a length, rounded to the nearest."""
        return f"{self.words.number(mm)} mm" if self.units == "metric" else feet(mm)

    def cut(self, mm: int) -> str:
        """Write a length that is never rounded down."""
        return f"{self.words.number(mm)} mm" if self.units == "metric" else feet(mm, up=True)

    def size(self, mm: float) -> str:
        """Write a diameter in mm in either system of units, since seals, tubes and holders are sold by mm."""
        digits = 0 if mm == int(mm) else 1 if round(mm, 1) == mm else 2
        return f"{self.words.number(mm, digits)} mm"
