"""Damage to a file: values of a tree, cells of a table, parts of a workbook, and the bytes of any of them."""

from __future__ import annotations

import csv
import io
import json
import random
import zipfile
from collections.abc import Callable, Iterator
from typing import Any

VALUES: tuple[Any, ...] = (
    None, True, False, 0, 1, -1, 2, 10**6, 10**30, 0.5, -0.0, 1e308, "", " ", "0", "1-48", "P:1-48", "P:48-1", "P:0-1", "Q:1/1/1",
    "left/1", "clockwise", "tray", "port", "must", "12:24", "NO", "2026-11-28", "\u202e", "\x00", "é" * 70, "x" * 5000,
    "../../etc/passwd",
    "-", "~", "=1+1", "<b>", [], {}, [[]], [{}], {"a": 1}, ["tray", "tray"], ["P:1-24"], [1, 2, 3], {"id": "P"},
)  # fmt: skip
"""What stands in the place of a value."""
KEYS = (
    "id",
    "kind",
    "schema",
    "trunks",
    "joins",
    "pins",
    "rules",
    "level",
    "built",
    "",
    "x" * 300,
    "é",
    "<<",
    "$schema",
)
TEXTS = (
    "\t", "\ufeff", "\x00", "\x85", "'", '"', "{", "[", "]", "}", ": ", "- ", "&a ", "*a ", "!!python/object:os.system ",
    "#", "|", "%YAML 9.9\n", "---\n", "...\n", ">", "\r", "\n\n", "NaN", "Infinity", "1e999", "0x10", "0o7", ",", ";",
)  # fmt: skip
"""What is put into a text anywhere."""


def places(tree: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Give the path of every value in a tree but the root."""
    inner = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, value in inner:
        yield (*at, key)
        yield from places(value, (*at, key))


def in_tree(rng: random.Random, tree: Any) -> Any:
    """Damage one to three places of a tree of lists and mappings."""
    tree = json.loads(json.dumps(tree))
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        every = list(places(tree))
        if not every:
            return rng.choice(VALUES)
        path = rng.choice(every)
        holder = tree
        for key in path[:-1]:
            holder = holder[key]
        key = path[-1]
        change = rng.randrange(7)
        if change < 3:
            holder[key] = rng.choice(VALUES)
        elif change == 3:
            del holder[key]
        elif change == 4:  # a copy of the value, beside it or deep within it
            other = rng.choice(every)
            value: Any = tree
            for part in other:
                value = value[part] if isinstance(value, dict | list) and _has(value, part) else value
            holder[key] = json.loads(json.dumps(value))
        elif change == 5 and isinstance(holder, dict):
            holder[rng.choice(KEYS)] = holder.pop(key)
        elif change == 5:
            holder.append(json.loads(json.dumps(holder[key])))
        else:
            old = holder[key]
            holder[key] = _near(rng, old)
    return tree


def _has(holder: Any, key: Any) -> bool:
    return key in holder if isinstance(holder, dict) else isinstance(key, int) and key < len(holder)


def _near(rng: random.Random, value: Any) -> Any:
    """Give a value that is nearly the same."""
    if isinstance(value, bool) or value is None:
        return rng.choice(VALUES)
    if isinstance(value, int | float):
        return rng.choice((value + 1, value - 1, -value, value * 1000, str(value), [value], value + 0.5))
    if isinstance(value, str):
        return rng.choice((value + "x", value[:-1], value.upper(), f" {value}", value * 40, value.replace("-", "–")))
    return rng.choice((list(value), {"a": value}, [value], str(value)))


def in_text(rng: random.Random, data: bytes) -> bytes:
    """Damage the bytes of a file in one to three places."""
    for _ in range(rng.choice((1, 1, 2, 3))):
        at = rng.randrange(len(data) + 1)
        to = min(len(data), at + rng.choice((1, 1, 2, 8, 40)))
        change = rng.randrange(8)
        if change == 0:
            data = data[:at] + data[to:]
        elif change == 1:
            data = data[:at] + data[at:to] * rng.choice((2, 2, 50)) + data[to:]
        elif change == 2:
            data = data[:at]
        elif change == 3:
            data = data[:at] + bytes(rng.randrange(256) for _ in range(3)) + data[to:]
        elif change == 4:
            lines = data.splitlines(keepends=True)
            rng.shuffle(lines) if rng.random() < 0.2 else lines.insert(0, rng.choice(lines or [b""]))
            data = b"".join(lines)
        elif change == 5:
            data = data.decode("utf-8", "replace").encode(rng.choice(("utf-16", "latin-1", "utf-8-sig")), "replace")
        else:
            data = data[:at] + rng.choice(TEXTS).encode() * rng.choice((1, 1, 1, 200)) + data[at:]
    return data


def in_cells(rng: random.Random, rows: list[list[str]]) -> list[list[str]]:
    """Damage one to four cells, rows or columns of a table."""
    rows = [list(row) for row in rows]
    for _ in range(rng.choice((1, 1, 2, 4))):
        row = rng.choice(rows)
        at = rng.randrange(len(row)) if row else 0
        change = rng.randrange(8)
        if change < 3 and row:
            row[at] = str(rng.choice(VALUES))
        elif change == 3 and row:
            row[at] = str(_near(rng, row[at]))
        elif change == 4:
            rows.insert(rng.randrange(len(rows)), list(row))
        elif change == 5:
            for other in rows:
                del other[at : at + 1]
        elif change == 6:
            row.extend(["x"] * rng.choice((1, 30)))
        elif row:
            other = rng.choice(rows)
            row[at], other[-1:] = "", row[at : at + 1]
    return rows


def as_csv(rng: random.Random, rows: list[list[str]]) -> bytes:
    """Write a table as text, now and then with another delimiter."""
    stream = io.StringIO()
    csv.writer(stream, delimiter=rng.choice(",,,;\t")).writerows(rows)
    return stream.getvalue().encode("utf-8", "surrogatepass")


def as_workbook(rng: random.Random, rows: list[list[str]]) -> bytes:
    """Write a table as a workbook, with formulas, errors, dates and merged cells in it, and damage its parts."""
    import datetime

    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in rows:
        sheet.append([_cell(text) for text in row])
    for _ in range(rng.randrange(3)):
        cell: Any = sheet.cell(rng.randint(1, len(rows)), rng.randint(1, 6))
        cell.value = rng.choice((datetime.date(2026, 1, 12), "=A1", "=1/0", 1e300, True, "#REF!"))
    if rng.random() < 0.1:
        sheet.merge_cells("A1:B2")
    stream = io.BytesIO()
    book.save(stream)
    return in_parts(rng, stream.getvalue()) if rng.random() < 0.4 else stream.getvalue()


def _cell(text: str) -> str:
    return "".join(char for char in text[:3000] if char >= " ")


def in_parts(rng: random.Random, data: bytes) -> bytes:
    """Damage a part of a packed file, or the pack itself."""
    if rng.random() < 0.3:
        return in_text(rng, data)
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new:
        names = old.namelist()
        hit = rng.choice(names)
        for name in names:
            text = old.read(name)
            if name == hit:
                change = rng.randrange(4)
                if change == 0:
                    continue
                text = (in_text(rng, text), b"", b"<!DOCTYPE a [<!ENTITY b 'c'>]>" + text)[change - 1]
            new.writestr(name, text)
    return stream.getvalue()


Damage = Callable[[random.Random], bytes]
