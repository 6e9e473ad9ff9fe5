"""What to run: job files, folders and sweeps, as a stream of items that are read one at a time."""

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
"""Of one part of a plan's path; file systems take 255, and temporary names are longer."""


class Readable(Protocol):
    """Something that a job can be read from."""

    def job(self) -> Job:
        """Read it; raises InputError."""


@dataclass(frozen=True)
class Item:
    """One job of the batch, not yet read.

    Parameters
    ----------
    name
        Unique in the batch; the plan's path is made of it.
    source
        The file that it comes from.
    values
        Names of its values by factor; empty for a job file.
    made_from
        Reads the job.
    why_not
        Why such a box cannot be built: nothing needs to be solved then.
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
        """Path of its plan below the folder of results, in characters that every file system takes."""
        return "/".join(("plans", *map(_safe, self.name.split("/")))) + ".json"

    @property
    def page_path(self) -> str:
        """Path of its page, beside its plan."""
        return self.plan_path.removesuffix(".json") + ".html"

    def path_of(self, kind: str) -> str:
        """Path of a file of a kind: the plan, or what stands beside it."""
        if kind == "certificate":
            return self.plan_path.removesuffix(".json") + ".certificate.json"
        return self.plan_path if kind == "plan" else self.page_path


class Shelf:
    """What many job files refer to, each part of it read once."""

    def __init__(self, folders: Sequence[Path] = ()) -> None:
        self._library = Library(folders)
        self._resolver = Resolver(self._library)
        self._lent = 0
        self.unusual: set[Fault] = set()
        """What is unusual about the hardware of the jobs read so far."""

    def resolver(self) -> Resolver:
        """Return what has been read; a new one now and then, so that it does not grow with the jobs."""
        self._lent += 1
        if self._lent % MOST_LENT == 0:
            self.clear()
        return self._resolver

    def clear(self) -> None:
        """Forget what was read, so that what is wrong in it is told to the next job that refers to it too."""
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
    """A sweep that cannot be read: it is one job of the batch that is wrong, and stops no other."""

    path: Path
    wrong: InputError

    def job(self) -> Job:
        """Raise what is wrong with the sweep."""
        raise self.wrong


Part = JobFile | Sweep | WrongSweep


@dataclass(frozen=True)
class Manifest:
    """Everything that is to be run; sweeps are kept as they are written and crossed when the items are asked for.

    Parameters
    ----------
    parts
        Job files and sweeps with their names.
    left_out
        YAML files below the folders that are neither.
    """

    parts: tuple[tuple[str, Part], ...]
    left_out: tuple[str, ...] = ()

    def count(self) -> int:
        """Count the jobs without making them."""
        return sum(part.count() if isinstance(part, Sweep) else 1 for _, part in self.parts)

    def wrong(self) -> list[Fault]:
        """Return what is wrong with sweeps."""
        return [fault for _, part in self.parts if isinstance(part, WrongSweep) for fault in part.wrong.faults]

    def unusual(self) -> list[Fault]:
        """Say what is unusual about the hardware of the sweeps, and of the job files that were read so far."""
        told: set[Fault] = set()
        for _, part in self.parts:
            if isinstance(part, JobFile):
                told.update(part.shelf.unusual)
            elif isinstance(part, Sweep):
                told.update(part.unusual, part.resolver.unusual)
        return sorted(told)

    def items(self) -> Iterator[Item]:
        """Yield the items one at a time, in the order of the paths; a name that is taken gets a number behind it."""
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
    """Find the job files and sweeps that paths name; of a folder, every YAML file below it that is one.

    Sweeps are read whole and checked. Job files are read when their turn comes: one that is wrong is one line of the
    results. So is whatever cannot be read below a folder, and a sweep that is wrong where there is something else to run.

    Raises
    ------
    InputError
        With every path that is not there, or where there is nothing to run, with everything that is wrong.
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
    """Yield files, the names of what is in them, and whether they were named themselves."""
    for path in paths:
        if path.is_dir():
            for below in _yaml_below(path):
                yield below, below.relative_to(path).with_suffix("").as_posix(), False
        elif path.exists():
            yield path, path.stem, True
        else:
            faults += InputError.one("there is no such file or folder", source=str(path)).faults


def _yaml_below(folder: Path) -> Iterator[Path]:
    """Yield every YAML file below a folder, links followed; and the folders that cannot be looked into."""
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
    """Say what a file is by a look at its keys alone: whoever runs thousands of jobs does not wait for all to be read.

    A job without a schema is known by its keys; an entry of the library says its kind. Text in another encoding is
    looked at as well: that it cannot be read is told when its turn comes.
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
    """Return the first bytes of a regular file; nobody is waited for, as a pipe without a writer would have it."""
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise OSError(errno.EINVAL, os.strerror(errno.EINVAL))
        with os.fdopen(handle, "rb", closefd=False) as file:
            return file.read(MOST_LOOK_BYTES)
    finally:
        os.close(handle)


def _key(name: str) -> bytes:
    """Shorten a name for the list of taken ones; upper and lower case are one file on some systems."""
    return sha256(name.casefold().encode()).digest()[:12]


def _safe(part: str) -> str:
    """Make a part of a name a file's name: unusual characters become hyphens, and long names are cut and numbered."""
    text = re.sub(r"[^\w.~-]+", "-", part).strip(".") or "-"
    if text == part and len(text.encode()) <= MOST_NAME_BYTES:
        return text
    short = text.encode()[: MOST_NAME_BYTES - 11].decode(errors="ignore")
    return f"{short}-{sha256(part.encode()).hexdigest()[:10]}"
