"""Files of a desk: what stands on the disk, whether somebody else changed it, and unsaved changes that are kept beside it."""

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
"""Seconds in which a desk that runs answers that it does."""


def digest_of(path: Path) -> str | None:
    """Return the digest of a file; None where there is none, or it cannot be read."""
    try:
        return sha256(path.read_bytes()).hexdigest()
    except OSError:
        return None


def digest_of_text(text: str) -> str:
    """Return the digest that a file has which holds this text."""
    return sha256(text.encode()).hexdigest()


class Watched:
    """A file as it stood when it was read or written last, and whether it is another one now."""

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
        """Whether somebody else wrote the file, or took it away; it is read only where its time or size is another."""
        stamp = self._stamped()
        if stamp != self._stamp:
            self._stamp = stamp
            self._changed = digest_of(self.path) != self.digest
        return self._changed

    def seen(self) -> None:
        """Take the file as it stands now."""
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
    """Unsaved changes: the text of the job, the plan as plain data, and the digest of the job file that they began with.

    ``found`` is the best plan of a search, as far as it is not yet taken over, and ``of_this`` whether it was searched for with
    just these decisions.
    """

    job_text: str
    plan: dict[str, Any] | None
    began_with: str | None
    found: dict[str, Any] | None = None
    of_this: bool = False
    files: Mapping[str, str] = field(default_factory=dict)
    """Texts of hardware files, by their path from the job's folder."""


class Keeping:
    """Unsaved changes in a hidden file beside the job, one a desk, so that a desk that is killed loses nothing.

    Parameters
    ----------
    job_file
        The job that is open.
    answers
        Tells whether the desk that an address and a name stand for still runs.
    name, port
        What the desk is called, and where it answers; a new name, and nowhere yet, where they are left out.
    """

    def __init__(
        self, job_file: Path, answers: Callable[[int, str], bool], name: str | None = None, port: int = 0
    ) -> None:
        self.job_file, self._answers = job_file, answers
        self.name = name or secrets.token_hex(4)
        self.port = port
        self.file = job_file.with_name(f".{job_file.name}.desk-{self.name}.json")

    def keep(self, kept: Kept) -> str:
        """Write unsaved changes; gives what stood in the way, or nothing."""
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
        """Take the file away: there is nothing that is not saved."""
        with contextlib.suppress(OSError):
            self.file.unlink()

    def left_behind(self) -> tuple[Path, Kept] | None:
        """Return the latest changes of a desk that ended without saving; those of a desk that runs are its own."""
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
    """Read what a desk kept; None where the file is no such file."""
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
    """Ask at an address of this machine whether a desk of this name runs there."""
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
