"""Files of a desk: their state on the disk, changes by somebody else, and unsaved changes that are kept beside the job."""

from __future__ import annotations

import contextlib
import json
import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any

from trayopt.errors import InputError
from trayopt.formats.json_out import write_whole

SCHEMA = "trayopt/desk/1"
MOST_KEPT = 20_000_000
ALIVE_S = 0.5
"""Seconds within which a running desk answers."""


def digest_of(path: Path) -> str | None:
    """Return the digest of a file; None if there is no such file, or it cannot be read."""
    try:
        return sha256(path.read_bytes()).hexdigest()
    except OSError:
        return None


def digest_of_text(text: str) -> str:
    """Return the digest of a file that holds this text."""
    return sha256(text.encode()).hexdigest()


class Watched:
    """A file with its state when it was last read or written, which notices changes by others."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.digest = digest_of(path)
        self._stamp = self._stamped()
        self._changed = False

    def _stamped(self) -> tuple[int, int, int] | None:
        try:
            state = self.path.stat()
        except OSError:
            return None
        return state.st_mtime_ns, state.st_size, state.st_ino

    @property
    def changed(self) -> bool:
        """Whether somebody else changed or removed the file; it is read only if its time, size or inode differs."""
        stamp = self._stamped()
        if stamp != self._stamp:
            self._stamp = stamp
            self._changed = digest_of(self.path) != self.digest
        return self._changed

    def seen(self) -> None:
        """Take the current state of the file as known."""
        self.digest, self._stamp, self._changed = digest_of(self.path), self._stamped(), False

    def write(self, text: str) -> None:
        """Write the file whole.

        Raises
        ------
        InputError
            If it cannot be written.
        """
        write_whole(self.path, text)
        self.seen()


@dataclass(frozen=True)
class Kept:
    """Unsaved changes: the text of the job, the plan as plain data, and the digest of the job file at the beginning.

    ``found`` is the best plan of a search that is not yet taken over, and ``of_this`` says whether that search began with exactly
    these decisions.
    """

    job_text: str
    plan: dict[str, Any] | None
    began_with: str | None
    found: dict[str, Any] | None = None
    of_this: bool = False
    files: Mapping[str, str] = field(default_factory=dict)
    """Texts of hardware files, by their path relative to the folder of the job."""


class Keeping:
    """Keeps unsaved changes in a hidden file beside the job, one for each desk, so that a killed desk loses nothing.

    Parameters
    ----------
    job_file
        The open job.
    answers
        Says whether the desk with a port and a name still runs.
    name, port
        The name of the desk, and the port at which it answers. By default, a new name, and 0 for no port yet.
    """

    def __init__(
        self, job_file: Path, answers: Callable[[int, str], bool], name: str | None = None, port: int = 0
    ) -> None:
        self.job_file, self._answers = job_file, answers
        self.name = name or secrets.token_hex(4)
        self.port = port
        self.file = job_file.with_name(f".{job_file.name}.desk-{self.name}.json")

    def keep(self, kept: Kept) -> str:
        """Write unsaved changes; return the reason if that failed, otherwise an empty text."""
        data = {
            "schema": SCHEMA, "desk": self.name, "port": self.port, "began_with": kept.began_with,
            "job": kept.job_text, "plan": kept.plan, "found": kept.found, "of_this": kept.of_this,
            "files": dict(kept.files),
        }  # fmt: skip
        try:
            write_whole(self.file, json.dumps(data, ensure_ascii=False), outlast=False)
        except InputError as wrong:
            return str(wrong)
        return ""

    def drop(self) -> None:
        """Remove the file, since everything is saved."""
        with contextlib.suppress(OSError):
            self.file.unlink()

    def left_behind(self) -> tuple[Path, Kept] | None:
        """Return the latest changes of a desk that ended without saving; changes of a running desk are left to it."""
        found = []
        for path in self.job_file.parent.glob(f".{_escaped(self.job_file.name)}.desk-*.json"):
            data = _read(path)
            if data is None or path == self.file or self._answers(data["port"], data["desk"]):
                continue
            kept = Kept(
                data["job"], data["plan"], data["began_with"], data.get("found"), data.get("of_this") is True,
                data.get("files", {}),
            )  # fmt: skip
            found.append((path.stat().st_mtime_ns, path, kept))
        return max(found, key=lambda item: item[0])[1:] if found else None


def _escaped(name: str) -> str:
    return "".join(f"[{char}]" if char in "*?[" else char for char in name)


def _read(path: Path) -> dict[str, Any] | None:
    """Read the changes that a desk kept; None if the file is not of this kind."""
    try:
        if path.stat().st_size > MOST_KEPT:
            return None
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    if not isinstance(data, dict) or data.get("schema") != SCHEMA:
        return None
    fits = isinstance(data.get("job"), str) and isinstance(data.get("plan"), dict | None)
    fits = fits and isinstance(data.get("found"), dict | None)
    files = data.get("files", {})
    fits = fits and isinstance(files, dict) and all(isinstance(text, str) for text in files.values())
    fits = fits and isinstance(data.get("port"), int) and isinstance(data.get("desk"), str)
    return data if fits and isinstance(data.get("began_with"), str | None) else None


def answers(port: int, name: str) -> bool:
    """Ask at a port of this machine whether a desk of this name runs there."""
    from http.client import HTTPConnection, HTTPException

    if not 0 < port < 65536 or not name.isalnum():
        return False
    try:
        connection = HTTPConnection("127.0.0.1", port, timeout=ALIVE_S)
        try:
            connection.request("GET", f"/alive/{name}")
            return connection.getresponse().status == 204
        finally:
            connection.close()
    except (OSError, HTTPException):
        return False
