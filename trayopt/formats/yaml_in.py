"""Reading YAML 1.2: plain data with the place of every key and value, and a fault with its place for everything wrong."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    CollectionEndEvent,
    CollectionStartEvent,
    DocumentStartEvent,
    MappingStartEvent,
    ScalarEvent,
)
from ruamel.yaml.reader import ReaderError

from trayopt.domain.said import said
from trayopt.errors import InputError
from trayopt.formats import scalars
from trayopt.formats.locate import Located, Mark, Path, Spot, describe, printable
from trayopt.formats.source import read_text, source_name
from trayopt.formats.yaml_syntax import plain_words

MOST_BYTES = 2_000_000
"""Limit of a file's size. A second reads some hundred thousand characters; longer lists of joins belong in a table."""
MOST_DEPTH = 50
MOST_VALUES = 100_000
"""Limit of the values in a file, each counted as often as aliases repeat it. A job of 6,912 single splices has about 35,000."""
MOST_ALIASES = 200

_CORE = "tag:yaml.org,2002:"


def read_yaml(path: str | FilePath, text: str | None = None) -> Located:
    """Read a YAML file, or standard input for ``-``; a ``$schema`` key at its top is accepted and dropped.

    If ``text`` is given, it is read in place of the content of the file.

    Raises
    ------
    InputError
        If the file cannot be read or is not YAML. Faults that leave the rest readable are in ``faults`` of the result.
    """
    return parse_yaml(read_text(path, MOST_BYTES) if text is None else text, source_name(path)).without("$schema")


def parse_yaml(text: str, source: str) -> Located:
    """Read YAML from text.

    Raises
    ------
    InputError
        If the text is not YAML, holds more than one document, is nested too deeply, or has too many values or aliases.
    """
    return _Builder(source).build(text)


@dataclass
class _Frame:
    """A mapping or list that is being filled."""

    path: Path
    items: dict[str, Any] | list[Any]
    anchor: str | None
    size: int = 1
    key: str | None = None
    key_mark: Mark = (0, 0)
    drop: bool = False


class _Builder:
    def __init__(self, source: str) -> None:
        self.located = Located(source, None)
        self.stack: list[_Frame] = []
        self.anchors: dict[str, tuple[Any, int]] = {}
        self.values = 0
        self.aliases = 0
        self.documents = 0

    def build(self, text: str) -> Located:
        try:
            for event in YAML(typ="safe", pure=True).parse(text):
                self.take(event)
        except ReaderError as wrong:
            at = int(wrong.position)
            mark = (text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at))
            found = said("character U+{ord:04X}", ord=ord(text[at]))
            raise self.stop(
                mark, said("a control character in the text"), found=found, allowed=said("printable text")
            ) from None
        except MarkedYAMLError as wrong:
            mark, message, hint = plain_words(wrong)
            raise self.stop(mark, message, hint=hint) from None
        except YAMLError as wrong:
            raise self.stop(
                (1, 1), said("this is not YAML: {problem}", problem=printable(str(wrong).splitlines()[0]))
            ) from None
        if self.located.data is None:
            raise self.stop((1, 1), said("the file is empty"), allowed=said("'key: value' lines"))
        return self.located

    def take(self, event: Any) -> None:
        if isinstance(event, ScalarEvent):
            self.scalar(event)
        elif isinstance(event, CollectionStartEvent):
            self.open(event)
        elif isinstance(event, CollectionEndEvent):
            self.close()
        elif isinstance(event, AliasEvent):
            self.alias(event)
        elif isinstance(event, DocumentStartEvent):
            self.documents += 1
            mark = _mark(event)
            if self.documents > 1:
                raise self.stop(
                    mark,
                    said("a second document in one file"),
                    allowed=said("one document"),
                    hint=said("take out the line '---'"),
                )
            if event.version and tuple(event.version) != (1, 2):
                found = said("version {version}", version=".".join(str(part) for part in event.version))
                raise self.stop(
                    (1, 1),
                    said("another version of YAML is asked for"),
                    found=found,
                    allowed="1.2",
                    hint=said("take out the line %YAML"),
                )

    def scalar(self, event: Any) -> None:
        mark = _mark(event)
        tag = self.core_tag(event, mark, {"str", "int", "float", "bool", "null"})
        frame = self.stack[-1] if self.stack else None
        is_key = frame is not None and isinstance(frame.items, dict) and frame.key is None
        value: Any = event.value
        try:
            if tag:
                value = scalars.tagged(tag, event.value)
            elif event.implicit[0]:
                value = scalars.plain(event.value)
        except ValueError as wrong:
            found = describe(event.value).strip("'")
            self.fault(mark, wrong.args[0], found=found, allowed=said("a plain number, or text in quotes"))
            value = event.value
            self.located.bad.add(self.next_path())
        if is_key and frame is not None:
            self.key(frame, value, event.value, mark)
        else:
            if value is None and event.value == "" and frame is not None and frame.key is not None:
                mark = frame.key_mark
            self.put(value, mark, 1, event.anchor)

    def key(self, frame: _Frame, value: object, text: str, mark: Mark) -> None:
        frame.key, frame.key_mark, frame.drop = text, mark, False
        path = (*frame.path, text)
        if not isinstance(value, str):
            hint = said("write '{text}' in quotes if it is a name", text=text) if text else ""
            self.fault(mark, said("a key is not text"), found=describe(value), allowed=said("text"), hint=hint)
            frame.drop = True
        elif frame.key in frame.items:
            first = Spot("", *self.located.keys[path])
            self.fault(
                mark,
                said("the key {key} is given twice; first in {first}", key=describe(frame.key), first=first),
                allowed=said("every key once"),
                hint=said("take one out"),
            )
            frame.drop = True
        else:
            self.located.keys[path] = mark

    def open(self, event: Any) -> None:
        mark = _mark(event)
        mapping = isinstance(event, MappingStartEvent)
        self.core_tag(event, mark, {"map"} if mapping else {"seq"})
        if self.stack and isinstance(self.stack[-1].items, dict) and self.stack[-1].key is None:
            raise self.stop(
                mark,
                said("a key is not text"),
                found=said("a mapping") if mapping else said("a list"),
                allowed=said("text"),
            )
        if len(self.stack) >= MOST_DEPTH:
            raise self.stop(
                mark,
                said("nested too deeply"),
                found=said("more than {most} levels", most=MOST_DEPTH),
                allowed=said("up to {most}", most=MOST_DEPTH),
            )
        path = self.next_path()
        self.count(1, mark)
        self.located.values.setdefault(path, mark)
        self.stack.append(_Frame(path, {} if mapping else [], event.anchor))

    def close(self) -> None:
        frame = self.stack.pop()
        value = frame.items if isinstance(frame.items, dict) else tuple(frame.items)
        self.put(value, None, frame.size, frame.anchor)

    def alias(self, event: Any) -> None:
        mark = _mark(event)
        name = event.anchor
        if self.stack and isinstance(self.stack[-1].items, dict) and self.stack[-1].key is None:
            raise self.stop(
                mark, said("a key is not text"), found=said("the alias *{name}", name=name), allowed=said("text")
            )
        if any(frame.anchor == name for frame in self.stack):
            raise self.stop(
                mark,
                said("the alias *{name} is inside the value that it refers to", name=name),
                hint=said("write the value out"),
            )
        if name not in self.anchors:
            raise self.stop(
                mark,
                said("the alias *{name} names nothing", name=name),
                hint=said("mark the value before it with &{name}", name=name),
            )
        self.aliases += 1
        if self.aliases > MOST_ALIASES:
            raise self.stop(
                mark,
                said("too many aliases"),
                allowed=said("up to {most}", most=MOST_ALIASES),
                hint=said("write the values out"),
            )
        value, size = self.anchors[name]
        self.count(size, mark)
        self.put(value, mark, size, None)

    def put(self, value: object, mark: Mark | None, size: int, anchor: str | None) -> None:
        """Put a finished value into the list or mapping around it; ``mark`` is None for a collection, which has its mark."""
        path = self.next_path()
        if mark is not None:
            self.located.values.setdefault(path, mark)
            if size == 1:
                self.count(1, mark)
        if anchor:
            self.anchors[anchor] = (value, size)
        if not self.stack:
            self.located.data = value
            return
        frame = self.stack[-1]
        frame.size += size
        if isinstance(frame.items, list):
            frame.items.append(value)
            return
        if frame.key is not None and not frame.drop:
            frame.items[frame.key] = value
        frame.key = None

    def next_path(self) -> Path:
        if not self.stack:
            return ()
        frame = self.stack[-1]
        return (*frame.path, len(frame.items) if isinstance(frame.items, list) else frame.key or "")

    def count(self, size: int, mark: Mark) -> None:
        self.values += size
        if self.values > MOST_VALUES:
            found = said("more than {most:,}", most=MOST_VALUES)
            raise self.stop(
                mark,
                said("too many values, each counted as often as aliases repeat it"),
                found=found,
                allowed=said("up to {most:,}", most=MOST_VALUES),
            )

    def core_tag(self, event: Any, mark: Mark, allowed: set[str]) -> str | None:
        tag = event.tag
        if tag is None or tag == "!":
            return None
        name = str(tag).removeprefix(_CORE).removeprefix("!!")
        if name in allowed and str(tag) != name:
            return name
        self.fault(
            mark, said("a tag that is not known here"), found=printable(str(tag))[:60], hint=said("leave the tag out")
        )
        return None

    def fault(self, mark: Mark, message: str, *, found: str = "", allowed: str = "", hint: str = "") -> None:
        spot = Spot(self.located.source, *mark)
        self.located.faults.append(spot.fault(message, found=found, allowed=allowed, hint=hint))

    def stop(self, mark: Mark, message: str, *, found: str = "", allowed: str = "", hint: str = "") -> InputError:
        self.fault(mark, message, found=found, allowed=allowed, hint=hint)
        return InputError(self.located.faults)


def _mark(event: Any) -> Mark:
    return event.start_mark.line + 1, event.start_mark.column + 1
