"""Standard streams that can always be written to, however they were set up."""

from __future__ import annotations

import codecs
import io
import os
import sys

ESCAPED = "trayopt.escaped"
"""Name of the error handler that escapes characters that a stream cannot encode."""


def escape(error: UnicodeError) -> tuple[str, int]:
    r"""Escape characters that cannot be encoded as JSON does, ``\u00fc``, so that JSON stays valid in any encoding."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    units = error.object[error.start : error.end].encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[i]:02x}{units[i + 1]:02x}" for i in range(0, len(units), 2)), error.end


def ready() -> None:
    """Prepare the streams: a closed stream goes to ``/dev/null``, and characters that cannot be encoded are escaped."""
    codecs.register_error(ESCAPED, escape)
    for number in range(3):  # otherwise the next opened file would take the number of a closed stream
        try:
            os.fstat(number)
        except OSError:
            _lead_nowhere(number)
    if sys.stdin is None:
        sys.stdin = os.fdopen(0, encoding="utf-8", closefd=False)
    if sys.stdout is None:
        sys.stdout = os.fdopen(1, "w", encoding="utf-8", closefd=False)
    if sys.stderr is None:
        sys.stderr = os.fdopen(2, "w", encoding="utf-8", closefd=False)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=ESCAPED)


def _lead_nowhere(number: int) -> None:
    handle = os.open(os.devnull, os.O_RDWR)
    if handle != number:
        os.dup2(handle, number)
        os.close(handle)


def flushed() -> OSError | None:
    """Flush both streams; return the error of stdout, if there was one, which then goes to ``/dev/null``."""
    wrong = None
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except ValueError:  # closed by somebody else
            continue
        except OSError as error:
            wrong = error if stream is sys.stdout else wrong
            _lead_nowhere(stream.fileno())
    return wrong
