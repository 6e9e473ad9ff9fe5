"""Headers of hand-made tables in English and German: the names of columns, and the two shapes of a table."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from trayopt.domain.said import said
from trayopt.errors import InputError
from trayopt.formats.tables_in import Table
from trayopt.formats.validate import did_you_mean

Shape = Literal["legs", "runs"]

_PLACE = {
    "stack": ("stack", "stapel"),
    "position": ("position", "pos", "level", "platz", "ebene", "lage"),
    "tray": ("tray", "place", "tray place", "kassette", "spleißkassette"),
    "end": ("end", "entry end", "ende"),
    "built": ("built", "done", "spliced", "gebaut", "fertig", "erledigt", "gespleißt"),
}
_WAY = {
    "port": ("port", "einführung"),
    "travel": ("travel", "direction", "way round", "laufrichtung", "richtung"),
    "loops": ("loops", "slack loops", "umläufe", "umlauf"),
    "divide_at": (
        "divide_at", "divided at", "divided", "parted at", "breakout at", "aufgeteilt", "aufgeteilt an", "geteilt an",
        "aufteilung",
    ),
    "ribbons": ("ribbon work", "work on ribbons", "bändchenarbeit", "arbeit an bändchen"),
}  # fmt: skip
_LEG = {
    "trunk": ("trunk", "cable", "kabel"),
    "leg": ("leg", "strang"),
    "fibres": ("fibres", "fibers", "fibre", "fiber", "fasern", "faser"),
    "cut": ("cut", "cut length", "schnittlänge"),
}
_CABLE = ("cable type", "kabeltyp")
_SIDE = {
    "trunk": ("trunk", "cable", "kabel"),
    "tube": ("tube", "subunit", "buffer tube", "unit", "rohr", "einheit", "bündelader"),
    "tube colour": (
        "tube colour", "tube color", "unit colour", "unit color", "farbe der einheit", "farbe des rohrs", "rohrfarbe",
    ),
    "ribbon": ("ribbon", "bändchen"),
    "ribbon colour": ("ribbon colour", "ribbon color", "farbe des bändchens", "bändchenfarbe"),
    "fibres": ("fibres", "fibers", "fibre", "fiber", "fasern", "faser"),
    "seat": ("fibre in ribbon", "fiber in ribbon", "fibres in ribbon", "fibers in ribbon", "faser im bändchen"),
    "seat colour": ("fibre colour", "fiber color", "fibre color", "fiber colour", "farbe der faser", "faserfarbe"),
}  # fmt: skip
_SIDE_WORDS = {"from": ("from", "von", "a"), "to": ("to", "nach", "b")}
_RUN = {
    "sleeve": ("sleeve", "spleißschutz"),
    "count": ("splices", "anzahl spleiße", "count", "anzahl"),
}
_ONLY: dict[Shape, tuple[str, ...]] = {"legs": ("leg", "cut"), "runs": ("sleeve", "count")}
"""Columns that are read in tables of one shape only."""
_NOTES = (
    "no", "nr", "number", "row", "line", "item", "zeile", "batch", "los", "circuit", "verbindung", "remark", "remarks",
    "note", "notes", "comment", "comments", "bemerkung", "bemerkungen", "findings", "label", "schild", "date", "datum",
    "by", "splicer", "travels in", "läuft in",
    "entrance and tie down", "end of tube", "protection", "ribbon cut", "measured mark", "correction",
    "abfangung am eingang", "rohrende", "schutz", "schnitt bändchen", "gemessene marke", "korrektur",
)  # fmt: skip
SIDES = ("from", "to")
PARTS = ("tube", "ribbon", "seat")
"""The parts that locate a fibre in its trunk, from the outside in; each may be given by number and by colour."""
_FEET = re.compile(r"\bft in\b")
"""Unit of lengths that are rounded to a part of an inch, so that they cannot be compared with lengths in mm."""
_UNIT = re.compile(r"\s*[\[(]?\b(mm|ft in)\b[\])]?$")
_DIGIT = re.compile("[0-9]")
_SIGNS = re.compile(r"[\s_.\-]+")


def _names() -> dict[str, str]:
    """Return every known header, in plain form, with the column that it means."""
    found: dict[str, str] = {}
    for columns in (_PLACE, _WAY, _LEG, _RUN):
        for column, words in columns.items():
            found.update(dict.fromkeys(words, column))
    found.update(dict.fromkeys(_CABLE, "cable"))
    for side, starts in _SIDE_WORDS.items():
        for start in starts:
            if len(start) > 1:
                found[start] = side
            for columns in (_SIDE, _WAY):
                for column, words in columns.items():
                    found.update(dict.fromkeys((f"{start} {word}" for word in words), f"{side} {column}"))
            found.update(dict.fromkeys((f"{start} {word}" for word in _CABLE), f"{side} cable"))
        for word in (*_SIDE["fibres"], *_SIDE["trunk"]):
            column = "trunk" if word in _SIDE["trunk"] else "fibres"
            found[f"{word} {starts[-1]}"] = f"{side} {column}"
    found["ribbons"] = "ribbons"
    found.update(dict.fromkeys(_NOTES, "note"))
    return {_plain(header): column for header, column in found.items()}


def _plain(text: str) -> str:
    """Write a header in plain form, without case, separators, umlauts and the unit of length."""
    text = _SIGNS.sub(" ", text.lower()).strip(" :*#")
    for letter, written in (("ä", "ae"), ("ö", "oe"), ("ü", "ue"), ("ß", "ss")):
        text = text.replace(letter, written)
    return _UNIT.sub("", text).strip()


NAMES: dict[str, str] = _names()
LEG_COLUMNS = (
    "trunk", "fibres", "stack", "position", "port", "travel", "loops", "divide_at", "ribbons", "end", "cut", "built",
)  # fmt: skip
RUN_COLUMNS = (
    *(f"{side} {column}" for side in SIDES for column in ("trunk", "tube", "ribbon", "fibres")),
    "tray", "sleeve", "built",
)  # fmt: skip


def column_of(header: str) -> str | None:
    """Return the column that a header means; ``note`` for a known header of notes, None for an unknown header."""
    if _DIGIT.search(header):  # no header that is known has a digit, and most cells do
        return None
    column = NAMES.get(_plain(header))
    return "note" if column == "cut" and _FEET.search(header.lower()) else column


def is_read(header: str) -> bool:
    """Whether a header means a column of a plan."""
    return column_of(header) not in {None, "note"}


def is_plan(headers: Sequence[str]) -> bool:
    """Whether a row of headers belongs to a plan: it has fibres, and a tray for them."""
    columns = {column_of(header) for header in headers if header}
    has_fibres = columns & {"fibres", *SIDES, *(f"{side} {part}" for side in SIDES for part in ("fibres", "seat"))}
    return bool(has_fibres) and ("tray" in columns or {"stack", "position"} <= columns)


def is_ways(headers: Sequence[str]) -> bool:
    """Whether a row of headers belongs to a list of trunks with their ways and without fibres."""
    columns = {column_of(header) for header in headers if header}
    lies = {"fibres", "stack", "position", "tray", *SIDES}
    return "trunk" in columns and bool(columns & {"port", "travel"}) and not columns & lies


def is_splices(headers: Sequence[str]) -> bool:
    """Whether a row of headers belongs to a list of splices: it has sleeves, and the fibres of both sides."""
    columns = {column_of(header) for header in headers if header}
    return (
        is_plan(headers) and {"sleeve", *(f"{side} {part}" for side in SIDES for part in ("fibres", "seat"))} <= columns
    )


@dataclass(frozen=True)
class Unread:
    """A column that is not read: its index, its header, and the header that may have been meant."""

    index: int
    header: str
    hint: str = ""
    known: bool = False
    """Whether the header is known to be one of notes."""


@dataclass(frozen=True)
class Headers:
    """The meaning of the columns of a table."""

    shape: Shape
    at: Mapping[str, Sequence[int]]
    """The indices of each column; several headers may mean the same column, and their cells must then agree."""
    texts: Sequence[str]
    unread: Sequence[Unread] = field(default=())

    def said(self) -> str:
        """Write how the columns were read, such as ``trunk, Fasern as fibres``."""
        parts = [
            text if text.lower() == column else f"{text} as {column}"
            for i, text in enumerate(self.texts)
            for column in self.at
            if i in self.at[column]
        ]
        return ", ".join(parts)


def headers_of(table: Table, *, ribbons: bool = False) -> Headers:
    """Return the shape of a table and the meaning of its columns.

    Parameters
    ----------
    table
        The table.
    ribbons
        Whether the job allows ribbon work; if not, a column of that name probably counts ribbons.

    Raises
    ------
    InputError
        If the headers fit neither shape.
    """
    texts = table.head.texts
    at: dict[str, list[int]] = {}
    unread = []
    for i, text in enumerate(texts):
        column = column_of(text) if text else None
        if column == "ribbons" and not ribbons and _plain(text) == column:
            column = None
        if column is None or column == "note":
            unread.append(Unread(i, text, "" if column else _meant(text), known=column == "note"))
        else:
            at.setdefault(column, []).append(i)
    shape: Shape = "runs" if any(column.split()[0] in SIDES for column in at) else "legs"
    for prefix in ("", "from ", "to "):
        _part_cables(at, texts, prefix)
    for column in _ONLY["legs" if shape == "runs" else "runs"]:
        unread += [Unread(i, texts[i]) for i in at.pop(column, ())]
    unread.sort(key=lambda item: item.index)
    _complete(table, shape, at)
    return Headers(shape, at, texts, tuple(unread))


def headers_of_ways(table: Table) -> Headers:
    """Return the meaning of the columns in a list of the ways of trunks; other columns are not read."""
    at: dict[str, list[int]] = {}
    for i, text in enumerate(table.head.texts):
        column = column_of(text) if text else None
        if column in {"trunk", *_WAY}:
            at.setdefault(str(column), []).append(i)
    _part_cables(at, table.head.texts, "")
    return Headers("legs", at, table.head.texts)


def _part_cables(at: dict[str, list[int]], texts: Sequence[str], prefix: str) -> None:
    """Separate a column of trunks from a column of cable types, if a table has both a trunk and a cable."""
    both = at.get(f"{prefix}trunk", [])
    named = [i for i in both if "trunk" in texts[i].lower()]
    others = [i for i in both if i not in named]
    if named and others:
        at[f"{prefix}trunk"] = named
        at.setdefault(f"{prefix}cable", []).extend(others)


def _complete(table: Table, shape: Shape, at: Mapping[str, Sequence[int]]) -> None:
    """Raise InputError if a table lacks a column without which no row says where fibres lie."""
    wanted = ["tray"] if "tray" in at else ["stack", "position"]
    prefixes = [f"{side} " for side in SIDES] if shape == "runs" else [""]
    wanted = [column for prefix in prefixes for column in _fibres(table, at, prefix)] + wanted
    missing = [column for column in wanted if column not in at]
    if not missing:
        return
    texts = table.head.texts
    others = [text.lower() for text in texts if text and column_of(text) is None]
    raise InputError(
        table.head.spot.fault(
            said("there is no column '{name}'", name=column),
            found=", ".join(text.lower() for text in texts[:20] if text),
            allowed=", ".join(LEG_COLUMNS if shape == "legs" else RUN_COLUMNS),
            hint=did_you_mean(column, others)
            or said("{command} writes an empty table", command="trayopt new JOB --table FILE"),
        )
        for column in missing
    )


def _fibres(table: Table, at: Mapping[str, Sequence[int]], prefix: str) -> list[str]:
    """Return the columns that name fibres: a trunk and its fibres, or runs such as ``N1:1-12`` in one column."""
    fibres = next((f"{prefix}{part}" for part in ("fibres", "seat") if f"{prefix}{part}" in at), f"{prefix}fibres")
    if prefix and prefix.strip() in at:
        return []
    runs = table.rows[0].at(at[fibres][0]).text if fibres in at and table.rows else ""
    return [fibres] if ":" in runs else [f"{prefix}trunk", fibres]


def _meant(text: str) -> str:
    """Return a hint at the header that an unknown header may mean; lengths are in mm."""
    bare = re.sub(r"[\[(].*$", "", text).strip()
    column = column_of(bare)
    if bare != text and column not in {None, "note"}:
        return f"did you mean '{bare}'? lengths are in mm" if column == "cut" else f"did you mean '{bare}'?"
    return did_you_mean(_plain(bare), [name for name, column in NAMES.items() if column != "note"])
