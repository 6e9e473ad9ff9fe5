"""Reading JSON: plans and other documents, with line and column for every fault."""

from __future__ import annotations

import json
import re
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

from pydantic import BaseModel

from trayopt.domain.former import PLAN
from trayopt.domain.plan import Plan
from trayopt.errors import Fault, InputError
from trayopt.formats.locate import Located, Mark, Path, describe, frozen
from trayopt.formats.source import read_text, source_name
from trayopt.formats.validate import validate

if TYPE_CHECKING:
    from trayopt.domain.former_plan import FormerPlan

M = TypeVar("M", bound=BaseModel)
MOST_BYTES = 20_000_000
MOST_DEPTH = 50

_DECODER = json.JSONDecoder()
_SPACE = re.compile(r"[ \t\n\r]*")
_WORD = re.compile(r'[^\s,:\[\]{}"]+')


def read_plan(path: str | FilePath) -> Plan:
    """Read a plan of today's format from a file, or from standard input for ``-``.

    Raises
    ------
    InputError
        With every fault of the file, each with line and column.
    """
    return read_model(path, Plan)


def parse_plan(text: str, source: str) -> Plan | FormerPlan:
    """Make a plan from JSON text, or a plan of format 1 if its schema says so.

    Raises
    ------
    InputError
        With every fault, each with line and column.
    """
    located = parse_json(text, source).without("$schema")
    if isinstance(located.data, dict) and located.data.get("schema") == PLAN:
        from trayopt.domain.former_plan import FormerPlan

        return _made(located, text, source, FormerPlan)
    return _made(located, text, source, Plan)


def read_model(path: str | FilePath, model: type[M]) -> M:
    """Read a document of a model from a JSON file, or from standard input for ``-``; a ``$schema`` key at the top is dropped.

    Raises
    ------
    InputError
        With every fault of the file, each with line and column.
    """
    return parse_model(read_text(path, MOST_BYTES), source_name(path), model)


def parse_model(text: str, source: str, model: type[M]) -> M:
    """Make a model from JSON text.

    Raises
    ------
    InputError
        With every fault, each with line and column.
    """
    return _made(parse_json(text, source).without("$schema"), text, source, model)


def _made(located: Located, text: str, source: str, model: type[M]) -> M:
    """Make a model of the data that was read; places of values are looked for only if something is wrong."""
    made, faults = validate(model, located.data, located)
    if made is not None and not located.faults:
        return made
    places = _Places(text, source)
    places.walk()
    located.values, located.keys = places.located.values, places.located.keys
    _, faults = validate(model, located.data, located)
    raise InputError([*faults, *places.located.faults])


def parse_json(text: str, source: str) -> Located:
    """Read JSON from text, without the places of values. A key that is given twice is reported in ``faults``.

    Raises
    ------
    InputError
        If the text is not JSON, holds a number that is not finite, or is nested too deeply.
    """
    twice: list[str] = []

    def pairs(items: list[tuple[str, Any]]) -> dict[str, Any]:
        made = dict(items)
        if len(made) < len(items):
            twice.append(items[0][0])
        return made

    try:
        data = json.loads(text, object_pairs_hook=pairs, parse_constant=_refuse)
        located = Located(source, frozen(data))
    except json.JSONDecodeError as wrong:
        hint = "the file is empty" if not text.strip() else ""
        raise InputError(
            [Fault(source, wrong.lineno, wrong.colno, f"this is not valid JSON: {wrong.msg}", hint=hint)]
        ) from None
    except (ValueError, RecursionError) as wrong:
        places = _Places(text, source)
        places.walk()
        raise InputError(places.located.faults or [Fault(source, 1, 1, f"this is not valid JSON: {wrong}")]) from None
    if twice:
        located.faults.append(Fault(source, 1, 1, "a key is given twice"))
    return located


def _refuse(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a number in JSON")


class _Broken(Exception):  # noqa: N818 - no error of its own: ``json`` has told it already
    """Ends a walk over text at the first syntax error."""


class _Places:
    """A second walk over JSON text, to find the places of keys and values when there is something to report."""

    def __init__(self, text: str, source: str) -> None:
        self.text = text
        self.at = 0
        self.line = 1
        self.line_start = 0
        self.seen = 0
        self.located = Located(source, None)

    def walk(self) -> None:
        """Fill ``located`` with places, and with faults that ``json`` does not report; stop at the first syntax error."""
        try:
            self.value(())
        except (_Broken, IndexError, ValueError):
            return

    def value(self, path: Path) -> None:
        mark = self.mark()
        self.located.values.setdefault(path, mark)
        start = self.text[self.at]
        if start in "[{":
            if len(path) >= MOST_DEPTH:
                self.fault(mark, "nested too deeply", allowed=f"up to {MOST_DEPTH} levels")
                raise _Broken
            self.at += 1
            self.members(path, start == "{")
        elif start == '"':
            _, self.at = _DECODER.raw_decode(self.text, self.at)
        else:
            word = _WORD.match(self.text, self.at)
            if word is None:
                raise _Broken
            self.at = word.end()
            if word[0] in {"NaN", "Infinity", "-Infinity"}:
                self.fault(mark, "a number that is not finite", found=word[0])
            elif len(word[0]) > 4000:
                self.fault(mark, "a number of more than 18 digits", found=describe(word[0]).strip("'"))

    def members(self, path: Path, mapping: bool) -> None:
        keys: set[str | int] = set()
        index = 0
        while True:
            mark = self.mark()
            if self.text[self.at] in "]}":
                self.at += 1
                return
            if self.text[self.at] == ",":
                self.at += 1
                mark = self.mark()
            part: str | int = index
            if mapping:
                part, self.at = self.key()
                if part in keys:
                    self.fault(
                        mark, f"the key {describe(part)} is given twice", allowed="every key once", hint="take one out"
                    )
                keys.add(part)
                self.located.keys.setdefault((*path, part), mark)
                self.mark()
                self.at += 1
                self.mark()
            self.value((*path, part))
            index += 1

    def key(self) -> tuple[str, int]:
        if self.text[self.at] != '"':
            raise _Broken
        text, end = _DECODER.raw_decode(self.text, self.at)
        return str(text), end

    def mark(self) -> Mark:
        """Skip white space and return the place after it."""
        space = _SPACE.match(self.text, self.at)
        self.at = space.end() if space else self.at
        self.line += self.text.count("\n", self.seen, self.at)
        self.line_start = self.text.rfind("\n", 0, self.at) + 1
        self.seen = self.at
        return self.line, self.at - self.line_start + 1

    def fault(self, mark: Mark, message: str, *, found: str = "", allowed: str = "", hint: str = "") -> None:
        self.located.faults.append(Fault(self.located.source, *mark, message, found, allowed, hint))
