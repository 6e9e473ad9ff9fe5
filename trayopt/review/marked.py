"""The reviewer's own sheet back: as it came, with a column of findings and the cells concerned coloured."""

from __future__ import annotations

import csv
from collections import defaultdict
from io import BytesIO, StringIO
from typing import Any

from trayopt.errors import InputError
from trayopt.review.columns import column_of
from trayopt.review.desk import Review
from trayopt.review.remarks import LEVEL_WORDS, Remark

COLUMN = "findings"
FAIL, SOFT = "F8B4B4", "FBE7A1"
MOST_TEXT = 32_767
"""Characters that a cell of XLSX holds."""


def marked_workbook(review: Review) -> bytes:
    """Give the sheet that was reviewed with its findings, as XLSX.

    Raises
    ------
    InputError
        Where the plan was no table, or openpyxl is missing.
    """
    made = review.made
    if not made.raw:
        hint = "write the plan as a table with: trayopt mend JOB PLAN -o FILE.xlsx"
        raise InputError.one("only a table comes back as XLSX", source=made.source, hint=hint)
    try:
        from openpyxl import Workbook, load_workbook
    except ImportError as missing:
        hint = "pip install trayopt[xlsx]"
        raise InputError.one("openpyxl is needed to write XLSX and is not installed", hint=hint) from missing
    if made.raw.startswith(b"PK"):
        book = load_workbook(BytesIO(made.raw))
        sheet: Any = next(sheet for sheet in book.worksheets if sheet.sheet_state == "visible")
    else:
        book = Workbook()
        sheet = book.active
        sheet.title = "plan"
        for record in _records(made.raw):
            sheet.append(record)
    _mark(sheet, review)
    _list(book, review)
    stream = BytesIO()
    book.save(stream)
    return stream.getvalue()


def _records(raw: bytes) -> list[list[str]]:
    """Give the rows of a CSV table, each at the number of its first line, so that rows keep their numbers."""
    text = raw.decode("utf-8-sig")
    first = next((line for line in text.splitlines() if line.strip()), "")
    separator = first.strip()[-1] if first.startswith("sep=") else max(",;\t", key=first.count)
    reader = csv.reader(StringIO(text, newline=""), delimiter=separator)
    found: list[list[str]] = []
    before = 0
    for record in reader:
        found += [[]] * (before - len(found))
        found.append(record)
        before = reader.line_num
    return found


def _mark(sheet: Any, review: Review) -> None:
    """Write the findings of each row behind it, and colour the cells to look at."""
    from openpyxl.styles import Alignment, Font, PatternFill

    by_row: dict[int, list[str]] = defaultdict(list)
    for remark in review.remarks:
        text = line_of(remark)
        for line in remark.lines:
            by_row[line.number].append(text)
    head = review.made.head
    names = [str(cell.value or "").strip().lower() for cell in sheet[head]]
    # Whatever stands in a cell stays: the findings come behind every cell that is filled, below the headers or not.
    filled = max((cell.column for row in sheet.iter_rows() for cell in row if cell.value is not None), default=0)
    column = names.index(COLUMN) + 1 if COLUMN in names else filled + 1
    sheet.cell(head, column, COLUMN).font = Font(bold=True)
    sheet.column_dimensions[sheet.cell(head, column).column_letter].width = 90
    wrapped = Alignment(wrap_text=True, vertical="top")
    for row in range(head + 1, sheet.max_row + 1):
        cell = sheet.cell(row, column)
        cell.value = "\n".join(by_row.get(row, ()))[:MOST_TEXT] or None
        if cell.value is not None:
            cell.alignment = wrapped
    addresses = _addresses(names, review)
    fails, soft = (PatternFill("solid", fgColor=colour) for colour in (FAIL, SOFT))
    for remark in sorted(review.remarks, key=lambda remark: remark.fails):
        for address in remark.cells:
            letters = address.rstrip("0123456789")
            if letters.isalpha() and letters != address:
                sheet[address].fill = fails if remark.fails else soft
            elif address in addresses:
                sheet.cell(*addresses[address]).fill = fails if remark.fails else soft


def _addresses(names: list[str], review: Review) -> dict[str, tuple[int, int]]:
    """Give row and column of the sheet for each cell of CSV, by line and column of its text such as ``12:5``."""
    index: dict[str, int] = {}
    for i, name in enumerate(names, start=1):
        if (column := column_of(name)) is not None:
            index.setdefault(column, i)
    return {
        f"{spot.line}:{spot.column}": (line.number, index[column])
        for line in review.made.lines
        for column, spot in line.spots.items()
        if column in index
    }


def _list(book: Any, review: Review) -> None:
    """Put all findings on a sheet of their own, those that are about no row among them."""
    from openpyxl.styles import Font

    if COLUMN in book.sheetnames:
        del book[COLUMN]
    sheet = book.create_sheet(COLUMN)
    sheet.append(["no", "level", "rule", "subject", "rows", "cells", "found", "allowed", "how to mend"])
    for cell in sheet[1]:
        cell.font = Font(bold=True)
    for number, remark in enumerate(review.remarks, start=1):
        cells = ", ".join(remark.cells[:20])
        sheet.append(
            [number, LEVEL_WORDS[remark.level], remark.rule, remark.subject, remark.rows, cells, remark.found,
             remark.allowed, remark.mend]
        )  # fmt: skip
    for letter, width in zip("ABCDEFGHI", (5, 16, 18, 16, 16, 20, 70, 60, 70), strict=True):
        sheet.column_dimensions[letter].width = width


def line_of(remark: Remark) -> str:
    """Write a remark in one line."""
    allowed = f" Allowed: {remark.allowed}." if remark.allowed else ""
    mend = f" To mend: {remark.mend}." if remark.mend else ""
    return f"{remark.rule} ({LEVEL_WORDS[remark.level]}): {remark.found}.{allowed}{mend}"
