"""Reading tables that come back from the wall: columns are known by key, or by header in any language."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from trayopt.crewsheets.tables import unguarded
from trayopt.crewsheets.words import LANGUAGES, words_of

if TYPE_CHECKING:
    from trayopt.errors import Fault
    from trayopt.formats.cells import Row


class Named(NamedTuple):
    """A column to read: its key, the names that its header may have, and whether it is required."""

    key: str
    names: tuple[str, ...]
    needed: bool


def headers(column: Named) -> list[str]:
    """Return every header that a column may have: its keys, and the catalogues' words with or without a unit."""
    found = list(column.names)
    for language in LANGUAGES:
        words = words_of(language)
        for name in column.names:
            text = words.entries.get(f"column.{name}")
            if text is not None:
                found += [text, f"{text} [mm]", f"{text} [{words('unit.feet')}]"]
    return [name.lower() for name in dict.fromkeys(found)]


def named_table(path: str, columns: tuple[Named, ...]) -> tuple[list[tuple[Row, dict[str, str]]], list[Fault]]:
    """Read a table: return every row with its cells by column key, without guards, and the faults of single cells.

    Raises
    ------
    InputError
        If the table cannot be read or lacks a required column.
    """
    from trayopt.errors import Fault, InputError
    from trayopt.formats.tables_in import read_table

    known = {column.key: headers(column) for column in columns}
    table = read_table(path, optional=[name for names in known.values() for name in names])
    at = {key: next((name for name in names if name in table.columns), None) for key, names in known.items()}
    missing = [column for column in columns if column.needed and at[column.key] is None]
    if missing:
        found = ", ".join(table.columns[:20])
        raise InputError(
            [
                Fault(table.source, 1, 1, f"there is no column '{column.names[0]}'", found, ", ".join(column.names))
                for column in missing
            ]
        )
    rows = []
    for row in table.rows:
        rows.append((row, {key: unguarded(row.get(name).text) if name else "" for key, name in at.items()}))
    return rows, list(table.faults)
