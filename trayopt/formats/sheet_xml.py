"""The parts of a workbook (ECMA-376, Office Open XML): its sheets, shared texts, date styles, and the cells of a sheet.

A sheet is read as a stream, cell by cell: a long one is neither held in memory nor made a tree of.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from functools import lru_cache
from typing import IO, NamedTuple
from xml.parsers import expat

from trayopt.formats.cells import AS_TEXT, MOST_COLUMNS

CHUNK = 1 << 16
DATE = "the spreadsheet turned this cell into a date", AS_TEXT
NO_VALUE = "a formula without a value", "open and save the file in a spreadsheet, or type the value"
ERROR = "an error of the spreadsheet", "type the value"
ERRORS = {"#REF!", "#N/A", "#VALUE!", "#NAME?", "#DIV/0!", "#NUM!", "#NULL!"}

_DATE_FORMATS = {*range(14, 23), *range(27, 37), *range(45, 48), *range(50, 59)}
"""Number formats of dates and times that need no code of their own (ECMA-376-1, section 18.8.30)."""
_LITERAL = re.compile(r'"[^"]*"|\[(?!hh?\]|mm?\]|ss?\])[^\]]*\]')
_DATE_SIGN = re.compile(r"(?<![_\\])[dmhysDMHYS]")


class DamagedError(ValueError):
    """XML that is no part of a workbook."""


class TooWideError(ValueError):
    """A cell beyond the most columns; ``args`` are its row and its column, counted from 0."""


class SheetRow(NamedTuple):
    """A row: its number, the texts of its cells up to the last that is filled, and by column what makes a cell unusable."""

    number: int
    texts: list[str]
    wrong: Mapping[int, tuple[str, str]]


class Tag(NamedTuple):
    """An element of a small part: its name and that of the element round it, without prefixes, and its attributes."""

    name: str
    inside: str
    values: Mapping[str, str]


def tags(raw: bytes) -> list[Tag]:
    """Give the elements of a small part, such as the list of sheets, in their order."""
    found: list[Tag] = []
    open_: list[str] = [""]

    def start(name: str, values: dict[str, str]) -> None:
        local = name.rpartition(":")[2]
        found.append(Tag(local, open_[-1], {key.rpartition(":")[2]: value for key, value in values.items()}))
        open_.append(local)

    parser = _parser()
    parser.StartElementHandler = start
    parser.EndElementHandler = lambda _: open_.pop()
    parser.Parse(raw, True)
    return found


def date_styles(raw: bytes) -> list[bool]:
    """Tell of each cell style whether it shows a number as a date or a time."""
    codes: dict[str, str] = {}
    styles = []
    for tag in tags(raw):
        if tag.name == "numFmt":
            codes[tag.values.get("numFmtId", "")] = tag.values.get("formatCode", "")
        elif tag.name == "xf" and tag.inside == "cellXfs":
            styles.append(_is_date(tag.values.get("numFmtId", "0"), codes))
    return styles


def _is_date(number: str, codes: Mapping[str, str]) -> bool:
    if number in codes:
        return _DATE_SIGN.search(_LITERAL.sub("", codes[number].split(";")[0])) is not None
    return number.isdigit() and int(number) in _DATE_FORMATS


def shared_texts(stream: IO[bytes]) -> list[str]:
    """Give the texts that cells refer to by number, stray spaces taken off; how they are spoken is left out."""
    found: list[str] = []
    parts: list[str] = []
    spoken = 0

    def start(name: str, _: object) -> None:
        nonlocal spoken
        local = name.rpartition(":")[2]
        if local == "t" and not spoken:
            parser.CharacterDataHandler = parts.append
        elif local == "rPh":
            spoken += 1

    def end(name: str) -> None:
        nonlocal spoken
        parser.CharacterDataHandler = None
        local = name.rpartition(":")[2]
        if local == "si":
            found.append("".join(parts).strip())
            parts.clear()
        elif local == "rPh":
            spoken -= 1

    parser = _parser()
    parser.StartElementHandler, parser.EndElementHandler = start, end
    while chunk := stream.read(CHUNK):
        parser.Parse(chunk, False)
    parser.Parse(b"", True)
    return found


def sheet_rows(
    stream: IO[bytes], shared: Sequence[str], dates: Sequence[bool], merged: list[str], *, from_1904: bool = False
) -> Iterator[SheetRow]:
    """Give the rows of a sheet that are not empty.

    Parameters
    ----------
    stream
        The XML of the sheet.
    shared, dates
        The shared texts, and of each cell style whether it is one of dates.
    merged
        Takes the ranges of merged cells, such as ``A3:A8``, which stand behind all rows.
    from_1904
        Whether days are counted from 1904 on.

    Raises
    ------
    DamagedError, TooWideError, expat.ExpatError
        Where it is no sheet, or a cell stands beyond the most columns.
    """
    rows: list[SheetRow] = []
    parser = _parser()
    parser.StartElementHandler, parser.EndElementHandler = _handlers(parser, shared, dates, merged, rows, from_1904)
    more = True
    while more:
        chunk = stream.read(CHUNK)
        more = bool(chunk)
        parser.Parse(chunk, not more)
        yield from rows
        rows.clear()


def _handlers(
    parser: expat.XMLParserType,
    shared: Sequence[str],
    dates: Sequence[bool],
    merged: list[str],
    rows: list[SheetRow],
    from_1904: bool,
) -> tuple[Callable[[str, dict[str, str]], None], Callable[[str], None]]:
    """Make what hears the elements of a sheet: plain functions and local names, for there are millions of them."""
    known: dict[str, int] = {}
    texts: list[str] = []
    wrong: dict[int, tuple[str, str]] = {}
    value: list[str] = []
    formula: list[str] = []
    row = column = 0
    kind, style = "n", ""
    has_value = has_formula = False
    prefix: str | None = None
    is_row, is_cell, is_value, is_text, is_formula = "row", "c", "v", "t", "f"

    def start(name: str, values: dict[str, str]) -> None:
        nonlocal \
            prefix, \
            row, \
            column, \
            kind, \
            style, \
            has_value, \
            has_formula, \
            is_row, \
            is_cell, \
            is_value, \
            is_text, \
            is_formula
        if name == is_cell:
            at = values.get("r")
            if at is None:
                column += 1
            else:
                letters = at.rstrip("0123456789")
                column = known[letters] if letters in known else known.setdefault(letters, _column(letters))
            kind, style = values.get("t", "n"), values.get("s", "")
            has_value = has_formula = False
        elif name == is_value:
            has_value = True
            parser.CharacterDataHandler = value.append
        elif name == is_text:
            parser.CharacterDataHandler = value.append
        elif name == is_row:
            at = values.get("r")
            row, column = row + 1 if at is None else int(at), -1
        elif name == is_formula:
            has_formula = True
            parser.CharacterDataHandler = formula.append
        elif prefix is None:
            prefix = name.rpartition(":")[0]
            if name.rpartition(":")[2] != "worksheet":
                raise DamagedError(name)
            if prefix:
                is_row, is_cell, is_value, is_text, is_formula = (
                    f"{prefix}:{one}" for one in ("row", "c", "v", "t", "f")
                )
        elif name.rpartition(":")[2] == "rPh":
            parser.StartElementHandler = None
        elif name.rpartition(":")[2] == "mergeCell":
            merged.append(values.get("ref", ""))

    def end(name: str) -> None:
        nonlocal wrong
        parser.CharacterDataHandler = None
        if name == is_cell:
            if not (value or formula or has_formula):
                return
            said = value[0] if len(value) == 1 else "".join(value)
            value.clear()
            if kind == "s":
                text = shared[int(said)] if said else ""
            elif kind == "n":
                dated = said and style and dates[int(style)]
                text = _moment(said, from_1904) if dated else _number(said)
                if dated:
                    wrong[column] = DATE
            else:
                text = _bool(said) if kind == "b" else said.strip()
                if kind == "d":
                    wrong[column] = DATE
            if not said and has_formula and not (kind == "str" and has_value):
                text = f"={''.join(formula)}"
                wrong[column] = NO_VALUE
            formula.clear()
            if not text:
                return
            if text in ERRORS:
                wrong[column] = ERROR
            if column >= MOST_COLUMNS:
                raise TooWideError(row, column)
            if column < len(texts):
                texts[column] = text
            else:
                texts.extend([""] * (column - len(texts)))
                texts.append(text)
        elif name == is_row:
            if texts:
                rows.append(SheetRow(row, texts.copy(), wrong))
                texts.clear()
                wrong = {}
        elif parser.StartElementHandler is None and name.rpartition(":")[2] == "rPh":
            parser.StartElementHandler = start

    return start, end


def _column(letters: str) -> int:
    """Give the column of ``A``, ``B`` … ``AA``, counted from 0."""
    if not (letters.isascii() and letters.isalpha() and letters.isupper() and len(letters) < 4):
        raise DamagedError(letters)
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - ord("A") + 1
    return number - 1


def _bool(said: str) -> str:
    return {"1": "true", "0": "false"}.get(said, said)


@lru_cache(maxsize=10_000)
def _number(said: str) -> str:
    """Write a number as a person sees it: without a needless ``.0``."""
    if not said:
        return ""
    if said.isdigit():
        return str(int(said))
    number = float(said)
    return str(int(number)) if number.is_integer() else str(number)


def _moment(said: str, from_1904: bool) -> str:
    """Write a number of days as the date and time that it stands for, or as a time where it is less than a day."""
    days = float(said)
    begin = (
        datetime(1904, 1, 1) if from_1904 else datetime(1899, 12, 30 + (1 <= days < 60))
    )  # 1900 counts as a leap year
    try:
        moment = begin + timedelta(seconds=round(days * 86_400))
    except (OverflowError, ValueError):
        return said
    return str(moment.time() if 0 <= days < 1 else moment)


def _parser() -> expat.XMLParserType:
    """Make a parser that takes no declarations of its own kinds of documents: a workbook has none, a bomb has."""
    parser = expat.ParserCreate()
    parser.buffer_text = True

    def refuse(*_: object) -> None:
        raise DamagedError("a document type")

    parser.StartDoctypeDeclHandler = refuse
    return parser
