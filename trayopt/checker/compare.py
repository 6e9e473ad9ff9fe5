"""The comparison of two plan documents: every figure that differs."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from trayopt.checker.report import Difference
from trayopt.domain.base import EPSILON

Row = dict[str, Any]

NAMES: dict[str, Callable[[Any], str]] = {
    "goals": lambda row: str(row["goal"]),
    "trunks": lambda row: str(row["trunk"]),
    "trays": lambda row: f"{row['stack']}/{row['position']}",
    "splices": lambda row: str(row["sleeve"]),
    "parked": str,
    "tied": "+".join,
    "crossings": " x ".join,
    "broken": lambda row: f"{row['rule']} {row['subject']}",
    "unplaced": lambda row: str(row["a"]),
}
"""How the rows of each list are told apart; the order in which they stand is no figure."""
SENTENCES = frozenset({"because"})
"""Keys of sentences: their numbers are figures, their words are those of the version that wrote the plan."""
_NUMBER = re.compile(r"\d[\d,]*(?:\.\d+)?")


def differences(claimed: Row, right: Row, path: str = "") -> Iterator[Difference]:
    """Compare two objects key by key, and their lists row by row."""
    for key in dict.fromkeys((*right, *claimed)):
        yield from _value(key, claimed.get(key), right.get(key), f"{path}.{key}" if path else key)


def rows(
    claimed: Sequence[tuple[object, str, Any]], right: Sequence[tuple[object, str, Any]], path: str
) -> Iterator[Difference]:
    """Compare two lists of (identity, name, row), paired by identity; a repeated row is surplus."""
    wanted = {identity: row for identity, _, row in right}
    seen: set[object] = set()
    for identity, name, row in claimed:
        at = f"{path}[{name}]"
        if identity in seen or identity not in wanted:
            yield Difference(at, row, None)
        elif isinstance(row, dict):
            yield from differences(row, wanted[identity], at)
        seen.add(identity)
    for identity, name, row in right:
        if identity not in seen:
            yield Difference(f"{path}[{name}]", None, row)


def _value(key: str, claimed: Any, right: Any, path: str) -> Iterator[Difference]:
    if isinstance(claimed, dict) and isinstance(right, dict):
        yield from differences(claimed, right, path)
    elif key in NAMES and isinstance(claimed, list) and isinstance(right, list):
        yield from rows(_named(key, claimed), _named(key, right), path)
    elif key in SENTENCES and isinstance(claimed, str) and isinstance(right, str):
        if claimed != right and _words(claimed) == _words(right):
            yield Difference(path, claimed, right)
    elif not _same(claimed, right):
        yield Difference(path, claimed, right)


def _named(key: str, items: Sequence[Any]) -> list[tuple[object, str, Any]]:
    return [(name, name, item) for item in items for name in (NAMES[key](item),)]


def _words(sentence: str) -> list[str]:
    """Return what stands between the numbers of a sentence."""
    return _NUMBER.split(sentence)


def _same(claimed: object, right: object) -> bool:
    if isinstance(claimed, float) and isinstance(right, float):
        return abs(claimed - right) <= EPSILON
    return claimed == right
