"""Headers of hand-made tables: what they may be called, and which of the two shapes they make."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from trayopt.errors import InputError
from trayopt.formats.locate import Spot
from trayopt.formats.tables_in import Table
from trayopt.formats.validate import did_you_mean

Shape = Literal["legs", "runs"]

_PLACE = {
    "stack": ("stack",),
    "position": ("position", "pos", "level"),
    "tray": ("tray", "place", "tray place"),
    "end": ("end", "entry end"),
    "built": ("built", "done", "spliced"),
}
_WAY = {
    "port": ("port",),
    "travel": ("travel", "direction"),
    "loops": ("loops", "slack loops"),
}
_LEG = {
    "trunk": ("trunk", "cable"),
    "fibres": ("fibres", "fibers", "fibre", "fiber"),
    "cut": ("cut", "cut length"),
}
_SIDE = {
    "trunk": ("trunk", "cable"),
    "tube": ("tube", "subunit", "buffer tube"),
    "ribbon": ("ribbon",),
    "fibres": ("fibres", "fibers", "fibre", "fiber"),
}
SIDES = ("from", "to")


def _names() -> dict[str, str]:
    """Give every header that is known, in lower case, with the column that it means."""
    phrases: dict[str, str] = {}
    for columns in (_PLACE, _WAY, _LEG):
        for column, words in columns.items():
            phrases.update(dict.fromkeys(words, column))
    for side in SIDES:
        phrases[side] = side
        for columns in (_SIDE, _WAY):
            for column, words in columns.items():
                phrases.update(dict.fromkeys((f"{side} {word}" for word in words), f"{side} {column}"))
    phrases["sleeve"] = "sleeve"
    found: dict[str, str] = {}
    for phrase, column in phrases.items():
        for joint in (" ", "_", "-"):
            word = phrase.replace(" ", joint)
            for unit in ("", " mm", "_mm", " (mm)", " [mm]"):
                found[word + unit] = column
    return found


NAMES: dict[str, str] = _names()
LEG_COLUMNS = ("trunk", "fibres", "stack", "position", "port", "travel", "loops", "end", "cut", "built")
RUN_COLUMNS = (
    *(f"{side} {column}" for side in SIDES for column in ("trunk", "tube", "ribbon", "fibres")),
    "tray", "sleeve", "built",
)  # fmt: skip


def shape_of(table: Table) -> tuple[Shape, dict[str, str]]:
    """Give the shape of a table, and the header under which each column stands.

    Raises
    ------
    InputError
        Where the headers make neither shape, or two of them mean one column.
    """
    headers: dict[str, str] = {}
    faults = []
    top = Spot(table.source, 1, 1)
    for header in table.columns:
        column = NAMES.get(header)
        if column is None:
            continue
        if column in headers:
            twice = f"the headers '{headers[column]}' and '{header}' mean the same"
            faults.append(top.fault(twice, hint="leave one of the columns out"))
        headers.setdefault(column, header)
    shape: Shape = "runs" if any(column.split()[0] in SIDES for column in headers) else "legs"
    wanted = [("trunk",), ("fibres",), _place(headers)]
    if shape == "runs":
        wanted = [_side(headers, "from"), _side(headers, "to"), _place(headers)]
    missing = [column for columns in wanted for column in columns if column not in headers]
    for column in missing:
        others = [header for header in table.columns if header not in headers.values()]
        faults.append(
            top.fault(
                f"there is no column '{column}'",
                found=", ".join(table.columns[:20]),
                allowed=", ".join(LEG_COLUMNS if shape == "legs" else RUN_COLUMNS),
                hint=did_you_mean(column, others) or "trayopt new JOB --table FILE writes an empty table",
            )
        )
    if faults:
        raise InputError(faults)
    return shape, headers


def _place(headers: dict[str, str]) -> Sequence[str]:
    return ("tray",) if "tray" in headers else ("stack", "position")


def _side(headers: dict[str, str], side: str) -> Sequence[str]:
    return (side,) if side in headers else (f"{side} trunk", f"{side} fibres")
