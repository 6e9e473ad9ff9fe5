"""Reading tables: CSV and XLSX by header, with the place of every cell. Damage that a spreadsheet did to a cell is reported."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from io import StringIO
from itertools import chain, islice
from pathlib import Path
from typing import TYPE_CHECKING

from trayopt.domain.said import said
from trayopt.errors import Fault, InputError
from trayopt.formats.cells import MOST_COLUMNS, MOST_ROWS, Cell, CellFault, Row, Telling
from trayopt.formats.locate import describe
from trayopt.formats.source import decode, decode_any, read_bytes, source_name
from trayopt.formats.validate import did_you_mean

if TYPE_CHECKING:
    from trayopt.formats.xlsx_in import Sheet

MOST_BYTES = 20_000_000
KINDS = "CSV, XLSX"
_MOST_PLAIN = 100_000
"""A line without quotes and with fewer characters is cut at its separators; any other is left to the reader of CSV."""
MOST_ABOVE = 20
"""Number of first rows among which the headers of a hand-made table are looked for."""

_MONTHS = (
    "jan",
    "feb",
    "mar",
    "mrz",
    "mär",
    "apr",
    "may",
    "mai",
    "jun",
    "jul",
    "aug",
    "sep",
    "oct",
    "okt",
    "nov",
    "dec",
    "dez",
)
_MONTH = rf"({'|'.join(_MONTHS)})[a-zä]*\.?"
_DATE = re.compile(
    rf"\d{{1,2}}[-./ ]+{_MONTH}([-./ ]+\d{{2,4}})?|{_MONTH}[-./ ]+\d{{1,4}}|\d{{4}}-\d{{2}}-\d{{2}}([ T].*)?"
    r"|\d{1,2}[./]\d{1,2}[./]\d{2,4}",
    re.IGNORECASE,
)


@dataclass
class Table:
    """The rows under the headers of a table, and the faults of single cells."""

    source: str
    columns: tuple[str, ...]
    """The headers in lower case; columns without a header are left out."""
    head: Row
    """The row of headers."""
    rows: list[Row] = field(default_factory=list)
    damage: list[CellFault] = field(default_factory=list)
    """Faults of single cells."""
    above: list[Row] = field(default_factory=list)
    """Rows above the headers, such as a title."""
    beside: list[Cell] = field(default_factory=list)
    """Cells of a workbook that have no header."""
    encoding: str = ""
    """The encoding of the text; empty for UTF-8."""
    text: str | None = None
    """The text of CSV; None for a workbook."""
    merged: list[str] = field(default_factory=list)
    """Ranges of merged cells of a workbook, such as ``A3:A8``."""
    sheet: str = ""
    """The sheet of the workbook that was read."""
    more: list[Table] = field(default_factory=list)
    """Tables of other sheets of the workbook that add to this table."""
    other_sheets: list[str] = field(default_factory=list)
    """Names of the visible sheets that are not read."""

    @property
    def faults(self) -> list[Fault]:
        """The faults of single cells, with their places and sentences."""
        return [item.fault() for item in self.damage]

    def leave(self, others: Collection[Table]) -> None:
        """Move tables of other sheets from ``more`` to the sheets that are not read."""
        self.other_sheets += [other.sheet for other in others]
        self.more = [other for other in self.more if other not in others]


def read_table(path: str | Path, wanted: Collection[str] = (), optional: Collection[str] = ()) -> Table:
    """Read a CSV or XLSX file (its content says which), or standard input for ``-``.

    Parameters
    ----------
    path
        The file.
    wanted, optional
        Headers that must be present and that may be present, in any order and in either case; other columns are kept. A cell
        under one of these headers is refused if it is a date, a formula without a value, or an error. If neither is given, this
        holds for all cells.

    Raises
    ------
    InputError
        If the file cannot be read, is too large, or lacks a wanted header.
    """
    return parse_table(read_bytes(path, MOST_BYTES), source_name(path), wanted, optional)


def parse_table(raw: bytes, source: str, wanted: Collection[str] = (), optional: Collection[str] = ()) -> Table:
    """Read a table as ``read_table`` does, from the bytes of its file."""
    if is_workbook(raw, source):
        return _table(_sheets(raw, source)[0].rows(), source, tuple(wanted), tuple(optional))
    text = decode(raw, source)
    table = _table(_csv_rows(text, source), source, tuple(wanted), tuple(optional))
    table.text = text
    return table


def parse_loose_table(
    raw: bytes,
    source: str,
    known: Callable[[str], bool],
    wanted: Callable[[Sequence[str]], bool] = lambda _: True,
    more: Callable[[Sequence[str]], bool] = lambda _: False,
) -> Table:
    """Read a table that a person made: in any common encoding, with or without rows above the headers.

    Parameters
    ----------
    raw, source
        The bytes of the file, and its name.
    known
        Says whether the reader understands a header. Among the first ``MOST_ABOVE`` rows, the row with the most known headers
        is the row of headers. A cell under a known header is refused if it is a date, a formula without a value, or an error.
    wanted
        Says whether a row of headers belongs to such a table. The first visible sheet of a workbook with such a row is read; if
        no sheet has one, the first visible sheet.
    more
        Says whether a row of headers belongs to a further sheet that adds to the table.

    Raises
    ------
    InputError
        If the file cannot be read, is too large, or is empty.
    """
    if is_workbook(raw, source):
        sheets = _sheets(raw, source)
        sheet = next((sheet for sheet in sheets if _has_head(sheet, known, wanted)), sheets[0])
        table = _loose(sheet.rows(), source, known)
        table.merged, table.sheet = sheet.merged, sheet.name
        for other in sheets:
            if other is not sheet and _has_head(other, known, more):
                table.more.append(_loose(other.rows(beside=True), source, known))
                table.more[-1].sheet = other.name
        read = {sheet.name, *(other.sheet for other in table.more)}
        table.other_sheets = [other.name for other in sheets if other.name not in read]
        return table
    text, encoding = decode_any(raw, source)
    table = _loose(_csv_rows(text, source, known), source, known)
    table.text, table.encoding = text, encoding
    return table


def is_workbook(raw: bytes, source: str) -> bool:
    """Whether a file is a workbook, and not text.

    Raises
    ------
    InputError
        If it is a workbook of an older format, or a protected workbook.
    """
    if raw.startswith(b"\xd0\xcf\x11\xe0"):
        found, hint = said("an old or a protected workbook"), said("save it as XLSX without a password")
        raise InputError([Fault(source, 0, 0, said("cannot be read as a table"), found, KINDS, hint)])
    return raw.startswith(b"PK\x03\x04")


def _sheets(raw: bytes, source: str) -> list[Sheet]:
    from trayopt.formats.xlsx_in import Workbook

    return Workbook(raw, source).sheets


def looks_like_date(text: str) -> bool:
    """Whether a text looks like a date that a spreadsheet made from a run such as ``1-12``: ``12-Jan``, ``2024-01-12``."""
    text = text.strip()
    begins = text[:1].isdigit() or text[:3].lower() in _MONTHS
    return begins and _DATE.fullmatch(text) is not None


def _table(records: Iterable[Row], source: str, wanted: tuple[str, ...], optional: tuple[str, ...]) -> Table:
    filled = (record for record in records if not record.empty)
    head = next(filled, None)
    if head is None:
        raise _no_rows(source)
    names = [text.lower() for text in head.texts]
    used = {name.lower() for name in (*wanted, *optional)} or set(names)
    table = Table(source, tuple(name for name in names if name), head)
    faults = []
    for i, name in enumerate(names):
        if name in used and name in names[:i]:
            faults.append(
                head.spot_of(i).fault(
                    said("the header {name} is given twice", name=describe(name)),
                    hint=said("rename one of the columns"),
                )
            )
    for name in wanted:
        if name.lower() not in names:
            found = ", ".join(names[:20])
            hint = did_you_mean(name, names)
            faults.append(
                head.spot.fault(
                    said("there is no column '{name}'", name=name),
                    found=found,
                    allowed=", ".join((*wanted, *optional)),
                    hint=hint,
                )
            )
    if faults:
        raise InputError(faults)
    _fill(table, filled, {i for i, name in enumerate(names) if name in used})
    return table


def _loose(records: Iterable[Row], source: str, known: Callable[[str], bool]) -> Table:
    filled = (record for record in records if not record.empty)
    first = list(islice(filled, MOST_ABOVE))
    if not first:
        raise _no_rows(source)
    at = _head_at(first, known)
    head = first[at]
    table = Table(source, tuple(text.lower() for text in head.texts if text), head, above=first[:at])
    used = {i for i, text in enumerate(head.texts) if known(text)}
    _fill(table, chain(first[at + 1 :], filled), used, loose=True)
    return table


def _head_at(rows: Sequence[Row], known: Callable[[str], bool]) -> int:
    """Return the index of the row with the most known headers; 0 if no row has two."""
    counts = [sum(known(text) for text in row.texts if text) for row in rows]
    most = max(counts)
    return counts.index(most) if most > 1 else 0


def _has_head(sheet: Sheet, known: Callable[[str], bool], wanted: Callable[[Sequence[str]], bool]) -> bool:
    first = list(islice((row for row in sheet.rows() if not row.empty), MOST_ABOVE))
    return bool(first) and wanted(first[_head_at(first, known)].texts)


def _fill(table: Table, records: Iterable[Row], used: Collection[int], *, loose: bool = False) -> None:
    """Take over the rows under the headers and report their faults; faults of cells count only in the columns ``used``."""
    columns: dict[str, int] = {}
    for i, text in enumerate(table.head.texts):
        if text:
            columns[text.lower()] = i
    width = len(table.head.texts)
    for row in records:
        if len(table.rows) >= MOST_ROWS:
            raise InputError(
                [row.spot.fault(said("the table is too long"), allowed=said("up to {most:,} rows", most=MOST_ROWS))]
            )
        for i, (wrong, hint) in row.wrong.items() if row.wrong else ():
            if i in used:
                table.damage.append(CellFault(row, Telling(i, row.texts[i], wrong, hint=hint)))
        if len(row.texts) > width:
            _over(table, row, width, loose=loose)
        elif loose and len(row.texts) < width:
            row.texts += [""] * (width - len(row.texts))
        row.columns = columns
        table.rows.append(row)


def _over(table: Table, row: Row, width: int, *, loose: bool) -> None:
    """Report the first cell beyond the headers; in CSV it may mean that all cells of the row are shifted."""
    over = next((i for i in range(width, len(row.texts)) if row.texts[i]), None)
    if over is None:
        return
    if loose and row.raw is None:
        table.beside.append(row.at(over))
        return
    hint = said("put a text that holds the separator in quotes")
    text = said("a cell without a header over it")
    table.damage.append(CellFault(row, Telling(over, row.texts[over], text, hint=hint)))


def _no_rows(source: str) -> InputError:
    return InputError(
        [Fault(source, 1, 1, said("the table is empty"), allowed=said("a row of headers and rows under it"))]
    )


def names_separator(line: str) -> bool:
    """Whether the first line of a CSV file only names the separator, as ``sep=;`` does; it is not a row of the table."""
    return re.fullmatch(r"sep=.", line.strip()) is not None


def _csv_rows(text: str, source: str, known: Callable[[str], bool] | None = None) -> Iterator[Row]:
    lines = list(StringIO(text, newline=""))
    skip = 1 if lines and names_separator(lines[0]) else 0
    separator = lines[0].strip()[-1] if skip else _separator(lines, known)
    left = iter(lines[skip:])
    reader = csv.reader(left, delimiter=separator, strict=True)
    whole: dict[str, list[str]] = {}
    done = skip
    try:
        while done < len(lines):
            texts = whole.get(lines[done])
            if texts is not None:  # an equal line was a whole record before
                next(left)
                done += 1
                yield Row(source, done, texts, lines[done - 1], separator)
                continue
            if '"' not in lines[done] and len(lines[done]) < _MOST_PLAIN:
                raw = next(left)
                texts = list(map(str.strip, raw.split(separator))) if raw.strip("\r\n") else []
                done += 1
                if len(texts) > MOST_COLUMNS:
                    raise _too_wide(source, done, len(texts))
                whole[raw] = texts
                yield Row(source, done, texts, raw, separator)
                continue
            start, before = done, reader.line_num
            record = next(reader)
            done += reader.line_num - before
            if len(record) > MOST_COLUMNS:
                raise _too_wide(source, start + 1, len(record))
            texts = list(map(str.strip, record))
            yield Row(source, start + 1, texts, "".join(lines[start:done]), separator)
    except csv.Error as wrong:
        hint = said("close the quotes; write a quote inside of a text twice")
        raise InputError(
            [Fault(source, done + 1, 1, said("this is not valid CSV: {wrong}", wrong=str(wrong)), hint=hint)]
        ) from None


def _too_wide(source: str, line: int, columns: int) -> InputError:
    allowed = said("up to {most:,}", most=MOST_COLUMNS)
    return InputError([Fault(source, line, 1, said("too many columns"), f"{columns:,}", allowed)])


def _separator(lines: Sequence[str], known: Callable[[str], bool] | None) -> str:
    """Return the separator that gives the most known headers; among equals, the most frequent separator of the first line."""
    first = list(islice(filter(str.strip, lines), MOST_ABOVE))
    outside = re.sub(r'"[^"]*"', "", first[0]) if first else ""

    def headers(mark: str) -> int:
        rows = ([cell.strip('" \t\r\n') for cell in line.split(mark)] for line in first)
        return max((sum(known(cell) for cell in row if cell) for row in rows), default=0) if known is not None else 0

    return max(",;\t", key=lambda mark: (headers(mark), outside.count(mark)))
