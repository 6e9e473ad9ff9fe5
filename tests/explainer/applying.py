"""Applies the printed edit of a way out to a job file as its text says: what a person does by hand, step by step."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from io import StringIO
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

Json = dict[str, Any]
TAKE_OUT = re.compile(r"^ *# - (?P<entry>\{.*\})  # take out$")
KEY = re.compile(r"^(?P<key>[a-z]+):")


def read(text: str) -> Any:
    """Read one YAML document."""
    return YAML(typ="safe", pure=True).load(text)


def write(data: Any) -> str:
    """Write one YAML document."""
    stream = StringIO()
    YAML(typ="safe", pure=True).dump(data, stream)
    return stream.getvalue()


def documents(edit: str) -> list[tuple[str, str]]:
    """Cut an edit into its documents: the comment behind the dashes, and the text."""
    found: list[tuple[str, list[str]]] = [("", [])]
    for line in edit.splitlines():
        if line.startswith("---"):
            found.append((line.partition("# ")[2], []))
        else:
            found[-1][1].append(line)
    return [(head, "\n".join(lines)) for head, lines in found if head or lines]


def merged(file: Json, document: str) -> Json:
    """Merge a document into a file: keys replace keys, entries of lists with ids are told by their ids."""
    made: Json = _with(file, {key: value for key, value in (read(document) or {}).items() if value is not None})
    for key, entry in _taken_out(document):
        before = made[key]
        made[key] = [item for item in before if not entry.items() <= _as_written(item).items()]
        assert len(made[key]) == len(before) - 1, f"{entry} stands {len(before) - len(made[key])} times in {key}"
    return made


def _with(old: Any, new: Any) -> Any:
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        return {**old, **{key: _with(old.get(key), value) if key != "rules" else {**old.get(key, {}), **value}
                          for key, value in new.items()}}  # fmt: skip
    if _has_ids(old) and _has_ids(new):
        by_id = {entry["id"]: entry for entry in new}
        assert set(by_id) <= {entry["id"] for entry in old}, f"no such ids in the file: {sorted(by_id)}"
        return [_with(entry, by_id.get(entry["id"], {})) for entry in old]
    return new


def _has_ids(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(item, Mapping) and "id" in item for item in value)


def _taken_out(document: str) -> Iterator[tuple[str, Json]]:
    key = ""
    for line in document.splitlines():
        head = KEY.match(line)
        key = head["key"] if head else key
        found = TAKE_OUT.match(line)
        if found:
            yield key, read(found["entry"])


def _as_written(item: Any) -> Json:
    return {key: value for key, value in item.items() if not isinstance(value, Mapping)}


def applied(path: Path, edit: str, library: Mapping[str, Path]) -> list[Path]:
    """Carry out an edit on a job file; give the job files that come of it.

    Parameters
    ----------
    path
        The job file; it is left as it is, the changed ones stand beside it.
    edit
        The edit as it is printed.
    library
        Files of the library by id, for ``trayopt library show``.
    """
    parts = documents(edit)
    if any("job file" in head for head, _ in parts):
        return [_written(path, f"box-{i}.yaml", part) for i, (_, part) in enumerate(parts, start=1)]
    own = "" if parts[0][0] else parts[0][1]
    for head, part in parts if parts[0][0] else parts[1:]:
        copy = next((line for line in own.splitlines() if line.startswith("# trayopt library show")), None)
        if copy is None:
            file = path.parent / head
            file.write_text(write(merged(read(file.read_text(encoding="utf-8")), part)), encoding="utf-8")
            continue
        source, target = re.fullmatch(r"# trayopt library show --kind enclosure (\S+) > (\S+)", copy).groups()  # type: ignore[union-attr]
        assert target == head
        box = merged(read(library[source].read_text(encoding="utf-8")), part)
        (path.parent / target).write_text(write(box), encoding="utf-8")
    return [_written(path, "changed.yaml", own)]


def _written(path: Path, name: str, part: str) -> Path:
    target = path.parent / name
    target.write_text(write(merged(read(path.read_text(encoding="utf-8")), part)), encoding="utf-8")
    return target
