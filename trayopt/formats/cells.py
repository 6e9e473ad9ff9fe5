"""Cells of a table as a file has them, and how many of them a table may have."""

from __future__ import annotations

from dataclasses import dataclass

from trayopt.formats.locate import Spot

MOST_ROWS = 100_000
MOST_COLUMNS = 1_000
AS_TEXT = "format the column as text and type the cell again"


@dataclass(frozen=True)
class RawCell:
    """A cell as the file has it; ``wrong`` says what makes it unusable."""

    text: str
    spot: Spot
    wrong: str = ""
    hint: str = ""
