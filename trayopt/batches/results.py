"""The file of results: a line for each job, appended when the job ends; lines are never changed."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from hashlib import sha256
from pathlib import Path
from types import TracebackType
from typing import IO, Any, Self

from trayopt.batches.files import encoded, unwritten, whole_file
from trayopt.errors import InputError
from trayopt.formats.json_out import write_whole

Line = dict[str, Any]
FILE = "results.jsonl"
COPY = ".results.jsonl"
"""The copy of the file of results that a run keeps, and removes when it ends."""
CHUNK = 8192
KINDS = ("plan", "page", "certificate")
"""Kinds of files of a job: keys of its line that name the files; ``plan_file_sha256`` and the like have their checksums."""


class Results:
    """The lines of a folder of results by the name of their job; of several lines with one name, the last counts.

    A line with ``gone`` says that the job is not part of the batch any more: its earlier line does not count, but is kept
    and serves again if the job comes back. Only the position and the key of each line are held in memory.

    Parameters
    ----------
    folder
        The folder of results.
    file
        The file with the lines, if it is not the file in the folder.

    Raises
    ------
    InputError
        If the file cannot be read, or has a line that trayopt did not write.
    """

    def __init__(self, folder: Path, file: IO[bytes] | None = None) -> None:
        self.folder = folder
        self.path = folder / FILE
        self.starts: dict[str, int] = {}
        self.torn = 0
        """Number of bytes after the last complete line, which a killed run left."""
        self.end = 0
        """Position after the last complete line."""
        self._file = file
        self._gone: dict[str, int] = {}
        self._keys: dict[str, str] = {}
        self._named: dict[str, list[str]] = {}
        if file is not None or self.path.exists():
            self._scan()

    def __len__(self) -> int:
        return len(self.starts)

    def names(self) -> list[str]:
        """Return the names of all jobs, sorted."""
        return sorted(self.starts)

    def lines(self) -> Iterator[Line]:
        """Yield the line of every job, by name; ``same_as`` names an earlier job that has the same result."""
        if not self.starts:
            return
        first: dict[str, str] = {}
        with self._open() as file:
            for name in self.names():
                line = _line_at(file, self.starts[name])
                key = self._keys.get(name, "")
                if len(self._named.get(key, ())) > 1 and first.setdefault(key, name) != name:
                    line["same_as"] = first[key]
                yield line

    def line(self, name: str) -> Line | None:
        """Return the line of a job; None if there is none."""
        return self._line(self.starts.get(name))

    def known(self, name: str) -> Line | None:
        """Return the last line of a job, even if the job is gone; None if it never had a line."""
        return self._line(self.starts.get(name, self._gone.get(name)))

    def with_key(self, key: str) -> Iterator[Line]:
        """Yield the lines with this key, including lines of jobs that are gone."""
        for name in self._named.get(key, ()):
            found = self.known(name)
            if found is not None:
                yield found

    def take(self, line: Line, at: int) -> None:
        """Note the position of a line, which replaces the earlier line of its job."""
        name = line["name"]
        if line.get("gone"):
            if name in self.starts:
                self._gone[name] = self.starts.pop(name)
            return
        line["outcome"]  # KeyError for a line that trayopt did not write
        before, key = self._keys.get(name), line.get("key")
        self._gone.pop(name, None)
        self.starts[name] = at
        if before == key:
            return
        if before is not None:
            del self._keys[name]
            self._named[before].remove(name)
        if key is not None:
            self._keys[name] = key
            self._named.setdefault(key, []).append(name)

    def _line(self, at: int | None) -> Line | None:
        if at is None:
            return None
        with self._open() as file:
            return _line_at(file, at)

    @contextmanager
    def _open(self) -> Iterator[IO[bytes]]:
        if self._file is not None:
            yield self._file
            return
        try:
            file = self.path.open("rb")
        except OSError as wrong:
            raise InputError.one(f"cannot be read: {wrong.strerror}", source=str(self.path)) from wrong
        with file:
            yield file

    def _scan(self) -> None:
        """Find the position of every line."""
        with self._open() as file:
            file.seek(0)
            lines = iter(partial(_next_line, file, bytearray()), b"")
            for number, raw in enumerate(lines, start=1):
                if not raw.endswith(b"\n"):
                    self.torn = len(raw)
                    break
                try:
                    self.take(json.loads(raw), self.end)
                except (ValueError, KeyError, TypeError):
                    raise InputError.one(
                        "this is not a line of results",
                        source=f"{self.path}:{number}:1",
                        hint="take the line out: its job is run again with --resume",
                    ) from None
                self.end += len(raw)


class Writer:
    """Appends to the results of a folder; every line is on the disk before the run goes on.

    A copy of all lines is kept beside the file. If somebody removes or cuts the file of results during the run, it is
    written again from the copy; if the run was killed before that, the next run does it.

    Parameters
    ----------
    folder
        The folder of results; it is made if it does not exist.
    recover
        Whether lines count that only the copy of a killed run holds.

    Raises
    ------
    InputError
        If the folder cannot be written to, the disk is full, or another run writes there.
    """

    results: Results

    def __init__(self, folder: Path, *, recover: bool = True) -> None:
        self.folder, self.recover = folder, recover
        self.written_again = False
        """Whether the file of results had to be written again from the copy."""
        self._copy: IO[bytes] | None = None
        self._file: int | None = None
        self._lock: int | None = None

    def __enter__(self) -> Self:
        folder = self.folder
        path = folder / FILE
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._lock = _locked(folder)
            cut = self._copied()
            assert self._copy is not None
            self.results = Results(folder, self._copy)
            self._file = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
            if cut and self.results.end > os.fstat(self._file).st_size:
                self._write_again()
            self._cut()
        except OSError as wrong:
            self.__exit__(None, None, None)
            raise InputError.one(f"cannot be written to: {wrong.strerror}", source=str(folder)) from wrong
        except InputError:
            self.__exit__(None, None, None)
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._copy is not None:
            if self._file is not None and self._untouched():
                (self.folder / COPY).unlink(missing_ok=True)
            self._copy.close()
        for handle in (self._file, self._lock):
            if handle is not None:
                os.close(handle)
        self._copy = self._file = self._lock = None

    def write(self, path: str, text: str | bytes) -> str:
        """Write a plan or a page, whole or not at all, and return its checksum; the line of the job comes afterwards."""
        target = self.folder / path
        raw = encoded(text) if isinstance(text, str) else text
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            write_whole(target, raw)
        except OSError as wrong:
            raise unwritten(target, wrong) from wrong
        except InputError as wrong:
            if isinstance(wrong.__cause__, OSError):
                raise unwritten(target, wrong.__cause__) from wrong
            raise
        return sha256(raw).hexdigest()

    def intact(self, line: Line, kind: str) -> bytes | None:
        """Return the content of a file of a line; None unless it is still as it was written."""
        try:
            raw = (self.folder / line[kind]).read_bytes()
        except (KeyError, OSError):
            return None
        return raw if sha256(raw).hexdigest() == line.get(f"{kind}_file_sha256") else None

    def append(self, lines: list[Line]) -> None:
        """Append lines, and check that the file holds the earlier lines; if that fails, none of the new lines stays."""
        assert self._file is not None
        assert self._copy is not None
        raws = [encoded(json.dumps(line, ensure_ascii=False)) + b"\n" for line in lines]
        raw = b"".join(raws)
        try:
            self._copy.seek(self.results.end)
            _write_all(self._copy, raw)
            if not self._untouched():
                self._write_again()
            elif raw:
                sent = 0
                while sent < len(raw):
                    sent += os.write(self._file, raw[sent:])
                os.fsync(self._file)
        except (OSError, InputError) as wrong:
            self._cut()
            if isinstance(wrong, InputError):
                raise
            raise unwritten(self.results.path, wrong) from wrong
        for line, part in zip(lines, raws, strict=True):
            self.results.take(line, self.results.end)
            self.results.end += len(part)

    def settle(self) -> Results:
        """Return the current results, including a line that was written but not noted; check that the file holds them."""
        assert self._copy is not None
        if self._copy.seek(0, os.SEEK_END) != self.results.end:
            self.results = Results(self.folder, self._copy)
            self._copy.truncate(self.results.end)
        if not self._untouched():
            self._write_again()
        return self.results

    def _copied(self) -> bool:
        """Open the copy; True if the copy of a killed run holds more than the file of results."""
        path, copy = self.folder / FILE, self.folder / COPY
        if self.recover and copy.exists() and (not path.exists() or _begins(copy, path)):
            self._copy = copy.open("r+b", buffering=0)
            return True
        self._copy = copy.open("w+b", buffering=0)
        if path.exists():
            with path.open("rb") as file:
                while chunk := file.read(CHUNK):
                    _write_all(self._copy, chunk)
        return False

    def _untouched(self) -> bool:
        """Whether the file of results is the file that this run writes, and ends with its last line."""
        assert self._file is not None
        try:
            there = self.results.path.stat()
        except OSError:
            return False
        mine = os.fstat(self._file)
        return (there.st_dev, there.st_ino, there.st_size) == (mine.st_dev, mine.st_ino, self.results.end)

    def _write_again(self) -> None:
        """Write the file of results from the copy."""
        assert self._copy is not None
        assert self._file is not None
        self._copy.seek(0)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            with whole_file(self.results.path) as file:
                shutil.copyfileobj(self._copy, file)
            before, self._file = self._file, os.open(self.results.path, os.O_RDWR)
            os.close(before)
            os.lseek(self._file, 0, os.SEEK_END)
        except OSError as wrong:
            raise unwritten(self.results.path, wrong) from wrong
        self.written_again = True

    def _cut(self) -> None:
        """Remove everything after the last line."""
        assert self._copy is not None
        self._copy.truncate(self.results.end)
        if self._file is not None:
            os.ftruncate(self._file, min(self.results.end, os.fstat(self._file).st_size))
            os.lseek(self._file, 0, os.SEEK_END)


def _line_at(file: IO[bytes], at: int) -> Line:
    file.seek(at)
    found: Line = json.loads(_next_line(file, bytearray()))
    return found


def _next_line(file: IO[bytes], ahead: bytearray) -> bytes:
    """Return the next line of an unbuffered file; bytes that were read beyond it are kept in ``ahead``."""
    while (end := ahead.find(b"\n") + 1) == 0:
        chunk = file.read(CHUNK)
        if not chunk:
            end = len(ahead)
            break
        ahead += chunk
    line = bytes(ahead[:end])
    del ahead[:end]
    return line


def _begins(whole: Path, part: Path) -> bool:
    """Whether a file begins with the whole content of another file."""
    with whole.open("rb") as one, part.open("rb") as other:
        while chunk := other.read(CHUNK):
            if one.read(len(chunk)) != chunk:
                return False
    return True


def _write_all(file: IO[bytes], raw: bytes) -> None:
    """Write all bytes to an unbuffered file, so that nothing is left in a buffer when the disk is full."""
    sent = 0
    while sent < len(raw):
        sent += file.write(raw[sent:])


def _locked(folder: Path) -> int | None:
    """Lock the folder against a second run as long as this process lives, if the system can do this."""
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
