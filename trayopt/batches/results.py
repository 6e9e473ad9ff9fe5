"""The file of results: a line a job, appended as it ends; nothing that was written is ever written again."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from trayopt.batches.files import unwritten
from trayopt.errors import InputError
from trayopt.formats.json_out import write_whole

Line = dict[str, Any]
FILE = "results.jsonl"


class Results:
    """Lines of a folder of results, by the name of their job; of lines with one name the last one counts.

    Only where each line begins is held in memory.

    Parameters
    ----------
    folder
        The folder of results.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.path = folder / FILE
        self.starts: dict[str, int] = {}
        self.solved: dict[str, str] = {}
        """Names of jobs that were solved, by the key of what their result depends on."""
        self.torn = 0
        """Bytes behind the last whole line: what was being written when a run was killed."""
        if self.path.exists():
            self._scan()

    def __len__(self) -> int:
        return len(self.starts)

    def names(self) -> list[str]:
        """Give the names of all jobs, sorted."""
        return sorted(self.starts)

    def lines(self) -> Iterator[Line]:
        """Give the line of every job, by name."""
        if self.starts:
            with self.path.open("rb") as file:
                for name in self.names():
                    file.seek(self.starts[name])
                    yield json.loads(file.readline())

    def line(self, name: str) -> Line | None:
        """Give the line of one job; None where there is none."""
        if name not in self.starts:
            return None
        with self.path.open("rb") as file:
            file.seek(self.starts[name])
            found: Line = json.loads(file.readline())
            return found

    def take(self, line: Line, at: int) -> None:
        """Note where a line begins."""
        self.starts[line["name"]] = at
        if line.get("key") and line["outcome"] != "failed":
            self.solved.setdefault(line["key"], line["name"])

    def _scan(self) -> None:
        """Find where lines begin.

        Raises
        ------
        InputError
            Where there is a line that is none of ours.
        """
        at = 0
        try:
            with self.path.open("rb") as file:
                for number, raw in enumerate(file, start=1):
                    if not raw.endswith(b"\n"):
                        self.torn = len(raw)
                        break
                    try:
                        self.take(json.loads(raw), at)
                    except (ValueError, KeyError, TypeError):
                        raise InputError.one(
                            "this is no line of results",
                            source=f"{self.path}:{number}:1",
                            hint="take the line out: its job is run again with --resume",
                        ) from None
                    at += len(raw)
        except OSError as wrong:
            raise InputError.one(f"cannot be read: {wrong.strerror}", source=str(self.path)) from wrong


class Writer:
    """Appends to the results of a folder; every line is on the disk before the next step is taken.

    Parameters
    ----------
    folder
        The folder of results; it is made where it is not there.

    Raises
    ------
    InputError
        Where the folder cannot be written to, the disk is full, or another run writes there.
    """

    results: Results

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._file: int | None = None
        self._lock: int | None = None
        self._end = 0

    def __enter__(self) -> Self:
        folder = self.folder
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._lock = _locked(folder)
            self.results = Results(folder)
            self._file = os.open(self.results.path, os.O_RDWR | os.O_CREAT, 0o666)
            self._end = os.fstat(self._file).st_size - self.results.torn
            os.ftruncate(self._file, self._end)
            os.lseek(self._file, self._end, os.SEEK_SET)
        except OSError as wrong:
            self.__exit__(None, None, None)
            raise InputError.one(f"cannot be written to: {wrong.strerror}", source=str(folder)) from wrong
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for handle in (self._file, self._lock):
            if handle is not None:
                os.close(handle)
        self._file = self._lock = None

    def plan(self, path: str, text: str) -> None:
        """Write a plan, whole or not at all; its line comes after it, so that a line's plan is always there."""
        target = self.folder / path
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            write_whole(target, text)
        except OSError as wrong:
            raise unwritten(target, wrong) from wrong
        except InputError as wrong:
            if isinstance(wrong.__cause__, OSError):
                raise unwritten(target, wrong.__cause__) from wrong
            raise

    def append(self, lines: list[Line]) -> None:
        """Append lines; where that fails, none of them stays there."""
        if not lines or self._file is None:
            return
        raws = [json.dumps(line, ensure_ascii=False).encode() + b"\n" for line in lines]
        raw = b"".join(raws)
        try:
            sent = 0
            while sent < len(raw):
                sent += os.write(self._file, raw[sent:])
            os.fsync(self._file)
        except OSError as wrong:
            os.ftruncate(self._file, self._end)
            os.lseek(self._file, self._end, os.SEEK_SET)
            raise unwritten(self.results.path, wrong) from wrong
        for line, part in zip(lines, raws, strict=True):
            self.results.take(line, self._end)
            self._end += len(part)


def _locked(folder: Path) -> int | None:
    """Hold the folder against a second run as long as this process lives, where the system can."""
    try:
        import fcntl
    except ImportError:
        return None
    handle = os.open(folder / ".lock", os.O_RDWR | os.O_CREAT, 0o666)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as wrong:
        os.close(handle)
        raise InputError.one(
            "another run writes to this folder", source=str(folder), hint="wait for it, or name another folder with -o"
        ) from wrong
    return handle
