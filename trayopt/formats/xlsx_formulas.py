"""Formulas of a sheet that have no value, found in its XML: openpyxl gives values or formulas, and reads all cells for each."""

from __future__ import annotations

import re
from xml.parsers.expat import ParserCreate

_FORMULA = re.compile(rb"<(?:\w+:)?f(?=[\s/>])[^>]*>(?:[^<]*</(?:\w+:)?f>)?\s*(?P<value><(?:\w+:)?v>\s*[^<\s])?")
"""A formula with the beginning of its value, which stands behind it."""
_ADDRESS = re.compile(r"([A-Z]+)([0-9]+)")


def formulas_without_value(part: bytes) -> dict[int, dict[int, str]]:
    """Give the formulas of a sheet that have no value, by row and by column, counted from 0.

    The value of a formula that gives an empty text is there, and empty.

    Raises
    ------
    xml.parsers.expat.ExpatError
        Where the sheet is damaged.
    """
    if all(match["value"] for match in _FORMULA.finditer(part)):
        return {}
    reader = _Reader()
    reader.parser.Parse(part, True)
    return reader.found


class _Reader:
    """Walks through the cells; a row or a cell that does not say where it stands follows the one before.

    Text and ends of elements are listened to in cells with a formula alone, for there are millions of others.
    """

    def __init__(self) -> None:
        self.parser = ParserCreate()
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self.start
        self.found: dict[int, dict[int, str]] = {}
        self.row = self.column = 0
        self.formula: list[str] = []
        self.open = False
        """Whether the cell has a formula, and no value so far."""
        self.inside = ""

    def start(self, name: str, attributes: dict[str, str]) -> None:
        name = name.rpartition(":")[2]
        if name == "c":
            at = _ADDRESS.fullmatch(attributes.get("r", ""))
            if at is None:
                self.column += 1
            else:
                self.row = int(at[2])
                self.column = sum((ord(letter) - 64) * 26**i for i, letter in enumerate(reversed(at[1])))
            self.open = attributes.get("t") != "str"
        elif name == "row":
            self.row, self.column = int(float(attributes.get("r", self.row + 1))), 0
        elif name == "f":
            self.formula = []
            self.parser.CharacterDataHandler, self.parser.EndElementHandler = self.text, self.end
        self.inside = name

    def text(self, text: str) -> None:
        if self.inside == "f":
            self.formula.append(text)
        elif self.inside == "v" and text.strip():
            self.open = False

    def end(self, name: str) -> None:
        self.inside = ""
        if name.rpartition(":")[2] != "c":
            return
        self.parser.CharacterDataHandler = self.parser.EndElementHandler = None
        if self.open:
            self.found.setdefault(self.row, {})[self.column - 1] = f"={''.join(self.formula)}"
