"""The manifest of a batch: job files, folders and sweeps, as a stream of items that are read one at a time."""

from __future__ import annotations

import errno
import os
import re
import stat
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Protocol

from trayopt.batches.sweep import Sweep, read_sweep
from trayopt.domain.job import Job
from trayopt.domain.sweep import FACTORS
from trayopt.errors import Fault, InputError
from trayopt.formats.locate import printable
from trayopt.formats.yaml_in import read_yaml
from trayopt.library.find import Library
from trayopt.library.job import read_located
from trayopt.library.resolve import Resolver
from trayopt.rules.registry import fill

_SCHEMA = re.compile(r"""^[\s{]*["']?schema["']?\s*:\s*["']?trayopt/(job|sweep)/""", re.MULTILINE)
_KEYS = re.compile(r"""^["']?([a-z]+)["']?\s*:""", re.MULTILINE)
MOST_LOOK_BYTES = 2_000_000
MOST_LENT = 500
MOST_NAME_BYTES = 120
"""Limit of a part of a plan's path. File systems take 255 bytes, and temporary names are longer."""


class Readable(Protocol):
    """Anything from which a job can be read."""

    def job(self) -> Job:
        """Read the job; raise InputError with its faults."""


@dataclass(frozen=True)
class Item:
    """A job of the batch, not yet read.

    Parameters
    ----------
    name
        The name, which is unique in the batch; the path of the plan is made from it.
    source
        The file from which the job comes.
    values
        Names of the job's values by factor; empty for a job file.
    made_from
        The reader of the job.
    why_not
        Why the box cannot be built, so that there is nothing to solve; empty if it can.
    """

    name: str
    source: str
    values: dict[str, str]
    made_from: Readable
    why_not: str = ""

    def job(self) -> Job:
        """Read the job.

        Raises
        ------
        InputError
            With every fault.
        """
        return self.made_from.job()

    @property
    def plan_path(self) -> str:
        """Path of the plan below the folder of results, in characters that every file system takes."""
        return "/".join(("plans", *map(_safe, self.name.split("/")))) + ".json"

    @property
    def page_path(self) -> str:
        """Path of the page, beside the plan."""
        return self.plan_path.removesuffix(".json") + ".html"

    def path_of(self, kind: str) -> str:
        """Return the path of the plan, or of the page or certificate beside it."""
        if kind == "certificate":
            return self.plan_path.removesuffix(".json") + ".certificate.json"
        return self.plan_path if kind == "plan" else self.page_path


class Shelf:
    """Shared reader of everything to which many job files refer, so that each part is read once."""

    def __init__(self, folders: Sequence[Path] = ()) -> None:
        self._library = Library(folders)
        self._resolver = Resolver(self._library)
        self._lent = 0
        self.unusual: set[Fault] = set()
        """Warnings about the hardware of the jobs that were read so far."""

    def resolver(self) -> Resolver:
        """Return the shared resolver; it is replaced now and then, so that it does not grow with the number of jobs."""
        self._lent += 1
        if self._lent % MOST_LENT == 0:
            self.clear()
        return self._resolver

    def clear(self) -> None:
        """Forget everything that was read, so that its faults are reported again for the next job that refers to it."""
        self._resolver = Resolver(self._library)


@dataclass(frozen=True)
class JobFile:
    """A job in a file of its own."""

    path: Path
    shelf: Shelf

    def job(self) -> Job:
        """Read the file."""
        try:
            located, resolver = read_yaml(self.path), self.shelf.resolver()
            return read_located(located, self.path.parent, resolver, fill_rules=fill, warn=self.shelf.unusual.add)
        except InputError:
            self.shelf.clear()
            raise


@dataclass(frozen=True)
class WrongSweep:
    """A sweep that cannot be read: it counts as one wrong job and stops no other job."""

    path: Path
    wrong: InputError

    def job(self) -> Job:
        """Raise the error of the sweep."""
        raise self.wrong


Part = JobFile | Sweep | WrongSweep


@dataclass(frozen=True)
class Manifest:
    """Everything to run. A sweep is kept as it is written, and its jobs are made when items are asked for.

    Parameters
    ----------
    parts
        Job files and sweeps with their names.
    left_out
        YAML files below the folders that are neither jobs nor sweeps.
    """

    parts: tuple[tuple[str, Part], ...]
    left_out: tuple[str, ...] = ()

    def count(self) -> int:
        """Count the jobs without making them."""
        return sum(part.count() if isinstance(part, Sweep) else 1 for _, part in self.parts)

    def wrong(self) -> list[Fault]:
        """Return the faults of sweeps."""
        return [fault for _, part in self.parts if isinstance(part, WrongSweep) for fault in part.wrong.faults]

    def unusual(self) -> list[Fault]:
        """Return the warnings about the hardware of the sweeps, and of the job files that were read so far."""
        told: set[Fault] = set()
        for _, part in self.parts:
            if isinstance(part, JobFile):
                told.update(part.shelf.unusual)
            elif isinstance(part, Sweep):
                told.update(part.unusual, part.resolver.unusual)
        return sorted(told)

    def items(self) -> Iterator[Item]:
        """Yield the items one at a time, in the order of the paths; a name that is taken gets a number added."""
        taken: Counter[bytes] = Counter()
        for item in self._items():
            key = _key(item.name)
            taken[key] += 1
            if taken[key] == 1:
                yield item
                continue
            while _key(numbered := f"{item.name}~{taken[key]}") in taken:
                taken[key] += 1
            taken[_key(numbered)] += 1
            yield Item(numbered, item.source, item.values, item.made_from, item.why_not)

    def _items(self) -> Iterator[Item]:
        for name, part in self.parts:
            if not isinstance(part, Sweep):
                yield Item(printable(name), printable(str(part.path)), {}, part)
                continue
            for made in part.jobs():
                values = {factor: made.values[factor] for factor in FACTORS}
                yield Item(printable(made.name), printable(part.located.source), values, made, made.why_not)


def read_manifest(paths: Sequence[Path], folders: Sequence[Path] = ()) -> Manifest:
    """Find the job files and sweeps that paths name; for a folder, every job file and sweep below it.

    Sweeps are read in full and checked. Job files are read when their turn comes, and a wrong job file becomes a line of the
    results. So does a file below a folder that cannot be read, and a wrong sweep if there is something else to run.

    Raises
    ------
    InputError
        With every path that does not exist; or, if there is nothing to run, with every fault.
    """
    parts: list[tuple[str, Part]] = []
    faults: list[Fault] = []
    left_out: list[str] = []
    shelf = Shelf(folders)
    for path, name, asked in _files(paths, faults):
        kind = _kind(path)
        if kind == "sweep":
            try:
                parts.append((name, read_sweep(read_yaml(path), name, path.parent, folders)))
            except InputError as wrong:
                parts.append((name, WrongSweep(path, wrong)))
        elif asked or kind in {"job", "unreadable"}:
            parts.append((name, JobFile(path, shelf)))
        else:
            left_out.append(printable(str(path)))
    made = Manifest(tuple(parts), tuple(left_out))
    if not parts and not faults:
        hint = "name job files (schema: trayopt/job/2), sweeps (schema: trayopt/sweep/2), or folders that hold some"
        faults += InputError.one("there is no job to run", source=", ".join(map(str, paths)), hint=hint).faults
    if faults or all(isinstance(part, WrongSweep) for _, part in parts):
        raise InputError([*faults, *made.wrong()])
    return made


def _files(paths: Sequence[Path], faults: list[Fault]) -> Iterator[tuple[Path, str, bool]]:
    """Yield each file, the name for its jobs, and whether the file itself was named."""
    for path in paths:
        if path.is_dir():
            for below in _yaml_below(path):
                yield below, below.relative_to(path).with_suffix("").as_posix(), False
        elif path.exists():
            yield path, path.stem, True
        else:
            faults += InputError.one("there is no such file or folder", source=str(path)).faults


def _yaml_below(folder: Path) -> Iterator[Path]:
    """Yield every YAML file below a folder, following links, and every folder that cannot be opened."""
    unreadable: list[OSError] = []
    seen: set[tuple[int, int]] = set()
    for root, folders, names in os.walk(folder, onerror=unreadable.append, followlinks=True):
        try:
            state = Path(root).stat()
        except OSError as wrong:
            unreadable.append(wrong)
            continue
        if (state.st_dev, state.st_ino) in seen:
            folders.clear()
            continue
        seen.add((state.st_dev, state.st_ino))
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            if name.casefold().endswith((".yaml", ".yml")) and not name.startswith("."):
                yield Path(root, name)
    for error in unreadable:
        yield Path(os.fsdecode(error.filename))


def _kind(path: Path) -> str:
    """Find the kind of a file from its keys alone, so that nobody has to wait for thousands of jobs to be read.

    A job without a schema is known by its keys; an entry of the library gives its kind. Text in another encoding is looked
    at, too; it is reported as unreadable when its turn comes.
    """
    try:
        raw = _beginning(path)
    except OSError:
        return "unreadable"
    text = raw.replace(b"\0", b"").decode(errors="replace").lstrip("\ufeff\ufffd")
    schema = _SCHEMA.search(text)
    if schema:
        return schema[1]
    keys = set(_KEYS.findall(text))
    return "job" if {"enclosure", "trunks"} <= keys and "kind" not in keys else ""


def _beginning(path: Path) -> bytes:
    """Return the first bytes of a regular file, without ever waiting, as reading a pipe might."""
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise OSError(errno.EINVAL, os.strerror(errno.EINVAL))
        with os.fdopen(handle, "rb", closefd=False) as file:
            return file.read(MOST_LOOK_BYTES)
    finally:
        os.close(handle)


def _key(name: str) -> bytes:
    """Return a short key of a name for the set of taken names; case is ignored, as some file systems ignore it."""
    return sha256(name.casefold().encode()).digest()[:12]


def _safe(part: str) -> str:
    """Make a file name from a part of a name: unusual characters become hyphens, and long names are cut and get a digest."""
    text = re.sub(r"[^\w.~-]+", "-", part).strip(".") or "-"
    if text == part and len(text.encode()) <= MOST_NAME_BYTES:
        return text
    short = text.encode()[: MOST_NAME_BYTES - 11].decode(errors="ignore")
    return f"{short}-{sha256(part.encode()).hexdigest()[:10]}"
