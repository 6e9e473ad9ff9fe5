"""The list of all entries of a library, with errors and warnings about each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from trayopt.domain.cable import Cable
from trayopt.domain.hardware import Enclosure, Tray, TubeSet, trays_in_words
from trayopt.domain.said import said
from trayopt.errors import Fault, InputError
from trayopt.formats.locate import describe
from trayopt.formats.validate import did_you_mean
from trayopt.formats.yaml_in import read_yaml
from trayopt.library.find import FOLDERS, KINDS, LIST, Kind, Library
from trayopt.library.resolve import Resolver

Model = Tray | Enclosure | Cable | TubeSet


@dataclass(frozen=True)
class Entry:
    """An entry and its file."""

    kind: Kind
    path: Path
    model: Model

    @property
    def summary(self) -> str:
        """The main figures of the entry, on one line."""
        return summary(self.model)


@dataclass
class Survey:
    """The result of reading a library: good entries, errors and warnings, each sorted."""

    entries: list[Entry] = field(default_factory=list)
    errors: list[Fault] = field(default_factory=list)
    warnings: list[Fault] = field(default_factory=list)
    files: int = 0


def survey(library: Library, paths: Sequence[Path] | None = None) -> Survey:
    """Read and validate some files of a library, or all files.

    In a user's folder, files without a kind, such as jobs, are passed over.
    """
    found = Survey()
    resolver = Resolver(library)
    seen: dict[tuple[Kind, str, Path], Path] = {}
    for path in library.files() if paths is None else paths:
        try:
            if paths is None and path.parent.name not in FOLDERS.values() and not _says_kind(path):
                continue
            found.files += 1
            kind, model = resolver.file(path)
        except InputError as wrong:
            found.errors += wrong.faults
            continue
        if not isinstance(model, Model):
            continue
        found.entries.append(Entry(kind, path, model))
        located = resolver.located(path)
        if model.id != path.stem:
            hint = said("rename the file to {model}.yaml, or change the id", model=model.id)
            spot = located.spot(("id",))
            found.errors.append(
                spot.fault(said("the id is not the file's name"), found=model.id, allowed=path.stem, hint=hint)
            )
        folder = next((folder for folder in library.folders if folder in path.parents), path.parent)
        first = seen.setdefault((kind, model.id, folder), path)
        if first != path:
            message = said(
                "the {kind} {model} is given twice in one folder; the other is {first}",
                kind=kind,
                model=model.id,
                first=first,
            )
            found.errors.append(located.spot(("id",)).fault(message, allowed=said("every id once")))
    found.errors = sorted({*found.errors, *resolver.faults, *resolver.unsound})
    found.warnings = sorted(set(resolver.unusual))
    return found


def find_entries(library: Library, name: str, kind: str | None = None) -> list[Entry]:
    """Return the entries with an id: for each kind, the first entry that is found.

    Raises
    ------
    InputError
        If there is no such entry, or its file has faults.
    """
    found = []
    for each in KINDS:
        if kind in {None, each} and name in library.names(each):
            resolver = Resolver(library)
            path = resolver.find(each, name)
            if path is None:
                continue
            model = resolver.entry(each, name)
            if resolver.faults or not isinstance(model, Model):
                raise InputError(resolver.faults)
            found.append(Entry(each, path, model))
    if not found:
        names = [entry for each in KINDS if kind in {None, each} for entry in library.names(each)]
        hint = did_you_mean(name, names) or said("list them with: {command}", command=LIST)
        raise InputError.one(said("there is no entry {name}", name=describe(name)), source="library", hint=hint)
    return found


def file_entry(library: Library, path: Path, kind: str | None = None) -> Entry:
    """Return the entry that a file holds.

    Raises
    ------
    InputError
        If the file cannot be read, holds no entry or an entry of another kind, or refers to something wrong.
    """
    resolver = Resolver(library)
    says, model = resolver.file(path)
    if kind not in {None, says}:
        raise InputError(
            [
                resolver.located(path)
                .spot(("kind",))
                .fault(said("this is not of kind {kind}", kind=kind), found=f"kind: {says}")
            ]
        )
    if resolver.faults or not isinstance(model, Model):
        raise InputError(resolver.faults)
    return Entry(says, path, model)


def _says_kind(path: Path) -> bool:
    data = read_yaml(path).data
    return isinstance(data, dict) and "kind" in data


def summary(model: Model) -> str:
    """Return the main figures of an entry, on one line."""
    if isinstance(model, Tray):
        size = " × ".join(f"{mm:g}" for mm in (*model.size_mm, model.height_mm))
        return f"{model.fibres} fibres, {model.sleeves} sleeves of {model.sleeve_fibres}, {size} mm"
    if isinstance(model, Enclosure):
        trays = ", ".join(f"{stack.id} {trays_in_words(stack)}" for stack in model.stacks)
        return f"{model.fibres:,} fibres: {trays}"
    if isinstance(model, Cable):
        groups = " + ".join(
            f"{group.count} × {group.ribbons * group.ribbon_fibres} ({group.ribbons} × {group.ribbon_fibres})"
            for group in model.subunits
        )
        return f"{model.fibres:,} fibres, {model.construction}, {model.diameter_mm:g} mm: {groups}"
    return "bore / diameter mm: " + ", ".join(f"{tube.bore_mm:g}/{tube.diameter_mm:g}" for tube in model.tubes)
