"""The reviewed sheet with its findings: as it was, with a column of findings, a line of safety and coloured cells."""

from __future__ import annotations

import csv
from collections import defaultdict
from io import BytesIO, StringIO
from typing import Any

from trayopt.errors import InputError
from trayopt.formats.tables_in import names_separator
from trayopt.review.cautions import TABLE
from trayopt.review.columns import column_of
from trayopt.review.desk import Review
from trayopt.review.remarks import LEVEL_WORDS, Remark

COLUMN = "findings"
WIDTH = 90
HEAD = ("no", "level", "rule", "subject", "rows", "cells", "found", "allowed", "how to mend")
FAIL, SOFT = "F8B4B4", "FBE7A1"
MOST_TEXT = 32_767
"""Greatest number of characters in a cell of XLSX."""


def marked_workbook(review: Review) -> bytes:
    """Return the reviewed sheet with its findings, as XLSX.

    Raises
    ------
    InputError
        If the plan was not a table, or openpyxl is missing.
    """
    made = review.made
    if not made.raw:
        hint = "write the plan as a table with: trayopt mend JOB PLAN -o FILE.xlsx"
        raise InputError.one("only a table comes back as XLSX", source=made.source, hint=hint)
    try:
        from openpyxl import load_workbook
    except ImportError as missing:
        hint = "pip install trayopt[xlsx]"
        raise InputError.one("openpyxl is needed to write XLSX and is not installed", hint=hint) from missing
    if made.raw.startswith(b"PK"):
        book = load_workbook(BytesIO(made.raw))
        _mark(book[made.sheet], review)
    else:
        book = _written(review)
    _list(book, review)
    stream = BytesIO()
    book.save(stream)
    return stream.getvalue()


def _records(raw: bytes, separator: str) -> list[list[str]]:
    """Return the rows of a CSV table, each at the index of its first line, so that rows keep their numbers.

    A first line that names the separator stays one cell.
    """
    text = StringIO(raw.decode("utf-8-sig"), newline="")
    first = text.readline()
    found: list[list[str]] = []
    if names_separator(first):
        found.append([first.strip()])
    else:
        text.seek(0)
    reader, before, above = csv.reader(text, delimiter=separator), len(found), len(found)
    for record in reader:
        found += [[]] * (before - len(found))
        found.append(record)
        before = above + reader.line_num
    return found


def _texts(review: Review) -> dict[int, str]:
    """Return the text of the findings of each row."""
    by_row: dict[int, list[str]] = defaultdict(list)
    for remark in review.remarks:
        text = line_of(remark)
        for line in remark.lines:
            if not line.path:
                by_row[line.number].append(text)
    return {row: "\n".join(texts)[:MOST_TEXT] for row, texts in by_row.items()}


def _coloured(names: list[str], review: Review) -> dict[tuple[int, int], bool]:
    """Return the cells of findings by row and column, and for each whether it makes the plan fail."""
    addresses = _addresses(names, review)
    found: dict[tuple[int, int], bool] = {}
    for remark in review.remarks:
        for address in remark.cells:
            at = addresses.get(address) or _in_sheet(address)
            if at is not None:
                found[at] = found.get(at, False) or remark.fails
    return found


def _in_sheet(address: str) -> tuple[int, int] | None:
    """Return row and column of an address such as ``C12``; None if the text is not an address."""
    from openpyxl.utils import column_index_from_string

    letters = address.rstrip("0123456789")
    if not letters.isalpha() or letters == address:
        return None
    return int(address[len(letters) :]), column_index_from_string(letters)


def _column(names: list[str], filled: int) -> int:
    """Return the column for the findings: an existing one, or the first column after all filled cells."""
    return names.index(COLUMN) + 1 if COLUMN in names else filled + 1


def _mark(sheet: Any, review: Review) -> None:
    """Write the findings of each row of a sheet after the row, and colour the cells of findings."""
    from openpyxl.styles import Alignment, Font, PatternFill

    texts, head = _texts(review), review.made.head
    names = [str(cell.value or "").strip().lower() for cell in sheet[head]]
    filled = max((cell.column for row in sheet.iter_rows() for cell in row if cell.value is not None), default=0)
    column = _column(names, filled)
    sheet.cell(head, column, COLUMN).font = Font(bold=True)
    if TABLE.lower() not in names:
        sheet.cell(head, max(filled, column) + 1, TABLE).font = Font(bold=True)
    sheet.column_dimensions[sheet.cell(head, column).column_letter].width = WIDTH
    wrapped = Alignment(wrap_text=True, vertical="top")
    for row in range(head + 1, sheet.max_row + 1):
        cell = sheet.cell(row, column)
        cell.value = texts.get(row) or None
        if cell.value is not None:
            cell.alignment = wrapped
    fails, soft = (PatternFill("solid", fgColor=colour) for colour in (FAIL, SOFT))
    for at, failing in _coloured(names, review).items():
        sheet.cell(*at).fill = fails if failing else soft


def _written(review: Review) -> Any:
    """Write a CSV table as a workbook with the same marks. It is written row by row, which is fast for long tables."""
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Alignment, Font, NamedStyle, PatternFill
    from openpyxl.utils import get_column_letter

    made, texts = review.made, _texts(review)
    records = _records(made.raw, made.separator)
    names = [text.strip().lower() for text in records[made.head - 1]]
    filled = max((i for row in records for i, text in enumerate(row, start=1) if text), default=0)
    column = _column(names, filled)
    width = max(filled, column)
    colours: dict[int, dict[int, bool]] = defaultdict(dict)
    for (number, at), failing in _coloured(names, review).items():
        colours[number][at] = failing
    book = Workbook(write_only=True)
    # A named style is looked up once; a style without a name would be compared again for each cell.
    for style in (
        NamedStyle("fails", fill=PatternFill("solid", fgColor=FAIL)),
        NamedStyle("look at", fill=PatternFill("solid", fgColor=SOFT)),
        NamedStyle("said", alignment=Alignment(wrap_text=True, vertical="top")),
        NamedStyle("head", font=Font(bold=True)),
    ):
        book.add_named_style(style)
    sheet = book.create_sheet("plan")
    sheet.column_dimensions[get_column_letter(column)].width = WIDTH

    def styled(value: Any, style: str) -> Any:
        cell = WriteOnlyCell(sheet, value)
        cell.style = style
        return cell

    for number, record in enumerate(records, start=1):
        row: list[Any] = [text or None for text in record]
        row += [None] * (column - len(row))
        for at, failing in colours.get(number, {}).items():
            row[at - 1] = styled(row[at - 1], "fails" if failing else "look at")
        if number == made.head:
            row[column - 1] = styled(COLUMN, "head")
            if TABLE.lower() not in names:
                row += [*[None] * (width - len(row)), styled(TABLE, "head")]
        elif number > made.head:
            row[column - 1] = styled(texts[number], "said") if number in texts else None
        sheet.append(row)
    return book


def _addresses(names: list[str], review: Review) -> dict[str, tuple[int, int]]:
    """Return row and column in the sheet for each cell of CSV, by its place in the text such as ``12:5``."""
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
    """Write all findings to a sheet of their own, including findings that belong to no row."""
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font

    if COLUMN in book.sheetnames:
        del book[COLUMN]
    sheet = book.create_sheet(COLUMN)
    for letter, width in zip("ABCDEFGHI", (5, 16, 18, 16, 16, 20, 70, 60, 70), strict=True):
        sheet.column_dimensions[letter].width = width
    head = [WriteOnlyCell(sheet, word) for word in (*HEAD, TABLE)]
    for cell in head:
        cell.font = Font(bold=True)
    sheet.append(head)
    for number, remark in enumerate(review.remarks, start=1):
        cells = ", ".join(remark.cells[:20])
        sheet.append(
            [number, LEVEL_WORDS[remark.level], remark.rule, remark.subject or None, remark.rows or None, cells or None,
             remark.found, remark.allowed or None, remark.mend or None]
        )  # fmt: skip


def line_of(remark: Remark) -> str:
    """Write a remark in one line."""
    allowed = f" Allowed: {remark.allowed}." if remark.allowed else ""
    mend = f" To mend: {remark.mend}." if remark.mend else ""
    return f"{remark.rule} ({LEVEL_WORDS[remark.level]}): {remark.found}.{allowed}{mend}"
