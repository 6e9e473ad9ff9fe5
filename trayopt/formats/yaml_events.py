"""The events of a YAML text: what is written in it, in order, with the place of each piece."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal, NamedTuple

from trayopt.domain.said import said
from trayopt.formats.locate import Mark, printable


class Event(NamedTuple):
    """A piece of a YAML text."""

    kind: Literal["document", "mapping", "list", "end", "scalar", "alias"]
    mark: Mark = (0, 0)
    text: str = ""
    """The text of a scalar, the name of an alias, or the version of YAML that a document asks for."""
    plain: bool = True
    """Whether a scalar is written without quotes."""
    tag: str | None = None
    anchor: str | None = None


class NotYamlError(Exception):
    """A text that is not YAML, with the place and the words for it."""

    def __init__(self, mark: Mark, message: str, *, found: str = "", allowed: str = "", hint: str = "") -> None:
        super().__init__(message)
        self.mark, self.message, self.found, self.allowed, self.hint = mark, message, found, allowed, hint


def parsed_events(text: str) -> Iterator[Event]:
    """Read the events of any text by the parser, which is loaded only for texts that need it.

    Raises
    ------
    NotYamlError
        If the text is not YAML. The events before the fault are given first.
    """
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError, YAMLError
    from ruamel.yaml.reader import ReaderError

    from trayopt.formats.yaml_syntax import plain_words

    try:
        for event in YAML(typ="safe", pure=True).parse(text):
            yield from _of_parser(event)
    except ReaderError as wrong:
        at = int(wrong.position)
        mark = (text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at))
        found = said("character U+{ord:04X}", ord=ord(text[at]))
        raise NotYamlError(
            mark, said("a control character in the text"), found=found, allowed=said("printable text")
        ) from None
    except MarkedYAMLError as wrong:
        mark, message, hint = plain_words(wrong)
        raise NotYamlError(mark, message, hint=hint) from None
    except YAMLError as wrong:
        problem = printable(str(wrong).splitlines()[0])
        raise NotYamlError((1, 1), said("this is not YAML: {problem}", problem=problem)) from None


def _of_parser(event: Any) -> Iterator[Event]:
    from ruamel.yaml import events

    mark = event.start_mark.line + 1, event.start_mark.column + 1
    if isinstance(event, events.ScalarEvent):
        yield Event("scalar", mark, event.value, event.implicit[0], event.tag, event.anchor)
    elif isinstance(event, events.MappingStartEvent):
        yield Event("mapping", mark, tag=event.tag, anchor=event.anchor)
    elif isinstance(event, events.SequenceStartEvent):
        yield Event("list", mark, tag=event.tag, anchor=event.anchor)
    elif isinstance(event, events.CollectionEndEvent):
        yield Event("end")
    elif isinstance(event, events.AliasEvent):
        yield Event("alias", mark, event.anchor)
    elif isinstance(event, events.DocumentStartEvent):
        yield Event("document", mark, ".".join(str(part) for part in event.version or ()))
