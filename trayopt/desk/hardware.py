"""Hardware of the job as forms: values are corrected in its files; entries of the library are first copied beside the job."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trayopt import api
from trayopt.desk.document import Document
from trayopt.desk.edits import number_of, shown
from trayopt.desk.tongues import spoken_fault
from trayopt.domain.hardware import Enclosure
from trayopt.domain.said import said
from trayopt.errors import Fault, InputError
from trayopt.formats.locate import Path as DataPath
from trayopt.formats.locate import path_text
from trayopt.formats.yaml_edit import YamlFile
from trayopt.formats.yaml_in import parse_yaml
from trayopt.library.free_place import stack_beside
from trayopt.library.starters.draft import ASSUMED, MEASURED
from trayopt.library.uses import comments_of

if TYPE_CHECKING:
    from trayopt.library.uses import Use

Plain = dict[str, Any]
NOT_SHOWN = frozenset({"kind", "$schema"})
BESIDE_MM = 5
"""Distance between a port and its copy."""
WORD = re.compile(rf"# *{ASSUMED}\b.*$")


@dataclass
class Row:
    """A row of a table: its head, its path, and its values by key, including the values of inner mappings."""

    head: str
    path: DataPath
    values: dict[str, Any] = field(default_factory=dict)


# -- views -----------------------------------------------------------------------------------------------------------


def shown_hardware(document: Document) -> list[Plain]:
    """Return the parts that the job uses, with their values as tables, and with faults and warnings at their cells."""
    reading = document.reading
    said = [(fault, "wrong") for fault in reading.faults] + [(fault, "unusual") for fault in reading.warnings]
    return [_part(document, use, said) for use in _uses(document)]


def _uses(document: Document) -> list[Use]:
    try:
        return api.hardware_of(document.job_disk.path, library=document.library, texts=document.texts())
    except InputError:
        return []


def picture(document: Document, index: int, language: str) -> str:
    """Draw a part, with its texts in a language; the result is empty if the part cannot be built or does not exist."""
    uses = _uses(document)
    return api.use_picture(uses[index], language) if 0 <= index < len(uses) else ""


def _part(document: Document, use: Use, said: list[tuple[Fault, str]]) -> Plain:
    data: Any = parse_yaml(use.text, str(use.file)).get(use.base)
    notes = comments_of(use.text)
    mine = [(fault, level) for fault, level in said if fault.source == str(use.file)]
    tables = []
    for name, rows in _tables(data).items():
        columns = list(dict.fromkeys(key for row in rows for key in row.values))
        tables.append(
            {
                "name": name, "columns": columns,
                "rows": [
                    {
                        "head": row.head, "at": [*use.base, *row.path],
                        "cells": [_cell(use, row, key, notes, mine) for key in columns],
                    }
                    for row in rows
                ],
            }
        )  # fmt: skip
    own = use.file == document.job_disk.path
    return {
        "kind": use.kind, "id": str(data.get("id", "")) if isinstance(data, Mapping) else "", "file": str(use.file),
        "name": "" if own else use.file.name, "where": "job" if own else "library" if use.shared else "own",
        "tables": tables, "drawn": use.model is not None,
        "built": use.model is not None and all(level != "wrong" for _, level in mine),
    }  # fmt: skip


def _tables(data: Any) -> dict[str, list[Row]]:
    """Divide an entry into tables: one for its own values, and one for each list in it."""
    tables: dict[str, list[Row]] = {"": []}

    def walk(value: Mapping[str, Any], name: str, path: DataPath, head: str) -> None:
        row = Row(head, path)
        tables.setdefault(name, []).append(row)
        flat(value, row, "", name)

    def flat(value: Mapping[str, Any], row: Row, before: str, name: str) -> None:
        for key, inner in value.items():
            full, at = f"{before}{key}", (*row.path, *before.split(".")[:-1], key)
            if isinstance(inner, Mapping):
                flat(inner, row, f"{full}.", name)
            elif isinstance(inner, tuple) and inner and all(isinstance(item, Mapping) for item in inner):
                for i, item in enumerate(inner):
                    said = str(item.get("id", i + 1))
                    walk(item, f"{name}.{full}".strip("."), (*at, i), f"{row.head} {said}".strip())
            elif key not in NOT_SHOWN and not (not row.path and key == "id"):
                row.values[full] = inner

    if isinstance(data, Mapping):
        walk(data, "", (), "")
    return {name: rows for name, rows in tables.items() if any(row.values for row in rows)}


def _cell(use: Use, row: Row, key: str, notes: Mapping[DataPath, str], said: list[tuple[Fault, str]]) -> Plain:
    at = (*use.base, *row.path, *key.split("."))
    note = next((notes[at[:end]] for end in range(len(at), len(use.base), -1) if at[:end] in notes), "")
    word = next((word for word in (ASSUMED, MEASURED) if note.startswith(word)), "")
    where = path_text(at)
    found = [
        (spoken_fault(fault), level) for fault, level in said if re.match(rf"{re.escape(where)}(\[|$)", fault.where)
    ]
    return {
        "key": key, "at": list(at), "text": shown(row.values.get(key)), "state": word, "note": note,
        "wrong": [text for text, level in found if level == "wrong"],
        "unusual": [text for text, level in found if level == "unusual"],
    }  # fmt: skip


# -- changes ---------------------------------------------------------------------------------------------------------


def put(document: Document, file: str, at: DataPath, text: str | None) -> None:
    """Put a value into a part, or, without a text, mark its value as measured.

    Parameters
    ----------
    document
        The open document.
    file
        The file of the part.
    at
        The path in the file.
    text
        The value as it was typed; an empty text removes the key.

    Raises
    ------
    InputError
        If the job uses no such part, or the part has no such value.
    """
    use, copies, target = _own(document, file, at)
    changed = YamlFile(copies.texts[target])
    holder = changed.get(at[:-1])
    if not isinstance(at[-1], str) or not isinstance(holder, Mapping) or (text is None and at[-1] not in holder):
        raise InputError.one(said("the part has no such value"), source="desk", found=path_text(at))
    if text is not None:
        _put_value(changed, at, text.strip())
    copies.texts[target] = _measured(changed.text(), at)
    document.write_files(copies.texts, "wrote", f"{use.file.stem} {path_text(at[len(use.base) :])}")


def put_entry(document: Document, file: str, at: DataPath, *, out: bool) -> None:
    """Remove an entry from a list of a part, or insert a copy after it, with an id of its own.

    Parameters
    ----------
    document, file
        As for ``put``.
    at
        The path of the entry in the file.
    out
        Whether to remove the entry.

    Raises
    ------
    InputError
        If the job uses no such part, the part has no such entry, or the box has no room for one more stack.
    """
    use, copies, target = _own(document, file, at)
    changed = YamlFile(copies.texts[target])
    *before, number = at
    entries = changed.get(tuple(before))
    there = isinstance(number, int) and isinstance(entries, list) and 0 <= number < len(entries)
    if not isinstance(number, int) or not there or not isinstance(entries[number], Mapping):
        raise InputError.one(said("the part has no such value"), source="desk", found=path_text(at))
    if out:
        changed.take(at)
    else:
        width = changed.get((*use.base, "size_mm", 0))
        plain = [json.loads(json.dumps(entry)) for entry in entries]
        made = _copied(plain, number, width)
        if tuple(before) == (*use.base, "stacks") and isinstance(use.model, Enclosure):
            made |= _placed(use.model, number, made["id"])
        changed.add_at((*before, number + 1), made)
    copies.texts[target] = changed.text()
    where = f"{use.file.stem} {path_text(at[len(use.base) :])}"
    document.write_files(copies.texts, "took_rows" if out else "wrote", where)


def _copied(entries: list[Plain], number: int, width: object) -> Plain:
    """Copy an entry with a new id: a guide is put halfway to the next guide, a port next to the original.

    Where a stack is put depends on the whole box (``_placed``).
    """
    made, ids = dict(entries[number]), {entry.get("id") for entry in entries}
    if "id" in made:
        made["id"] = next(name for i in range(2, 10_000) if (name := f"{made['id']}-{i}") not in ids)
    if "opening_mm2" in made:
        following = entries[(number + 1) % len(entries)]
        for key in ("x_mm", "y_mm"):
            made[key] = round((made[key] + following[key]) / 2)
    elif "bore_mm" in made and "x_mm" in made:
        along = "y_mm" if made["x_mm"] in {0, width} else "x_mm"
        made[along] = round(made[along] + made["bore_mm"] + BESIDE_MM)
    return made


def _placed(box: Enclosure, number: int, name: str) -> Plain:
    """Return where a copy of a stack stands, and where it is entered.

    Raises
    ------
    InputError
        If the box has no room for it.
    """
    found = stack_beside(box, number, name)
    if found is None:
        raise InputError.one(
            said("box {box} has no room for another stack like {stack}", box=box.id, stack=box.stacks[number].id),
            source="desk",
            hint=said("take the sizes of a larger box, or give a stack more positions"),
        )
    return {"at_mm": list(found.at_mm), "ends": [end.model_dump() for end in found.ends]}


def _own(document: Document, file: str, at: DataPath) -> tuple[Use, _Copies, Path]:
    """Return the part to which a place belongs, the changed texts, and the file in which the part may be changed."""
    uses = _uses(document)
    use = next((use for use in uses if str(use.file) == file and at[: len(use.base)] == use.base), None)
    if use is None or not at:
        raise InputError.one(said("the job uses no such part"), source="desk", found=file)
    copies = _Copies(document, uses)
    return use, copies, copies.own(use)


def _put_value(file: YamlFile, at: DataPath, text: str) -> None:
    old = file.get(at)
    if not text:
        file.take(at)
    elif isinstance(old, list):
        parts = [number_of(part) for part in re.split(r"[,;×]|(?<=\d) *x *(?=\d)", text) if part.strip()]
        if len(parts) == len(old):
            for i, part in enumerate(parts):
                old[i] = part
        else:
            file.put(at, parts)
    elif isinstance(old, str):
        file.put(at, type(old)(text))
    elif isinstance(old, bool):
        file.put(at, {"true": True, "false": False}.get(text.lower(), text))
    else:
        file.put(at, number_of(text))


def _measured(text: str, at: DataPath) -> str:
    """Change the comment on a value from assumed to measured, if it was called assumed."""
    notes = comments_of(text)
    note = next((notes[at[:end]] for end in range(len(at), 0, -1) if at[:end] in notes), "")
    keys = parse_yaml(text, "").keys
    if not note.startswith(ASSUMED) or at not in keys:
        return text
    lines = text.splitlines()
    line = keys[at][0] - 1
    lines[line] = WORD.sub(f"# {MEASURED}", lines[line]) if at in notes else f"{lines[line].rstrip()}  # {MEASURED}"
    return "\n".join(lines) + "\n"


class _Copies:
    """Texts of changed files; a shared file is copied beside the job, with everything that names it."""

    def __init__(self, document: Document, uses: list[Use]) -> None:
        self.job, self.texts = document.job_disk.path, document.texts()
        self._uses = {use.file: use for use in uses}
        self._copied: dict[Path, Path] = {}

    def own(self, use: Use) -> Path:
        """Return a file of the part that may be changed: its own, or a copy to which all references now lead."""
        if not use.shared:
            self.texts.setdefault(use.file, use.text)
            return use.file
        if use.file not in self._copied:
            made = self._copied[use.file] = self._free(use.file.stem)
            self.texts[made] = self._carried(use, made)
            for holder, at in use.named:
                there = self.own(self._uses[holder]) if holder in self._uses and holder != self.job else holder
                file = YamlFile(self.texts[there])
                file.put(at, os.path.relpath(made, there.parent))
                self.texts[there] = file.text()
        return self._copied[use.file]

    def _free(self, stem: str) -> Path:
        names: Iterator[str] = (f"{stem}{'' if i == 1 else f'-{i}'}.yaml" for i in range(1, 10_000))
        folder = self.job.parent
        return next(folder / name for name in names if folder / name not in self.texts and not (folder / name).exists())

    def _carried(self, use: Use, made: Path) -> str:
        """Return the text of a copy, with its own id, and with paths that are relative to its place."""
        file = YamlFile(use.text)
        if file.get(("id",)) != made.stem:
            file.put(("id",), made.stem)
        for inner in self._uses.values():
            for holder, at in inner.named:
                value = file.get(at) if holder == use.file else None
                if isinstance(value, str) and value.endswith(".yaml"):
                    file.put(at, os.path.relpath(use.file.parent / value, made.parent))
        return file.text()
