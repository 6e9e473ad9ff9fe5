"""Merged cells of a workbook, of which a spreadsheet keeps only the first value."""

from __future__ import annotations

import re
from collections.abc import Iterable

_REF = re.compile(r"([A-Z]+)(\d+):([A-Z]+)(\d+)")


def merged_cells(ranges: Iterable[str], columns: int) -> list[tuple[int, str, range]]:
    """Find merged cells below the first row of a sheet and within its first columns.

    Returns
    -------
    list
        For each, the first column, counted from 0, the whole range, and the rows: such as 0, ``A3:A8`` and rows 3 to 8.
    """
    found = []
    for ref in ranges:
        match = _REF.fullmatch(ref)
        if match is not None and int(match[4]) > 1 and _number(match[1]) <= columns:
            found.append((_number(match[1]) - 1, ref, range(int(match[2]), int(match[4]) + 1)))
    return found


def _number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - ord("A") + 1
    return number
