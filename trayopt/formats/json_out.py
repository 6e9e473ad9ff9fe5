"""JSON and other text out: stable, and written whole or not at all."""

from __future__ import annotations

import contextlib
import json
import os
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from trayopt.errors import InputError


def dump(data: object) -> str:
    """Write data as indented JSON with a line end, keys in the order in which they stand."""
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def dump_rows(data: Mapping[str, Any]) -> str:
    """Write a document such as a plan: a key a line, and of lists an entry a line, so that two of them compare well."""
    parts = []
    for key, value in data.items():
        text = _line(value)
        if isinstance(value, list | tuple) and value:
            text = "[\n    " + ",\n    ".join(_line(item) for item in value) + "\n  ]"
        parts.append(f"  {_line(key)}: {text}")
    return "{\n" + ",\n".join(parts) + "\n}\n" if parts else "{}\n"


def _line(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def write_whole(path: str | Path, text: str | bytes) -> None:
    """Write a file (text as UTF-8), whole or not at all; ``-`` is standard output.

    The text goes to a new file in the same folder, which then takes the place of the old one. What is no regular file,
    such as ``/dev/null``, is written to as it is.

    Raises
    ------
    InputError
        Where the file cannot be written.
    """
    raw = text.encode() if isinstance(text, str) else text
    if str(path) == "-":
        if isinstance(text, str):
            sys.stdout.write(text)
        else:
            sys.stdout.buffer.write(raw)
        return
    target = Path(path)
    try:
        target = target.resolve()
        if target.exists() and not target.is_file() and not target.is_dir():
            target.write_bytes(raw)
            return
        _replace(target, raw)
    except (OSError, ValueError) as wrong:
        reason = wrong.strerror if isinstance(wrong, OSError) and wrong.strerror else str(wrong)
        hint = "name a file in a folder that is there and that you may write to"
        raise InputError.one(f"cannot be written: {reason}", source=str(path), hint=hint) from wrong


def _replace(target: Path, raw: bytes) -> None:
    if target.is_dir():
        raise IsADirectoryError(0, "it is a folder")
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:50]}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(raw)
            stream.flush()
            os.fsync(stream.fileno())
        Path(name).chmod(target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_umask())
        Path(name).replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            Path(name).unlink()
        raise


def _umask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
