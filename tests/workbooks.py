"""Workbooks in tests, with the type that a visible first sheet has."""

from __future__ import annotations

from openpyxl import Workbook
from openpyxl.worksheet.worksheet import Worksheet


def first_sheet(book: Workbook) -> Worksheet:
    """Give the sheet that a spreadsheet program would open."""
    found = book.active
    assert isinstance(found, Worksheet)
    return found
