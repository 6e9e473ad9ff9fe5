"""Merged cells of a workbook: under them a spreadsheet keeps only the first value."""

from __future__ import annotations

import re
import zipfile
from io import BytesIO

_REF = re.compile(r"([A-Z]+)(\d+):([A-Z]+)(\d+)")


def merged_cells(raw: bytes, columns: int) -> list[tuple[str, str, range]]:
    """Find merged cells of a workbook's first sheet, below its first row and inside its first columns.

    Returns
    -------
    list
        The first cell and the whole range of each, such as (``A3``, ``A3:A8``), and its rows; none where the file is
        no workbook.
    """
    if not raw.startswith(b"PK\x03\x04"):
        return []
    found = []
    for ref in _refs(raw):
        match = _REF.fullmatch(ref)
        if match is not None and int(match[4]) > 1 and _number(match[1]) <= columns:
            found.append((f"{match[1]}{match[2]}", ref, range(int(match[2]), int(match[4]) + 1)))
    return found


def _refs(raw: bytes) -> list[str]:
    """Give the merged ranges of the first visible sheet."""
    from openpyxl import load_workbook

    with zipfile.ZipFile(BytesIO(raw)) as packed:
        if not any(
            b"<mergeCell " in packed.read(name) for name in packed.namelist() if name.startswith("xl/worksheets/")
        ):
            return []
    book = load_workbook(BytesIO(raw))
    sheet = next(sheet for sheet in book.worksheets if sheet.sheet_state == "visible")
    return [str(ref) for ref in sheet.merged_cells.ranges]


def _number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - ord("A") + 1
    return number
