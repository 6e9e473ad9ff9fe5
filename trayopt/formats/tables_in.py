"""Tables in: CSV and XLSX by header name, with the place of every cell; what a spreadsheet did to a cell is told."""

from __future__ import annotations

import csv
import re
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from io import StringIO
from pathlib import Path

from trayopt.errors import Fault, InputError
from trayopt.formats.cells import MOST_COLUMNS, MOST_ROWS, RawCell
from trayopt.formats.locate import Spot, describe
from trayopt.formats.source import decode, read_bytes, source_name
from trayopt.formats.validate import did_you_mean

MOST_BYTES = 20_000_000

_MONTH = r"(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*\.?"
_DATE = re.compile(
    rf"\d{{1,2}}[-./ ]+{_MONTH}([-./ ]+\d{{2,4}})?|{_MONTH}[-./ ]+\d{{1,4}}|\d{{4}}-\d{{2}}-\d{{2}}([ T].*)?"
    r"|\d{1,2}[./]\d{1,2}[./]\d{2,4}",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Cell:
    """The text of one cell and its place; a number is written without a needless ``.0``."""

    text: str
    spot: Spot


@dataclass(frozen=True)
class Row:
    """One row that is not empty: its cells by header (lower case), and where it begins."""

    cells: dict[str, Cell]
    spot: Spot

    def get(self, column: str) -> Cell:
        """Give the cell under a header; an empty one at the row's place where there is none."""
        return self.cells.get(column.lower()) or Cell("", self.spot)


@dataclass
class Table:
    """The rows under the headers of a table, and what was wrong in single cells."""

    source: str
    columns: tuple[str, ...]
    rows: list[Row] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)


def read_table(path: str | Path, wanted: Collection[str] = (), optional: Collection[str] = ()) -> Table:
    """Read a CSV or XLSX file (told apart by content), or CSV or XLSX from standard input for ``-``.

    Parameters
    ----------
    path
        The file.
    wanted, optional
        Headers that must be there and that may be there, in any order and any case; other columns are kept. Only cells
        under these headers are refused for being a date, a formula without a value or an error; all cells where neither
        is given.

    Raises
    ------
    InputError
        Where the file cannot be read, is too large, or lacks a wanted header.
    """
    return parse_table(read_bytes(path, MOST_BYTES), source_name(path), wanted, optional)


def parse_table(raw: bytes, source: str, wanted: Collection[str] = (), optional: Collection[str] = ()) -> Table:
    """Read a table as ``read_table`` does, from the bytes of its file."""
    if raw.startswith(b"PK\x03\x04"):
        from trayopt.formats.xlsx_in import xlsx_rows

        records: Iterable[list[RawCell]] = xlsx_rows(raw, source)
    elif raw.startswith(b"\xd0\xcf\x11\xe0"):
        found = "an old or a protected workbook"
        raise InputError(
            [Fault(source, 0, 0, "cannot be read as a table", found, "CSV, XLSX", "save it as XLSX without a password")]
        )
    else:
        records = _csv_rows(decode(raw, source), source)
    return _table(records, source, tuple(wanted), tuple(optional))


def looks_like_date(text: str) -> bool:
    """Whether a text is what spreadsheets make of a run such as ``1-12``: ``12-Jan``, ``2024-01-12``, ``1/12/2024``."""
    return _DATE.fullmatch(text.strip()) is not None


def _table(records: Iterable[list[RawCell]], source: str, wanted: tuple[str, ...], optional: tuple[str, ...]) -> Table:
    filled = (record for record in records if any(cell.text.strip() or cell.wrong for cell in record))
    head = next(iter(filled), None)
    if head is None:
        raise InputError([Fault(source, 1, 1, "the table is empty", allowed="a row of headers and rows under it")])
    names = [cell.text.strip().lower() for cell in head]
    used = {name.lower() for name in (*wanted, *optional)} or set(names)
    table = Table(source, tuple(name for name in names if name))
    faults = []
    for i, name in enumerate(names):
        if name in used and name in names[:i]:
            faults.append(
                head[i].spot.fault(f"the header {describe(name)} stands twice", hint="rename one of the columns")
            )
    for name in wanted:
        if name.lower() not in names:
            found = ", ".join(names[:20])
            hint = did_you_mean(name, names)
            faults.append(
                head[0].spot.fault(
                    f"there is no column '{name}'", found=found, allowed=", ".join((*wanted, *optional)), hint=hint
                )
            )
    if faults:
        raise InputError(faults)
    for record in filled:
        if len(table.rows) >= MOST_ROWS:
            raise InputError([record[0].spot.fault("the table is too long", allowed=f"up to {MOST_ROWS:,} rows")])
        cells = {}
        for name, cell in zip(names, record, strict=False):
            if cell.wrong and name in used:
                table.faults.append(cell.spot.fault(cell.wrong, found=describe(cell.text), hint=cell.hint))
            if name:
                cells[name] = Cell(cell.text.strip(), cell.spot)
        over = next((cell for cell in record[len(names) :] if cell.text.strip()), None)
        if over is not None:
            hint = "put a text that holds the separator in quotes"
            table.faults.append(
                over.spot.fault("a cell without a header over it", found=describe(over.text), hint=hint)
            )
        table.rows.append(Row(cells, record[0].spot))
    return table


def _csv_rows(text: str, source: str) -> Iterator[list[RawCell]]:
    lines = list(StringIO(text, newline=""))
    skip = 1 if lines and re.fullmatch(r"sep=.", lines[0].strip()) else 0
    separator = lines[0].strip()[-1] if skip else _separator(next((line for line in lines if line.strip()), ""))
    reader = csv.reader(lines[skip:], delimiter=separator, strict=True)
    done = skip
    try:
        for record in reader:
            start, done = done, skip + reader.line_num
            if len(record) > MOST_COLUMNS:
                allowed = f"up to {MOST_COLUMNS:,}"
                raise InputError([Fault(source, start + 1, 1, "too many columns", f"{len(record):,}", allowed)])
            marks = _marks("".join(lines[start:done]), separator, start + 1)
            yield [RawCell(value, Spot(source, *mark)) for value, mark in zip(record, marks, strict=False)]
    except csv.Error as wrong:
        hint = "close the quotes; write a quote inside of a text twice"
        raise InputError([Fault(source, done + 1, 1, f"this is no CSV: {wrong}", hint=hint)]) from None


def _separator(line: str) -> str:
    outside = re.sub(r'"[^"]*"', "", line)
    return max(",;\t", key=outside.count)


def _marks(raw: str, separator: str, line: int) -> list[tuple[int, int]]:
    """Line and column at which each cell of a record begins."""
    column = 1
    marks = [(line, column)]
    quoted = False
    for char in raw:
        column += 1
        if char == '"':
            quoted = not quoted
        elif char == "\n":
            line, column = line + 1, 1
        elif char == separator and not quoted:
            marks.append((line, column))
    return marks
