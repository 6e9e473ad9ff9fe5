"""Writing long files piece by piece, and still whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from trayopt.errors import InputError


def encoded(text: str) -> bytes:
    """Encode text as UTF-8; half of a surrogate pair, which has no encoding, becomes an escape as in JSON."""
    return text.encode(errors="backslashreplace")


def unwritten(path: Path, wrong: OSError) -> InputError:
    """Return the error that a file of results cannot be written, with what to do."""
    hint = "all results so far are kept: make room, then go on with --resume"
    return InputError.one(f"cannot be written: {wrong.strerror}", source=str(path), hint=hint)


@contextmanager
def whole_file(path: Path) -> Iterator[IO[bytes]]:
    """Open a new file that replaces the old file at the end of the block, unless the block raises an exception.

    Raises
    ------
    InputError
        If it cannot be written.
    """
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:50]}.", suffix=".part")
    except OSError as wrong:
        raise unwritten(path, wrong) from wrong
    try:
        with os.fdopen(handle, "wb") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        mask = os.umask(0o022)
        os.umask(mask)
        Path(name).chmod(0o666 & ~mask)
        Path(name).replace(path)
    except BaseException as wrong:
        with contextlib.suppress(OSError):
            Path(name).unlink()
        if isinstance(wrong, OSError):
            raise unwritten(path, wrong) from wrong
        raise
