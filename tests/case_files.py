"""Case files of rules: hand-worked cases, and what other tests need to know of a rule (``cases/README.md``)."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from ruamel.yaml import YAML

Json = dict[str, Any]
CASES = Path(__file__).parent / "cases"
KNOWN = frozenset({"name", "set", "ways", "legs", "ends", "divide_at", "ribbons", "claims", "broken", "says"})
"""Keys of a case."""
MORE = frozenset({"random", "drawn", "knobs", "bent", "planted"})
"""Keys of the second document."""


class CaseFile(NamedTuple):
    """The cases of a rule, and its second document."""

    cases: list[Json]
    more: Json


@cache
def case_file(rule: str) -> CaseFile:
    """Read the case file of a rule."""
    cases, *more = YAML(typ="safe", pure=True).load_all((CASES / f"{rule}.yaml").read_text(encoding="utf-8"))
    return CaseFile(cases, more[0] if more else {})


def put(data: Any, path: str, value: Any) -> None:
    """Set a value at a dotted path; a list may grow by one."""
    *steps, last = path.split(".")
    for step in steps:
        data = data[int(step)] if isinstance(data, list) else data[step]
    if not isinstance(data, list):
        data[last] = value
    elif int(last) == len(data):
        data.append(value)
    else:
        data[int(last)] = value
