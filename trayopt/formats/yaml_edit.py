"""Changing YAML files in place: comments, order and quotes of everything else stay as they are."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from io import StringIO
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq

from trayopt.formats.locate import Path

TAKE_OUT = re.compile(r"^ *# - (?P<entry>\{.*\})  # take out$")
KEY = re.compile(r"^(?P<key>[a-z_]+):")


class YamlFile:
    """A YAML file that holds one mapping.

    Parameters
    ----------
    text
        YAML that was read before without a fault.
    """

    def __init__(self, text: str) -> None:
        self._yaml = YAML(typ="rt")
        self._yaml.preserve_quotes = True
        self._yaml.width = 1_000_000
        self._yaml.brace_single_entry_mapping_in_flow_sequence = True
        self._yaml.indent(mapping=2, sequence=4, offset=2)
        self.data: Any = self._yaml.load(text)

    def text(self) -> str:
        """Return the text of the changed file."""
        stream = StringIO()
        self._yaml.dump(self.data, stream)
        return stream.getvalue()

    def get(self, path: Path) -> Any:
        """Return the value at a path; None if there is none."""
        value = self.data
        for part in path:
            try:
                value = value[part]
            except (KeyError, IndexError, TypeError):
                return None
        return value

    def put(self, path: Path, value: object) -> None:
        """Put a value at a path."""
        self.get(path[:-1])[path[-1]] = _written(value)

    def take(self, path: Path) -> None:
        """Remove the value at a path, if there is one."""
        holder: Any = self.get(path[:-1])
        last = path[-1]
        in_list = isinstance(holder, list) and isinstance(last, int) and last < len(holder)
        if in_list or (isinstance(holder, Mapping) and last in holder):
            del holder[last]

    def insert(self, path: Path, index: int, key: str, value: object) -> None:
        """Put a new key into the mapping at a path, before the key at an index."""
        self.get(path).insert(index, key, _written(value))

    def add(self, path: Path, value: object) -> None:
        """Put a value at the end of the list at a path; the list is made if it does not exist."""
        if not isinstance(self.get(path), list):
            self.put(path, [])
        items = self.get(path)
        if not items and isinstance(items, CommentedSeq):
            items.fa.set_block_style()
        items.append(_written(value))

    def add_at(self, path: Path, value: object) -> None:
        """Put a value into a list, before the entry at a path or after the last entry."""
        self.get(path[:-1]).insert(path[-1], _written(value))

    def merge(self, document: str) -> None:
        """Merge a document of an edit into the file.

        A key of the document replaces the same key of the file, except that mappings are merged and entries of lists are matched
        by their ids. An entry to be taken out is written as a comment.

        Raises
        ------
        ValueError
            If an entry to be changed or taken out does not occur exactly once in the file.
        """
        new = YAML(typ="safe", pure=True).load(document) or {}
        _merge(self.data, {key: value for key, value in new.items() if value is not None})
        for key, entry in _taken_out(document):
            items = self.data[key]
            found = [i for i, item in enumerate(items) if _is(item, entry)]
            if len(found) != 1:
                raise ValueError(f"{entry} stands {len(found)} times in {key}")
            del items[found[0]]


def _merge(old: Any, new: Mapping[str, Any]) -> None:
    for key, value in new.items():
        now: Any = old.get(key)
        if key == "rules" and isinstance(now, dict):
            for rule, setting in value.items():
                now[rule] = _written(setting)  # a setting is given whole
        elif isinstance(now, Mapping) and isinstance(value, Mapping):
            _merge(now, value)
        elif _has_ids(now) and _has_ids(value):
            by_id = {item["id"]: item for item in now}
            for entry in value:
                if entry["id"] not in by_id:
                    raise ValueError(f"no {key} has the id {entry['id']}")
                _merge(by_id[entry["id"]], entry)
        else:
            old[key] = _written(value)


def _has_ids(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(item, Mapping) and "id" in item for item in value)


def _is(item: Any, entry: Mapping[str, Any]) -> bool:
    return isinstance(item, Mapping) and all(key in item and item[key] == value for key, value in entry.items())


def _taken_out(document: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the entries that a document takes out, each with the key of its list."""
    key = ""
    for line in document.splitlines():
        head = KEY.match(line)
        key = head["key"] if head else key
        found = TAKE_OUT.match(line)
        if found:
            yield key, YAML(typ="safe", pure=True).load(found["entry"])


def _written(value: object) -> Any:
    """Convert data so that it is written on one line, except lists of mappings, which get a line for each entry."""
    if isinstance(value, Mapping):
        made = CommentedMap((key, _written(item)) for key, item in value.items())
        made.fa.set_flow_style()
        return made
    if isinstance(value, Sequence) and not isinstance(value, str):
        items = CommentedSeq(_written(item) for item in value)
        if not any(isinstance(item, Mapping) for item in value):
            items.fa.set_flow_style()
        return items
    return value
