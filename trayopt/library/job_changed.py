"""Writing a changed job into the text of its file: the changes are added, and everything else stays, even comments."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from itertools import dropwhile
from pathlib import Path
from typing import Any

from trayopt.domain.cable import Cable
from trayopt.domain.job import Job
from trayopt.formats.yaml_edit import YamlFile
from trayopt.library.job_out import as_file, commented
from trayopt.library.references import references

NOTE = "# Note: "
"""The beginning of a line about what was left when a file was written."""


def changed_text(text: str, folder: Path, target: Path, before: Job, after: Job, head: str) -> str:
    """Return the text of a job file with the changes of a job: pins, parameters of rules, lengths, added parts.

    Parameters
    ----------
    text
        The text of the file before: YAML that was read without a fault.
    folder, target
        The folder of that file, and the folder of the new file; paths are rewritten so that they lead to the same files.
    before, after
        The job of the file, and the job to write.
    head
        The comment at the beginning. Its first paragraph is the same for all files of a kind, and replaces that of the file
        before, with the notes that follow; a further paragraph is written as such a note.
    """
    kind, *notes = head.split("\n\n")
    file = YamlFile(without_head(text, kind))
    top = commented(kind) + "".join(f"{NOTE}{note}\n" for note in notes)
    for path in references(file):
        file.put(path, os.path.relpath(folder / str(file.get(path)), target))
    data = as_file(after)
    for index, entry in enumerate(file.get(("trunks",))):
        for old, new in zip(before.trunks, after.trunks, strict=False):
            if entry["id"] == old.id and new.exposed_mm != old.exposed_mm:
                file.put(("trunks", index, "exposed_mm"), new.exposed_mm)
    for trunk in after.trunks[len(before.trunks) :]:
        file.add(("trunks",), {"id": trunk.id, "cable": _cable(file, before, trunk.cable)})
    if after.joins != before.joins:
        listed = isinstance(file.get(("joins",)), list)
        new = data["joins"][len(before.joins) if listed else 0 :]
        if not listed:
            file.put(("joins",), [])
        for join in new:
            file.add(("joins",), _without_nothing(join))
    if after.pins != before.pins:
        file.put(("pins",), [_without_nothing(pin) for pin in data["pins"]])
    for rule, parameters in _parameters(before, after):
        _set(file, rule, after.rules[rule].level, parameters)
    return top + file.text()


def without_head(text: str, head: str) -> str:
    """Return the text of a job file without a comment at its beginning and the notes that follow it."""
    if not text.startswith(commented(head)):
        return text
    lines = text.removeprefix(commented(head)).splitlines(keepends=True)
    return "".join(dropwhile(lambda line: line.startswith(NOTE), lines))


def _cable(file: YamlFile, before: Job, cable: Cable) -> object:
    """Return the reference to a cable as a trunk of the file writes it; otherwise the id of the cable."""
    first_end = {gone.trunk: gone.ends[0] for gone in before.through}
    for entry in file.get(("trunks",))[: len(before.trunks)]:
        name = str(entry["id"])
        if before.trunk_by_id[first_end.get(name, name)].cable == cable:
            return entry["cable"]
    return cable.id


def _parameters(before: Job, after: Job) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the parameters of rules that have changed."""
    for rule, setting in after.rules.items():
        old = before.rules[rule].parameters
        new = {key: value for key, value in setting.parameters.items() if value != old.get(key)}
        if new:
            yield rule, new


def _set(file: YamlFile, rule: str, level: str, parameters: Mapping[str, Any]) -> None:
    """Put parameters of a rule into the file, in addition to what the file says about the rule."""
    if not isinstance(file.get(("rules",)), Mapping):
        file.put(("rules",), {})
    said = file.get(("rules", rule))
    if not isinstance(said, Mapping):
        file.put(("rules", rule), {"level": level, **parameters})
        return
    for key, value in parameters.items():
        file.put(("rules", rule, key), value)


def _without_nothing(entry: Mapping[str, Any]) -> dict[str, Any]:
    """Leave out keys of a pin or a join whose value is None or False."""
    return {key: value for key, value in entry.items() if value is not None and value is not False}
