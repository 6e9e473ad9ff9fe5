"""Reading YAML in the layout that nearly all files have: the events that the parser would give, in a small part of its time.

The layout: a mapping from the first column; keys that are words; lists with dashes; values of one line, in brackets too; quotes
without escapes; comments. A text that is not surely of this layout, or wrong in any way, is left to the parser: it alone knows
the rest of YAML, and it alone finds faults.
"""

from __future__ import annotations

import re

from trayopt.formats.yaml_events import Event

_KEY = r"(?P<key>[A-Za-z_][A-Za-z0-9_-]{0,63}):(?= |$)"
_QUOTED = r"\"(?P<double>[^\"\\]*)\"|'(?P<single>[^']*)'"
_FIRST = r"(?:[^ !-'*-\-:-@\[-^`{-}]|[-+](?=[0-9.]))"
_ON_LINE = rf"(?P<plain>{_FIRST}(?:[^\"#:\[-^`{{-}}]|:(?=[A-Za-z0-9]))*)"
_IN_FLOW = rf"(?P<plain>{_FIRST}(?:[^!-$&*,:<>?@\[-^`{{-}}]|:(?=[A-Za-z0-9]))*)"
"""A value without quotes, and one in brackets. The signs that YAML gives a meaning are left out, and some others."""
_START = re.compile(rf"(?P<indent> *)(?P<dash>- +)?(?:{_KEY} *)?")
_SCALAR = re.compile(rf"{_QUOTED}|{_ON_LINE}")
_PIECE = re.compile(rf" *(?:(?P<open>[\[{{])|(?P<close>[\]}}])|(?P<comma>,)|{_KEY}|{_QUOTED}|{_IN_FLOW})")
_CLOSES = {"[": "]", "{": "}"}
_VALUES = {"open", "double", "single", "plain"}
_MAY_FOLLOW = {
    ("", "begin"): {"open"},
    ("[", "begin"): {*_VALUES, "close"},
    ("[", "comma"): _VALUES,
    ("[", "entry"): {"comma", "close"},
    ("{", "begin"): {"key", "close"},
    ("{", "comma"): {"key"},
    ("{", "key"): _VALUES,
    ("{", "entry"): {"comma", "close"},
}
"""What may follow inside a bracket after its begin, a comma, a key, or a whole entry."""


class _UnsureError(Exception):
    """The text is not surely of the layout."""


def plain_events(text: str) -> list[Event] | None:
    """List the events of a text in the usual layout; None if the text is not surely of this layout."""
    if not text.replace("\n", "").isprintable():
        return None  # tabs, control characters, marks of byte order, spaces and line ends of other kinds
    reader = _Reader()
    try:
        for number, line in enumerate(text.split("\n"), start=1):
            reader.line(line, number)
        reader.close_to(-1)
    except _UnsureError:
        return None
    return reader.events or None


class _Reader:
    """The events so far, and what is open.

    Attributes
    ----------
    open
        The open collections, the innermost last: whether it is a list, and the column of its entries, counted from 0.
    waits
        Whether the innermost collection is a mapping whose last key has no value yet.
    """

    def __init__(self) -> None:
        self.events: list[Event] = []
        self.open: list[tuple[bool, int]] = []
        self.waits = False

    def line(self, line: str, number: int) -> None:
        start = _START.match(line)
        assert start is not None  # each part of the pattern may be absent
        column, at = start.end("indent"), start.end()
        key, dash = start["key"], start["dash"]
        if not key and not dash:
            if at == len(line) or line[at] == "#":
                return
            raise _UnsureError
        self.close_to(column, entry=dash is not None)
        if dash:
            self.begin(True, column, number, allowed=self.waits)
            column = start.end("dash")
        if key:
            self.begin(False, column, number, allowed=self.waits or dash is not None)
            if self.waits:
                self.no_value()
            self.events.append(Event("scalar", (number, column + 1), key))
            self.waits = True
            if at == len(line) or line[at] == "#":
                return
        end = self.brackets(line, at, number) if line.startswith(("[", "{"), at) else self.scalar(line, at, number)
        rest = line[end:].lstrip(" ")
        if rest and not (rest[0] == "#" and line[-len(rest) - 1] == " "):
            raise _UnsureError
        self.waits = False

    def close_to(self, column: int, *, entry: bool = False) -> None:
        """Close the collections that a line at a column ends; ``entry``: the line is an entry of a list."""
        while self.open and (self.open[-1][1] > column or (self.open[-1] == (True, column) and not entry)):
            if self.waits:
                self.no_value()
            self.open.pop()
            self.events.append(Event("end"))

    def no_value(self) -> None:
        """Give the last key an empty value. No message tells its place: it tells the key's."""
        self.events.append(Event("scalar"))
        self.waits = False

    def begin(self, is_list: bool, column: int, number: int, *, allowed: bool) -> None:
        """Open a collection whose entries are at a column, if it is not the innermost; ``allowed``: one may begin here."""
        if self.open:
            innermost = self.open[-1]
            if innermost == (is_list, column):
                return
            if not allowed or innermost[1] + (not is_list) > column:
                raise _UnsureError
        elif is_list or column:
            raise _UnsureError
        self.open.append((is_list, column))
        self.waits = False
        self.events.append(Event("list" if is_list else "mapping", (number, column + 1)))

    def scalar(self, line: str, at: int, number: int) -> int:
        """Add the scalar at a place of a line; return where it ends."""
        found = _SCALAR.match(line, at)
        if found is None:
            raise _UnsureError
        self.add(found, number)
        return found.end()

    def add(self, found: re.Match[str], number: int) -> None:
        plain = found["plain"]
        if plain is not None:
            self.events.append(Event("scalar", (number, found.start("plain") + 1), plain.rstrip(" ")))
        else:
            kind = str(found.lastgroup)
            self.events.append(Event("scalar", (number, found.start(kind)), found[kind], plain=False))

    def brackets(self, line: str, at: int, number: int) -> int:
        """Add the collection in brackets at a place of a line; return where it ends."""
        inside, last = "", "begin"
        while True:
            found = _PIECE.match(line, at)
            kind = str(found and found.lastgroup)
            if found is None or kind not in _MAY_FOLLOW[inside[-1:], last]:
                raise _UnsureError
            last = kind if kind in {"comma", "key"} else "begin" if kind == "open" else "entry"
            mark = number, found.start(kind) + 1
            if kind == "open":
                inside += found[kind]
                self.events.append(Event("list" if found[kind] == "[" else "mapping", mark))
            elif kind == "close":
                if found[kind] != _CLOSES[inside[-1]]:
                    raise _UnsureError
                inside = inside[:-1]
                self.events.append(Event("end"))
                if not inside:
                    return found.end()
            elif kind == "key":
                self.events.append(Event("scalar", mark, found[kind]))
            elif kind != "comma":
                self.add(found, number)
            at = found.end()
