"""Writing JSON and other text: the order of keys is stable, and a file is written whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, BinaryIO

from trayopt.errors import InputError


def dump(data: object) -> str:
    """Write data as indented JSON with a line end; keys keep their order."""
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def dump_rows(data: Mapping[str, Any]) -> str:
    """Write a document such as a plan, with a line for each key and each entry of a list, so that documents compare well."""
    parts = []
    for key, value in data.items():
        text = _line(value)
        if isinstance(value, list | tuple) and value:
            text = "[\n    " + ",\n    ".join(_line(item) for item in value) + "\n  ]"
        parts.append(f"  {_line(key)}: {text}")
    return "{\n" + ",\n".join(parts) + "\n}\n" if parts else "{}\n"


def _line(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


HINT = "name a file in a folder that is there, that you may write to, and that has room"


def write_whole(path: str | Path, text: str | bytes, *, outlast: bool = True) -> None:
    """Write a file whole or not at all, text as UTF-8; ``-`` is standard output.

    The text goes to a new file in the same folder, which then replaces the old file. A target that is not a regular file, such as
    ``/dev/null``, is written to directly. With ``outlast`` the call waits for the disk, so that the file survives a loss of power
    and not only the end of the process.

    Raises
    ------
    InputError
        If the file cannot be written.
    """
    raw = text.encode(errors="surrogatepass") if isinstance(text, str) else text
    if str(path) == "-":
        if isinstance(text, str):
            sys.stdout.write(text)
        else:
            sys.stdout.buffer.write(raw)
        return
    with _said(path):
        target = Path(path).resolve()
        if _is_special(target):
            target.write_bytes(raw)
            return
        _replace(target, lambda stream: stream.write(raw), outlast=outlast)


def can_be_written(path: str | Path, room: int = 0) -> None:
    """Check that a file of ``room`` bytes could be written now; the check leaves nothing behind.

    Raises
    ------
    InputError
        If the file could not be written.
    """
    with _said(path):
        target = Path(path).resolve()
        if _is_special(target):
            if not os.access(target, os.W_OK):
                raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
            return
        with _beside(target) as (_, stream):
            _take_room(stream.fileno(), room)


@contextlib.contextmanager
def _said(path: str | Path) -> Iterator[None]:
    """Turn an error of the system inside the block into a fault of the file."""
    try:
        yield
    except (OSError, ValueError) as wrong:
        reason = wrong.strerror if isinstance(wrong, OSError) and wrong.strerror else str(wrong)
        raise InputError.one(f"cannot be written: {reason}", source=str(path), hint=HINT) from wrong


def _is_special(target: Path) -> bool:
    return target.exists() and not target.is_file() and not target.is_dir()


@contextlib.contextmanager
def _beside(target: Path) -> Iterator[tuple[Path, BinaryIO]]:
    """Make a temporary file in the folder of a target; it is removed at the end unless it was moved."""
    if target.is_dir():
        raise IsADirectoryError(errno.EISDIR, "it is a folder")
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:50]}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as stream:
            yield Path(name), stream
    finally:
        with contextlib.suppress(OSError):
            Path(name).unlink()


def _take_room(handle: int, room: int) -> None:
    """Reserve some room on the disk, so that a full disk reports an error."""
    if room <= 0:
        return
    if hasattr(os, "posix_fallocate"):
        os.posix_fallocate(handle, 0, room)
    else:
        os.write(handle, bytes(room))
    os.fsync(handle)


def _replace(target: Path, write: Callable[[BinaryIO], object], *, outlast: bool) -> None:
    with _beside(target) as (part, stream):
        write(stream)
        stream.flush()
        if outlast:
            os.fsync(stream.fileno())
        part.chmod(target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_umask())
        part.replace(target)


def _umask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
