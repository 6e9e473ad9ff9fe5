"""Lists as tables with typed cells, written as CSV and XLSX in which no name can become a formula."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from trayopt.crewsheets.lengths import Units, feet
from trayopt.crewsheets.words import Words
from trayopt.pictures.page import without_controls

Kind = Literal["text", "count", "number", "length", "cut", "decimal", "blank"]
"""The content of a column: words, counts, numbers that name something (such as a wavelength), lengths in mm (``cut`` is never
rounded down), decimals, or a blank for the crew."""
Cell = str | int | float | None

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%", "＝", "＋", "－", "＠")
"""Characters with which a formula of a spreadsheet may begin, or a command in older spreadsheets."""


@dataclass(frozen=True)
class Column:
    """A column: its key (``column.<key>`` in the catalogue is its header) and the kind of its content."""

    key: str
    kind: Kind = "text"
    name: str = ""
    """The header, if it holds a figure and so is not in the catalogue."""

    def header(self, words: Words, units: Units) -> str:
        """Write the header with its unit."""
        text = self.name or words(f"column.{self.key}")
        if self.kind in {"length", "cut"}:
            return f"{text} [{'mm' if units == 'metric' else words('unit.feet')}]"
        return text


@dataclass(frozen=True)
class Table:
    """A list: its id (the name of its file and sheet), columns, rows, and a key for each row."""

    id: str
    columns: tuple[Column, ...]
    rows: Sequence[tuple[Cell, ...]]
    keys: Sequence[str] = ()

    def column(self, key: str) -> list[Any]:
        """Return the cells of one column."""
        at = [column.key for column in self.columns].index(key)
        return [row[at] for row in self.rows]

    def only(self, keys: Sequence[str]) -> Table:
        """Return the table with only these columns, in this order."""
        at = [[column.key for column in self.columns].index(key) for key in keys]
        rows = [tuple(row[i] for i in at) for row in self.rows]
        return Table(self.id, tuple(self.columns[i] for i in at), rows, self.keys)


def shown(cell: Cell, column: Column, units: Units, words: Words | None = None) -> str:
    """Write a cell as text: with ``words`` for people, otherwise for machines."""
    if cell is None:
        return ""
    if isinstance(cell, str):
        return cell
    if column.kind in {"length", "cut"}:
        if units == "feet":
            return feet(int(cell), up=column.kind == "cut")
        return words.number(cell) if words else str(cell)
    if words is None or column.kind == "number":
        return str(cell)
    return words.number(cell, 0 if isinstance(cell, int) else 2)


def guarded(text: str) -> str:
    """Put an apostrophe before a text that a spreadsheet would take as a formula."""
    return f"'{text}" if text.lstrip("'").startswith(_FORMULA) else text


def unguarded(text: str) -> str:
    """Remove the apostrophe that ``guarded`` added."""
    return text[1:] if text.startswith("'") and text.lstrip("'").startswith(_FORMULA) else text


def csv_text(table: Table, words: Words, units: Units, safety: str = "") -> str:
    """Write a table as CSV: comma, double quotes, CR LF as in RFC 4180, and guarded against formulas.

    ``safety`` becomes the header of an empty last column. Readers that use headers ignore it, the table needs no extra row
    or line before the headers, and a spreadsheet shows it as long as it shows the headers.
    """
    out = io.StringIO()
    writer = csv.writer(out)
    last = [""] * bool(safety)
    writer.writerow(
        [*(guarded(column.header(words, units)) for column in table.columns), *[guarded(safety)] * len(last)]
    )
    for row in table.rows:
        writer.writerow(
            [
                guarded(without_controls(cell)) if isinstance(cell, str) else shown(cell, column, units)
                for cell, column in zip(row, table.columns, strict=True)
            ]
            + last
        )
    return out.getvalue()


def xlsx_bytes(
    tables: Iterable[Table], words: Words, units: Units, safety: Mapping[str, str] | None = None
) -> bytes | None:
    """Write tables as one workbook, with a sheet for each list; None without openpyxl. Text never becomes a formula.

    ``safety`` holds a line for each list. The line is the header of an empty last column, as in CSV, and the footer of every
    printed page.
    """
    try:
        from openpyxl import Workbook
        from openpyxl.cell import WriteOnlyCell
        from openpyxl.styles import Font
        from openpyxl.utils import get_column_letter
    except ImportError:
        return None

    book = Workbook(write_only=True)
    bold = Font(bold=True)
    for table in tables:
        sheet = book.create_sheet(sheet_name(words(f"list.{table.id}")))
        sheet.freeze_panes = "A2"
        if safety and table.id in safety:
            sheet.oddFooter.left.text = safety[table.id].replace("&", "&&")
            sheet.oddFooter.left.size = 8
        headers = [column.header(words, units) for column in table.columns]
        for number, (column, header) in enumerate(zip(table.columns, headers, strict=True), start=1):
            longest = max([len(header), *(len(shown(row[number - 1], column, units)) for row in table.rows[:200])])
            sheet.column_dimensions[get_column_letter(number)].width = min(48, longest + 2)
        head = []
        for header in [*headers, *filter(None, [(safety or {}).get(table.id)])]:
            cell = WriteOnlyCell(sheet, header)
            cell.data_type, cell.font = "s", bold
            head.append(cell)
        sheet.append(head)
        for row in table.rows:
            sheet.append(
                [_xlsx_cell(sheet, cell, column, units) for cell, column in zip(row, table.columns, strict=True)]
            )
    return _steady(book)


def sheet_name(text: str) -> str:
    r"""Make a valid name for a sheet of a workbook: at most 31 characters, none of ``[]:*?/\``."""
    return re.sub(r"[\[\]:*?/\\]", " ", text)[:31]


def _xlsx_cell(sheet: Any, cell: Cell, column: Column, units: Units) -> Any:
    if cell is not None and not isinstance(cell, str) and column.kind in {"length", "cut"} and units == "feet":
        return shown(cell, column, units)
    if not isinstance(cell, str):
        return cell
    text = without_controls(cell)[:32_767]
    if not text.startswith(_FORMULA):
        return text
    from openpyxl.cell import WriteOnlyCell

    made = WriteOnlyCell(sheet, text)
    made.data_type = "s"
    made.quotePrefix = True
    return made


def _steady(book: Any) -> bytes:
    """Save a workbook without the time of day, so that equal lists are equal files."""
    import zipfile
    from datetime import datetime

    book.properties.created = book.properties.modified = datetime(2000, 1, 1)
    raw, out = io.BytesIO(), io.BytesIO()
    book.save(raw)
    with zipfile.ZipFile(raw) as source, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target:
        for item in source.infolist():
            content = source.read(item)
            if item.filename == "docProps/core.xml":
                content = re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>2000-01-01T00:00:00Z", content)
            target.writestr(zipfile.ZipInfo(item.filename), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()
