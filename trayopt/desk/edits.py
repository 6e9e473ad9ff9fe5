"""The job as tables: cells are read from its YAML and written back into it; comments, order and quotes stay."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from trayopt.desk.words import LANGUAGES, words_of
from trayopt.domain.base import DIVIDE_AT, TRAVELS
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.ranges import Run, parse_run
from trayopt.domain.said import said
from trayopt.errors import InputError
from trayopt.formats.yaml_edit import YamlFile

MOST_CELLS = 50_000
Value = Any


@dataclass(frozen=True)
class Column:
    """A column of a table: its key in the file, the reader of its cells, and the words that it can hold, if they are few.

    A ``rare`` column is shown only if a row uses it, or on demand.
    """

    key: str
    read: Callable[[str], Value]
    choices: tuple[str, ...] = ()
    rare: bool = False


def _text(cell: str) -> Value:
    return cell


THOUSANDS = re.compile(r"-?\d{1,3}(,\d{3})+(\.\d+)?")
"""A number whose commas part thousands; any other comma is that of a decimal, as a spreadsheet in German writes it."""


def number_of(cell: str) -> Value:
    """Read a number; any other text stays text, so that the reader of jobs reports its fault at the cell."""
    plain = re.sub(r"\s", "", cell).removesuffix("mm")
    plain = plain.replace(",", "") if THOUSANDS.fullmatch(plain) else plain.replace(",", ".")
    for kind in (int, float):
        try:
            return kind(plain)
        except ValueError:
            continue
    return cell


def _listed(cell: str) -> Value:
    parts = [part.strip() for part in cell.replace(";", ",").split(",") if part.strip()]
    return parts[0] if parts == ["any"] else parts


def _numbers(cell: str) -> Value:
    return [number_of(part) for part in _listed(cell)]


def _words(cell: str) -> Value:
    parts: list[str] = _listed(cell)
    return parts[0] if len(parts) == 1 else parts


def _flag(cell: str) -> Value:
    return {"true": True, "yes": True, "x": True, "ja": True, "false": False, "no": False, "nein": False}.get(
        cell.lower(), cell
    )


def _sided(read: Callable[[str], Value]) -> Callable[[str], Value]:
    """Make a reader of a cell that may have a value for each end of a trunk that goes through: ``clockwise / either``."""

    def read_sides(cell: str) -> Value:
        parted = cell.replace(",", "/") if read is _text else cell
        if "/" not in parted:
            return read(cell)
        sides = [read(side.strip()) for side in parted.split("/")]
        return [side[0] if read is _listed and isinstance(side, list) and len(side) == 1 else side for side in sides]

    return read_sides


def _ribbons(cell: str) -> Value:
    parts = [number_of(part) for part in _listed(cell)]
    return parts[0] if len(parts) == 1 else parts


TRUNKS = (
    Column("id", _text), Column("cable", _text), Column("ports", _sided(_listed)),
    Column("travel", _sided(_text), ("", *TRAVELS, "either")), Column("loops", _sided(_numbers)),
    Column("exposed_mm", number_of),
    Column("transition_mm", _sided(number_of)), Column("divide_at", _words, ("", *DIVIDE_AT, ", ".join(DIVIDE_AT))),
    Column("idle", _text, ("", "coiled", "cut_back")), Column("ribbons", _ribbons, rare=True),
    Column("through", _flag, ("", "true"), rare=True), Column("toward", _listed, rare=True),
    Column("slack_mm", number_of, rare=True), Column("cut", _numbers, rare=True),
)  # fmt: skip
JOINS = Column("a", _text), Column("b", _text), Column("name", _text)
APART = Column("joins", _listed), Column("scope", _text, ("", "tray", "stack"))
PINS = (
    Column("leg", _text), Column("stack", _text), Column("position", number_of), Column("trunk", _text),
    Column("port", _text), Column("travel", _text, ("", *TRAVELS)), Column("loops", number_of),
    Column("divide_at", _text, ("", *DIVIDE_AT)), Column("built", _flag, ("", "true")),
    Column("ribbons", _ribbons, rare=True), Column("measured_mm", number_of, rare=True),
    Column("tries_left", number_of, rare=True),
)  # fmt: skip
HEAD = Column("title", _text), Column("enclosure", _text), Column("tubes", _text)
TABLES: dict[str, tuple[Column, ...]] = {"trunks": TRUNKS, "joins": JOINS, "apart": APART, "pins": PINS}
IN_QUOTES = frozenset({"a", "b", "leg", "name"})
"""Keys whose text is written in quotes, so that no reader of YAML takes it for something else."""


def shown(value: Value) -> str:
    """Write a value of the file as a cell."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "{…}"
    if isinstance(value, Sequence) and not isinstance(value, str):
        sides = any(isinstance(item, Sequence) and not isinstance(item, str) for item in value)
        return (" / " if sides else ", ").join(shown(item) for item in value)
    return str(value)


def is_fixed(value: Value) -> bool:
    """Whether a form cannot change a cell, because it holds an object that is written inline."""
    return isinstance(value, Mapping)


def rows_of(file: YamlFile, table: str) -> list[Mapping[str, Value]]:
    """Return the rows of a table in the file; an empty list if the file names another file for them."""
    found = file.get((table,))
    return [row if isinstance(row, Mapping) else {} for row in found] if isinstance(found, list) else []


def put_cells(file: YamlFile, table: str, cells: Iterable[tuple[int, str, str]], job: Job | None) -> None:
    """Put texts into cells; rows after the last row are made.

    Parameters
    ----------
    file
        The job, which is changed.
    table
        ``trunks``, ``joins``, ``apart`` or ``pins``.
    cells
        For each cell its row (counted from 0), key and text; an empty text removes the key.
    job
        The job as it was read; if its joins are in a table, they are written into the file.

    Raises
    ------
    InputError
        If there is no such table or column.
    """
    columns = _columns(table)
    given = list(cells)
    if len(given) > MOST_CELLS:
        raise InputError.one(
            said("this is too much to paste"), source="desk", allowed=said("up to {most:,} cells", most=MOST_CELLS)
        )
    inline(file, table, job)
    for row, key, text in sorted(given, key=lambda cell: cell[0]):
        column = columns.get(key)
        if column is None or not 0 <= row <= len(rows_of(file, table)):
            raise InputError.one(
                said("there is no such cell in {table}", table=table), source="desk", found=f"{key} {row}"
            )
        value = column.read(_meant(column, text.strip())) if text.strip() else None
        if row == len(rows_of(file, table)):
            if value is None:
                continue
            file.add((table,), {})
        _put(file, (table, row), key, value, columns)


def _meant(column: Column, text: str) -> str:
    """Return the choice of a column whose word, in any language of the desk, a cell holds; else the cell as it is."""
    words = {
        words_of(language)(f"{column.key}.{choice}").lower(): choice
        for language in LANGUAGES
        for choice in column.choices
        if f"{column.key}.{choice}" in words_of(language).entries
    }
    return words.get(text.lower(), text)


def names_of(column: Column) -> list[str]:
    """Return the headers under which a pasted column is known: its key, and its word in each language of the desk."""
    return list(dict.fromkeys([column.key, *(words_of(language)(f"column.{column.key}") for language in LANGUAGES)]))


def _put(file: YamlFile, row: tuple[str | int, ...], key: str, value: Value, columns: Mapping[str, Column]) -> None:
    """Put a value into a row at the place that the order of columns gives it; comments stay."""
    holder = file.get(row)
    if not isinstance(holder, Mapping):
        return
    if value is None:
        file.take((*row, key))
    elif key in holder:
        file.put((*row, key), _quoted(key, value))
    else:
        order = list(columns)
        before = [name for name in holder if name in order and order.index(name) < order.index(key)]
        file.insert(row, len(before), key, _quoted(key, value))


def _quoted(key: str, value: Value) -> Value:
    from ruamel.yaml.scalarstring import DoubleQuotedScalarString

    return DoubleQuotedScalarString(value) if key in IN_QUOTES and isinstance(value, str) else value


def take_rows(file: YamlFile, table: str, rows: Iterable[int], job: Job | None) -> None:
    """Remove rows from a table."""
    _columns(table)
    inline(file, table, job)
    for row in sorted(set(rows), reverse=True):
        if 0 <= row < len(rows_of(file, table)):
            file.take((table, row))


def inline(file: YamlFile, table: str, job: Job | None) -> None:
    """Write the joins of a table into the job, so that they can be changed there; the table file stays as it is."""
    if table == "joins" and isinstance(file.get(("joins",)), str):
        if job is None:
            raise InputError.one(
                said("the joins cannot be read"), source="desk", hint=said("correct their table first")
            )
        rows = [{"a": str(join.a), "b": str(join.b), "name": join.name} for join in job.joins]
        file.put(("joins",), [{key: _quoted(key, value) for key, value in row.items()} for row in rows])


def put_head(file: YamlFile, key: str, text: str) -> None:
    """Change title, enclosure or tubes."""
    if key not in {column.key for column in HEAD}:
        raise InputError.one(said("there is no such cell"), source="desk", found=key)
    if text.strip():
        file.put((key,), text.strip())
    else:
        file.take((key,))


def put_rule(file: YamlFile, rule: str, setting: Mapping[str, str], usual: Mapping[str, str]) -> None:
    """Write the setting of a rule in the shortest form; usual values are left out.

    Parameters
    ----------
    file
        The job, which is changed.
    rule
        The id of the rule.
    setting, usual
        Level, weight and parameters as text: the wanted values, and the values if the job does not mention the rule.
    """
    changed = {key: text.strip() for key, text in setting.items() if text.strip() and text.strip() != usual.get(key)}
    if not changed:
        file.take(("rules", rule))
        return
    level = changed.pop("level", None)
    value: Value = {key: number_of(text) for key, text in changed.items()}
    if level is not None:
        value = {"level": level, **value} if value else level
    if not isinstance(file.get(("rules",)), Mapping):
        file.put(("rules",), {})
    file.put(("rules", rule), value)


def _columns(table: str) -> dict[str, Column]:
    if table not in TABLES:
        raise InputError.one(said("there is no such table"), source="desk", found=table, allowed=", ".join(TABLES))
    return {column.key: column for column in TABLES[table]}


# -- locks -----------------------------------------------------------------------------------------------------------


def pin_leg(file: YamlFile, job: Job, leg: Leg, place: Place, *, built: bool = False) -> None:
    """Pin a leg to a tray."""
    run = str(Run(leg.trunk, *job.subunit(leg).leg_run(leg)))
    unpin(file, run)
    pin = {"leg": _quoted("leg", run), "stack": place.stack, "position": place.position}
    file.add(("pins",), pin | ({"built": True} if built else {}))


def pin_trunk(file: YamlFile, trunk: str, way: Mapping[str, Value], *, built: bool = False) -> None:
    """Pin the way of a trunk."""
    unpin(file, trunk)
    pin = {"trunk": trunk, **{key: value for key, value in way.items() if value is not None}}
    file.add(("pins",), pin | ({"built": True} if built else {}))


def unpin(file: YamlFile, subject: str) -> None:
    """Remove the pins of a leg, by its fibres, or of a trunk.

    Raises
    ------
    InputError
        If a pin is built.
    """
    found = [(i, row) for i, row in enumerate(rows_of(file, "pins")) if subject in {_run(row), row.get("trunk")}]
    if any(row.get("built") is True for _, row in found):
        raise InputError.one(
            said("{subject} is built", subject=subject),
            source="desk",
            hint=said("the table of pins can take the mark away"),
        )
    for i, _ in reversed(found):
        file.take(("pins", i))


def _run(row: Mapping[str, Value]) -> str | None:
    """Return the fibres that a pin names, written as a run; None if it names none."""
    try:
        return str(parse_run(row["leg"]))
    except (KeyError, TypeError, ValueError, AttributeError):
        return None
