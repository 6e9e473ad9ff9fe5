"""Resolving references: an id of the library, a path to a ``.yaml`` file, or the object itself, written inline."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple, TypeVar, cast

from pydantic import BaseModel

from trayopt.domain.cable import Cable
from trayopt.domain.hardware import Enclosure, Tray, TubeSet
from trayopt.domain.said import joined, said
from trayopt.errors import Fault, InputError
from trayopt.formats.locate import Located, describe, printable
from trayopt.formats.locate import Path as DataPath
from trayopt.formats.source import read_text, source_name
from trayopt.formats.validate import did_you_mean, validate
from trayopt.formats.yaml_in import MOST_BYTES, parse_yaml, read_yaml
from trayopt.library.find import KINDS, LIST, MODELS, Kind, Library, shipped
from trayopt.library.soundness import remarks

M = TypeVar("M", bound=BaseModel)


class _Made(NamedTuple):
    """An entry with its faults, its errors of soundness, and its warnings."""

    entry: BaseModel | None
    said: tuple[list[Fault], ...]


MOST_FILES = 2_000
MOST_KEPT = 256
"""How many texts of the library's own files are parsed only once, as long as the process runs."""


@lru_cache(maxsize=MOST_KEPT)
def _shipped_data(text: str, source: str) -> Located:
    """Return the data of one of the library's own files. Every explanation reads all of them; nobody changes the result."""
    return parse_yaml(text, source).without("$schema")


class Resolver:
    """Reader of the files that references name; each file is read once.

    Attributes
    ----------
    faults
        Faults of entries that cannot be read.
    unsound
        Errors of hardware that cannot be built as described.
    unusual
        Warnings: unusual sizes, and missing values that nothing depends on.
    """

    def __init__(self, library: Library, texts: Mapping[Path, str] | None = None) -> None:
        self.library = library
        self._texts = {} if texts is None else texts
        """Texts that are read in place of files, such as unsaved changes."""
        self.faults: list[Fault] = []
        self.unsound: list[Fault] = []
        self.unusual: list[Fault] = []
        self._files: dict[Path, Located | InputError] = {}
        self._made: dict[tuple[Kind, Path], _Made] = {}

    def afresh(self) -> Resolver:
        """Return a resolver for another job. It shares the files that were read and starts without faults."""
        other = Resolver(self.library, self._texts)
        other._files, other._made = self._files, self._made
        return other

    def tray(self, located: Located, path: DataPath, base: Path) -> Tray | None:
        """Resolve a reference to a tray; None if something is wrong, which is then in ``faults``."""
        return cast("Tray | None", self._resolve("tray", located, path, base))

    def enclosure(self, located: Located, path: DataPath, base: Path) -> Enclosure | None:
        """Resolve a reference to an enclosure, as ``tray`` does."""
        return cast("Enclosure | None", self._resolve("enclosure", located, path, base))

    def tubes(self, located: Located, path: DataPath, base: Path) -> TubeSet | None:
        """Resolve a reference to a tube set, as ``tray`` does."""
        return cast("TubeSet | None", self._resolve("tubes", located, path, base))

    def cable(self, located: Located, path: DataPath, base: Path) -> Cable | None:
        """Resolve a reference to a cable, as ``tray`` does."""
        return cast("Cable | None", self._resolve("cable", located, path, base))

    def entry(self, kind: Kind, name: str) -> BaseModel | None:
        """Resolve an id that was given on the command line."""
        return self._resolve(kind, Located("library", name), (), Path())

    def file(self, path: Path) -> tuple[Kind, BaseModel | None]:
        """Read a file that gives its own kind.

        Raises
        ------
        InputError
            If the file cannot be read or gives no kind.
        """
        located = self._read(path)
        kind = located.data.get("kind") if isinstance(located.data, dict) else None
        if kind not in KINDS:
            spot = located.spot(("kind",)) if kind is not None else located.spot(())
            found = "" if kind is None else describe(kind)
            raise InputError(
                [
                    spot.fault(
                        said("the file does not say what kind of entry it is"), found=found, allowed=", ".join(KINDS)
                    )
                ]
            )
        return kind, self._file(kind, path, located)

    def located(self, path: Path) -> Located:
        """Return the data of a file, with the places of its values.

        Raises
        ------
        InputError
            If it cannot be read.
        """
        return self._read(path)

    def text_of(self, path: Path) -> str:
        """Return the text of a file, or the text that is read in place of it.

        Raises
        ------
        InputError
            If it cannot be read.
        """
        text = self._texts.get(path)
        return read_text(path, MOST_BYTES) if text is None else text

    def made_at(self, kind: Kind, located: Located, path: DataPath, base: Path) -> BaseModel | None:
        """Return the entry that is written at a path; None if something is wrong, which is then in ``faults``."""
        return self._make(kind, located, path, base)

    def _resolve(self, kind: Kind, located: Located, path: DataPath, base: Path) -> BaseModel | None:
        value = located.get(path)
        spot = located.spot(path)
        if isinstance(value, MODELS[kind]):
            return value
        if isinstance(value, Mapping):
            return self._make(kind, located, path, base)
        if not isinstance(value, str) or not value:
            if path not in located.bad:
                allowed = said("an id of the library, a path ending in .yaml, or the object itself")
                self.faults.append(
                    spot.fault(said("{kind} cannot be used", kind=kind), found=describe(value), allowed=allowed)
                )
            return None
        if value.endswith(".yaml"):
            target = base / value
            try:
                return self._file(kind, target, self._read(target))
            except InputError as wrong:
                self._blame(wrong, located, path, kind)
                return None
        return self._by_id(kind, value, located, path)

    def find(self, kind: Kind, name: str) -> Path | None:
        """Return the file of an entry; None if there is no such entry.

        Raises
        ------
        InputError
            If a file that may hold the entry cannot be read.
        """
        if any(char in name for char in ":/+\\\0"):
            return None
        for path in self.library.candidates(kind, name):
            data = self._read(path).data
            says = data.get("kind", kind) if isinstance(data, dict) else kind
            if says == kind or says not in KINDS:
                return path
        return None

    def _by_id(self, kind: Kind, name: str, located: Located, path: DataPath) -> BaseModel | None:
        try:
            target = self.find(kind, name)
        except InputError as wrong:
            self._blame(wrong, located, path, kind)
            return None
        if target is not None:
            return self._file(kind, target, self._read(target))
        known = self.library.names(kind)
        hint = did_you_mean(name, known) or said("list them with: {command}", command=LIST)
        message = said("there is no {kind} {name} in the library", kind=_noun(kind), name=describe(name))
        few = ", ".join(known) if len(known) <= 8 else ""
        self.faults.append(located.spot(path).fault(message, allowed=few, hint=hint))
        return None

    def _blame(self, wrong: InputError, located: Located, path: DataPath, kind: Kind) -> None:
        """Take over the faults of a file; a fault without a line is reported at the place that names the file."""
        spot = located.spot(path)
        for fault in wrong.faults:
            if fault.line:
                self.faults.append(fault)
            else:
                message = said(
                    "the {kind} {value}: {message}",
                    kind=_noun(kind),
                    value=describe(located.get(path), 300),
                    message=fault.message,
                )
                where = (
                    ""
                    if fault.source == located.get(path)
                    else said("looked for at {place}", place=printable(fault.source))
                )
                hint = joined([text for text in (where, fault.hint) if text], "; ")
                self.faults.append(spot.fault(message, found=fault.found, allowed=fault.allowed, hint=hint))

    def _read(self, path: Path) -> Located:
        if path not in self._files:
            if len(self._files) >= MOST_FILES:
                raise InputError.one(
                    said("too many files are named"), source=str(path), allowed=said("up to {most:,}", most=MOST_FILES)
                )
            try:
                if path not in self._texts and path.is_relative_to(shipped()):
                    self._files[path] = _shipped_data(read_text(path, MOST_BYTES), source_name(path))
                else:
                    self._files[path] = read_yaml(path, self._texts.get(path))
            except InputError as wrong:
                self._files[path] = wrong
        found = self._files[path]
        if isinstance(found, InputError):
            raise found
        return found

    def _file(self, kind: Kind, path: Path, located: Located) -> BaseModel | None:
        key = (kind, path)
        told = (self.faults, self.unsound, self.unusual)
        if key in self._made:
            for mine, theirs in zip(told, self._made[key].said, strict=True):
                mine += theirs
        else:
            before = [len(mine) for mine in told]
            self.faults += located.faults
            made = self._make(kind, located, (), path.parent)
            added = tuple(mine[start:] for mine, start in zip(told, before, strict=True))
            self._made[key] = _Made(made, added)
        return self._made[key].entry

    def _make(self, kind: Kind, located: Located, path: DataPath, base: Path) -> BaseModel | None:
        data = located.get(path)
        settled: list[DataPath] = []
        if isinstance(data, dict):
            says = data.get("kind", kind)
            other = f"kind: {says}" if says != kind and says in KINDS else ""
            if "schema" in data and "kind" not in data:
                other = f"schema: {data['schema']}"
            if other:
                spot = located.spot((*path, other.partition(":")[0]))
                self.faults.append(
                    spot.fault(
                        said("this is not of kind {kind}", kind=_noun(kind)), found=other, allowed=f"kind: {kind}"
                    )
                )
                return None
            if kind == "enclosure":
                data, settled = self._with_trays(located, path, data, base)
        made, faults = validate(cast("type[BaseModel]", MODELS[kind]), data, located, path, settled=settled)
        if isinstance(made, Enclosure | Cable):
            faults += [
                located.spot((*path, *at)).fault(message, allowed=allowed) for at, message, allowed in made.faults()
            ]
        self.faults += faults
        if faults or settled or made is None:
            return None
        for remark in remarks(cast("Tray | Enclosure | Cable | TubeSet", made)):
            fault = located.spot((*path, *remark.path)).fault(
                remark.message, found=remark.found, allowed=remark.allowed
            )
            (self.unsound if remark.level == "error" else self.unusual).append(fault)
        return made

    def _with_trays(
        self, located: Located, path: DataPath, data: dict[str, Any], base: Path
    ) -> tuple[dict[str, Any], list[DataPath]]:
        """Replace references to trays in an enclosure's stacks by the trays; return the paths at which that failed, too."""
        stacks = data.get("stacks")
        settled: list[DataPath] = []
        if not isinstance(stacks, tuple):
            return data, settled
        filled = []
        for i, stack in enumerate(stacks):
            at: DataPath = ("stacks", i, "tray")
            if isinstance(stack, dict) and "tray" in stack:
                tray = self.tray(located, (*path, *at), base)
                if tray is None:
                    settled.append(at)
                else:
                    stack = {**stack, "tray": tray}
            if isinstance(stack, dict) and isinstance(stack.get("trays"), tuple):
                ranges = []
                for j, item in enumerate(stack["trays"]):
                    at = ("stacks", i, "trays", j, "tray")
                    if isinstance(item, dict) and "tray" in item:
                        tray = self.tray(located, (*path, *at), base)
                        if tray is None:
                            settled.append(at)
                        else:
                            item = {**item, "tray": tray}
                    ranges.append(item)
                stack = {**stack, "trays": tuple(ranges)}
            filled.append(stack)
        return {**data, "stacks": tuple(filled)}, settled


def _noun(kind: Kind) -> str:
    return said("set of tubes" if kind == "tubes" else kind)
