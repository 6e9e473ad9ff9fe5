"""Standard streams that can always be written to, whatever they were set up as."""

from __future__ import annotations

import codecs
import io
import os
import sys

ESCAPED = "trayopt.escaped"
"""Name of the way in which characters are written that a stream has not."""


def escape(error: UnicodeError) -> tuple[str, int]:
    r"""Write what cannot be encoded as JSON does, ``\u00fc``, so that a document stays one in any encoding."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    units = error.object[error.start : error.end].encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[i]:02x}{units[i + 1]:02x}" for i in range(0, len(units), 2)), error.end


def ready() -> None:
    """Make the streams ready: a closed one leads nowhere, as ``/dev/null`` does, and no character is too much for one."""
    codecs.register_error(ESCAPED, escape)
    for number in range(3):  # else the next file that is opened takes the place of a stream
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
    """Write out what is left of both streams; gives what went wrong with stdout, which then leads nowhere."""
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
