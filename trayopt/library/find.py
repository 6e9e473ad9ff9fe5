"""The files of the library: the models that come with trayopt, and folders that the user names."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Literal, get_args

from trayopt.domain.base import ID, LONGEST_ID
from trayopt.domain.cable import Cable
from trayopt.domain.hardware import Enclosure, Tray, TubeSet
from trayopt.domain.said import said
from trayopt.errors import InputError

Kind = Literal["tray", "enclosure", "cable", "tubes"]
KINDS: tuple[Kind, ...] = get_args(Kind)
FOLDERS: dict[Kind, str] = {"tray": "trays", "enclosure": "enclosures", "cable": "cables", "tubes": "tubes"}
MODELS: dict[Kind, type[Tray] | type[Enclosure] | type[Cable] | type[TubeSet]] = {
    "tray": Tray,
    "enclosure": Enclosure,
    "cable": Cable,
    "tubes": TubeSet,
}
LIST = "trayopt library list"
"""What shows the entries that there are."""
MOST_FILES = 20_000


def shipped() -> Path:
    """Return the folder of the models that come with trayopt: inside the package, or next to the package in a source checkout."""
    package = Path(__file__).resolve().parent.parent
    inside = package / "_models"
    return inside if inside.is_dir() else package.parent / "models"


class Library:
    """A library that finds the file of an entry by kind and id; the name of the file is the id.

    Parameters
    ----------
    folders
        The user's folders. They come before the models of trayopt, and later folders come before earlier ones. A folder has the
        same subfolders as the models (``trays``, ``cables`` …), or files anywhere below it that give their ``kind``.

    Raises
    ------
    InputError
        If a folder does not exist, or holds too many files.
    """

    def __init__(self, folders: Sequence[Path] = ()) -> None:
        self.folders = tuple(folders)
        for folder in self.folders:
            if not folder.is_dir():
                hint = said("name a folder that is there with --library")
                raise InputError.one(said("there is no such folder"), source=str(folder), hint=hint)
        self._found: dict[Path, dict[str, list[Path]]] = {}

    def candidates(self, kind: Kind, entry: str) -> Iterator[Path]:
        """Yield the files that may hold an entry, in order of search; a file of another kind may be among them."""
        if len(entry) > LONGEST_ID or not re.match(ID, entry):
            return  # not an id: used as a path, it could lead out of the folders
        for folder in reversed(self.folders):
            usual = folder / FOLDERS[kind] / f"{entry}.yaml"
            if usual.is_file():
                yield usual
            yield from (path for path in self._below(folder).get(entry, ()) if path != usual)
        usual = shipped() / FOLDERS[kind] / f"{entry}.yaml"
        if usual.is_file():
            yield usual

    def names(self, kind: Kind) -> list[str]:
        """Return the ids of possible entries of a kind, sorted. Only the names of files are looked at."""
        found = {path.stem for path in (shipped() / FOLDERS[kind]).glob("*.yaml")}
        others = {FOLDERS[other] for other in KINDS if other != kind}
        for folder in self.folders:
            for entry, paths in self._below(folder).items():
                if any(path.parent.name not in others for path in paths):
                    found.add(entry)
        return sorted(found)

    def files(self) -> list[Path]:
        """Return every file that may be an entry, in the user's folders and the models of trayopt, in order of search."""
        found = []
        for folder in reversed(self.folders):
            found += sorted(path for paths in self._below(folder).values() for path in paths)
        for kind in KINDS:
            found += sorted((shipped() / FOLDERS[kind]).glob("*.yaml"))
        return found

    def _below(self, folder: Path) -> dict[str, list[Path]]:
        """List the YAML files below a user's folder by name, without following links to folders."""
        if folder not in self._found:
            found: dict[str, list[Path]] = {}
            seen = 0
            for root, folders, names in os.walk(folder):
                folders.sort()
                for name in sorted(names):
                    seen += 1
                    if name.endswith(".yaml"):
                        found.setdefault(name.removesuffix(".yaml"), []).append(Path(root, name))
                if seen > MOST_FILES:
                    raise InputError.one(
                        said("the folder holds too many files to be a library"),
                        source=str(folder),
                        allowed=said("up to {most:,}", most=MOST_FILES),
                        hint=said("name the folder of the library itself"),
                    )
            self._found[folder] = found
        return self._found[folder]
