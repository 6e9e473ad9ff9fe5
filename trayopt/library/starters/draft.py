"""A draft of a library file: its values line by line, each with a comment that says whether it was measured or assumed."""

from __future__ import annotations

from dataclasses import dataclass

from trayopt.domain.cable import Cable
from trayopt.domain.hardware import Enclosure, Tray, TubeSet

MEASURED = "measured"
ASSUMED = "assumed"
"""The first word of a comment: the values on its line, and all values below the key on its line, are assumed."""
NOTE_COLUMN = 36


@dataclass(frozen=True)
class Line:
    """A line of YAML and the comment after it."""

    text: str
    note: str = ""

    def __str__(self) -> str:
        return f"{self.text.ljust(NOTE_COLUMN)}  # {self.note}" if self.note else self.text


@dataclass(frozen=True)
class Draft:
    """An entry, and the lines of its file."""

    model: Tray | Enclosure | Cable | TubeSet
    what: str
    lines: tuple[Line, ...]

    def text(self) -> str:
        """Return the text of the file."""
        head = (
            f"# {self.what}",
            "# What is called measured was given. What is called assumed follows from it by the formula beside it:",
            "# measure it, correct it, and take the word away. Check the whole against the makers' instructions.",
        )
        return "\n".join([*head, *map(str, self.lines)]) + "\n"


def measured(text: str, note: str = "") -> Line:
    """Make a line for a value that was given."""
    return Line(text, f"{MEASURED}: {note}" if note else MEASURED)


def assumed(text: str, note: str) -> Line:
    """Make a line for a value that follows by a formula."""
    return Line(text, f"{ASSUMED}: {note}")
