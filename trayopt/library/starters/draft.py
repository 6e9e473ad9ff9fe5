"""A file of the library in the making: its values line by line, and beside each whether it was measured or assumed."""

from __future__ import annotations

from dataclasses import dataclass

from trayopt.domain.cable import Cable
from trayopt.domain.hardware import Enclosure, Tray, TubeSet

MEASURED = "measured"
ASSUMED = "assumed"
"""The word at the head of a comment that says so of the values on its line, and of all below a key that stands there."""
NOTE_COLUMN = 36


@dataclass(frozen=True)
class Line:
    """A line of YAML and the comment behind it."""

    text: str
    note: str = ""

    def __str__(self) -> str:
        return f"{self.text.ljust(NOTE_COLUMN)}  # {self.note}" if self.note else self.text


@dataclass(frozen=True)
class Draft:
    """An entry, and the lines that say it."""

    model: Tray | Enclosure | Cable | TubeSet
    what: str
    lines: tuple[Line, ...]

    def text(self) -> str:
        """Write the file."""
        head = (
            f"# {self.what}",
            "# What is called measured was given. What is called assumed follows from it by the formula beside it:",
            "# measure it, correct it, and take the word away. Check the whole against the makers' instructions.",
        )
        return "\n".join([*head, *map(str, self.lines)]) + "\n"


def measured(text: str, note: str = "") -> Line:
    """Write a value that was given."""
    return Line(text, f"{MEASURED}: {note}" if note else MEASURED)


def assumed(text: str, note: str) -> Line:
    """Write a value that follows by a formula."""
    return Line(text, f"{ASSUMED}: {note}")
