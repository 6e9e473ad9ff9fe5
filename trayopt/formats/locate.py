"""Places in an input: from a path such as ``trunks[0].cable`` to file, line and column."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from trayopt.domain.said import said
from trayopt.errors import Fault

Path = tuple[str | int, ...]
"""Keys and indices from the top of an input down to a value."""

Mark = tuple[int, int]
"""Line and column, counted from 1; (0, 0) if the source has no lines."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A place in an input at which a fault can be reported."""

    source: str
    line: int = 0
    column: int = 0
    where: str = ""

    def fault(self, message: str, *, found: str = "", allowed: str = "", hint: str = "") -> Fault:
        """Make a fault at this place; text that it quotes from the input is made printable."""
        texts = [printable(text) for text in (message, found, allowed, hint, self.where)]
        return Fault(self.source, self.line, self.column, *texts)

    def __str__(self) -> str:
        """Write as ``line 12`` or, if the source has no lines, as the cell or path."""
        return self.told

    @property
    def told(self) -> str:
        """The place as a part of a sentence that can be translated."""
        return said("line {line}", line=self.line) if self.line else self.where


@dataclass
class Located:
    """Plain data with the places of its values and keys.

    Parameters
    ----------
    source
        The file name as messages show it.
    data
        The data: mappings as dict, lists as tuple, and text, numbers, bool or None.
    values, keys
        The places of values, and of the keys of mappings.
    faults
        Faults that leave the rest readable, such as a key that is given twice.
    bad
        Paths of values that ``faults`` reports already; they are not reported again.
    """

    source: str
    data: Any
    values: dict[Path, Mark] = field(default_factory=dict)
    keys: dict[Path, Mark] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    bad: set[Path] = field(default_factory=set)

    @classmethod
    def plain(cls, data: object, source: str = "<job>") -> Located:
        """Wrap data that was made in Python: it has no lines, and its lists become tuples."""
        return cls(source, frozen(data))

    def spot(self, path: Path, *, key: bool = False) -> Spot:
        """Return the place of a value (or of its key); if it has none, the place of the nearest value around it."""
        where = path_text(path)
        if key and path in self.keys:
            return Spot(self.source, *self.keys[path], where)
        for end in range(len(path), -1, -1):
            if path[:end] in self.values:
                return Spot(self.source, *self.values[path[:end]], where)
        return Spot(self.source, 0, 0, where)

    def get(self, path: Path) -> Any:
        """Return the value at a path; raise KeyError or IndexError if there is none."""
        value = self.data
        for part in path:
            value = value[part]
        return value

    def without(self, key: str) -> Located:
        """Return the same data without one key of its top mapping."""
        if not isinstance(self.data, dict) or key not in self.data:
            return self
        return replace(self, data={name: value for name, value in self.data.items() if name != key})


def path_text(path: Path) -> str:
    """Write a path as ``trunks[0].cable``."""
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part}"
    return text.removeprefix(".")


def frozen(value: object, depth: int = 0) -> object:
    """Turn Mappings into dicts and lists into tuples, all the way down.

    Raises
    ------
    ValueError
        If the data is nested more than 100 deep (or contains itself), or a key is not text.
    """
    if depth > 100:
        raise ValueError("nested more than 100 deep")
    if isinstance(value, Mapping):
        for key in value:
            if not isinstance(key, str):
                raise ValueError(f"a key is not text: {describe(key)}")
        return {key: frozen(inner, depth + 1) for key, inner in value.items()}
    if isinstance(value, list) or (isinstance(value, tuple) and type(value) is tuple):
        return tuple(frozen(inner, depth + 1) for inner in value)
    return value


def describe(value: object, most: int = 60) -> str:
    """Describe a value in a few words for a message; a text is cut after ``most`` characters."""
    if value is None:
        return said("nothing")
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        short = value if len(value) <= most else value[: most - 3] + "..."
        return said("an empty text") if not value else f"'{printable(short)}'"
    if isinstance(value, int | float):
        return f"{value}"
    if isinstance(value, Mapping):
        names = ", ".join(printable(str(key)[:30]) for key in list(value)[:4])
        names += ", ..." if len(value) > 4 else ""
        return said("a mapping ({names})", names=names) if value else said("an empty mapping")
    if isinstance(value, list | tuple):
        return said("a list of {count}", count=len(value)) if value else said("an empty list")
    return f"a {type(value).__name__}"


def printable(text: str) -> str:
    """Write control characters as escapes, so that a message stays on one line and moves no cursor."""
    if text.isprintable():
        return text
    return "".join(char if char.isprintable() else char.encode("unicode_escape").decode() for char in text)
