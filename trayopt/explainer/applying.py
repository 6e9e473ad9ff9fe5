"""A way out carried out: its edits put into copies of the files that they name, and the plan that proved it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from trayopt.domain.job import Job
from trayopt.errors import SolverFault
from trayopt.explainer.edits import documents
from trayopt.explainer.why_not import Proven
from trayopt.formats.source import read_bytes, read_text
from trayopt.formats.yaml_edit import YamlFile
from trayopt.formats.yaml_in import MOST_BYTES
from trayopt.library.find import Library
from trayopt.library.references import references
from trayopt.library.resolve import Resolver

MOST_TABLE = 50_000_000
JOB_HEAD = "job file "
"""How the head of a document begins that is for one of several boxes."""


class Files:
    """The files that a way out makes: jobs, and the files that they name by path, all in one folder.

    Parameters
    ----------
    source
        The job file; it stays as it is.
    proven
        The way out.
    library
        Where a box is copied from before it is changed.
    """

    def __init__(self, source: Path, proven: Proven, library: Library) -> None:
        self.source, self.proven, self.library = source, proven, library
        self.made: dict[str, bytes] = {}
        self._names: dict[Path, str] = {}
        self.jobs: list[str] = []
        parts = documents(proven.way.edit)
        several = len(proven.jobs) > 1
        own = [text for head, text in parts if head in {"", source.name} or head.startswith(JOB_HEAD)]
        self._boxes = {head: text for head, text in parts if head not in {"", source.name} and not several}
        for i, job in enumerate(proven.jobs):
            name = f"{source.stem}-{i + 1}.yaml" if several else f"{source.stem}.yaml"
            self.jobs.append(name)
            self._job(name, own[i] if i < len(own) else "", job)

    def origins(self) -> Iterator[tuple[str, Path]]:
        """Yield each file with its original."""
        yield from ((name, self.source.resolve()) for name in self.jobs)
        yield from ((name, path) for path, name in self._names.items())

    def _job(self, name: str, document: str, job: Job) -> None:
        file = YamlFile(read_text(self.source, MOST_BYTES))
        if isinstance(file.get(("joins",)), str) and "\njoins:" in f"\n{document}":
            joins = [{"a": str(join.a), "b": str(join.b), "name": join.name} for join in job.joins]
            file.put(("joins",), joins)
            document = _without("joins", document)
        try:
            file.merge(document)
        except ValueError as wrong:
            raise SolverFault(f"the edit does not fit its file: {wrong}") from wrong
        folder = self.source.parent
        for path in references(file):
            named = str(file.get(path))
            document = self._boxes.get(named, "") if path == ("enclosure",) else ""
            file.put(path, self._copied(folder / named, document, named))
        self.made[name] = file.text().encode()

    def _copied(self, path: Path, document: str, named: str) -> str:
        """Take a file along, changed where the edit says so; give its name in the folder."""
        origin = path if path.exists() or not document else self._of_library(named)
        key = path.resolve()
        if key not in self._names:
            self._names[key] = self._free(path.name)
            if path.suffix.lower() in {".csv", ".xlsx"}:
                self.made[self._names[key]] = read_bytes(path, MOST_TABLE)
            else:
                self._entry(origin, document, self._names[key])
        return self._names[key]

    def _entry(self, origin: Path, document: str, name: str) -> None:
        file = YamlFile(read_text(origin, MOST_BYTES))
        try:
            file.merge(document)
        except ValueError as wrong:
            raise SolverFault(f"the edit does not fit {origin}: {wrong}") from wrong
        for path in references(file):
            inner = self._copied(origin.parent / str(file.get(path)), "", "")
            file.put(path, os.path.relpath(inner, Path(name).parent))
        self.made[name] = file.text().encode()

    def _free(self, name: str) -> str:
        """Return a file name that is free in the folder; an entry keeps its name, which is its id."""
        taken = {*self._names.values(), *self.jobs}
        return next(each for each in (name, *(f"{i}/{name}" for i in range(2, 3000))) if each not in taken)

    def _of_library(self, named: str) -> Path:
        """Return the file of the library's box that is copied before it is changed."""
        found = Resolver(self.library).find("enclosure", self.proven.jobs[0].enclosure.id)
        if found is None:
            raise SolverFault(f"the box that {named} is a copy of is not in the library")
        return found


def _without(key: str, document: str) -> str:
    """Leave out what a document says under a key."""
    kept, inside = [], False
    for line in document.splitlines():
        inside = line.startswith(f"{key}:") or (inside and line.startswith((" ", "#")))
        if not inside:
            kept.append(line)
    return "\n".join(kept)
