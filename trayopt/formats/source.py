"""Reading a file as bytes and text: regular files only, of bounded size, UTF-8."""

from __future__ import annotations

import codecs
import errno
import os
import re
import stat
import sys
from pathlib import Path

from trayopt.domain.said import said
from trayopt.errors import Fault, InputError

STDIN = "<stdin>"

_REASONS = {
    errno.ENOENT: (said("no such file"), said("check the name and the folder that it is relative to")),
    errno.ENOTDIR: (said("no such file"), said("check the name and the folder that it is relative to")),
    errno.EACCES: (said("no permission to read it"), said("give yourself read permission")),
    errno.EPERM: (said("no permission to read it"), said("give yourself read permission")),
    errno.EISDIR: (said("it is a folder"), said("name a file in it")),
    errno.ENAMETOOLONG: (said("the name is too long for a file"), said("check the name")),
    errno.ELOOP: (said("its links lead round in a circle"), said("name the file itself")),
}


def source_name(path: str | Path) -> str:
    """Return the name under which messages speak of a file; ``-`` is standard input."""
    return STDIN if str(path) == "-" else str(path)


def read_bytes(path: str | Path, limit: int) -> bytes:
    """Read a regular file, or standard input for ``-``, of at most ``limit`` bytes.

    Raises
    ------
    InputError
        If there is no such file, or it cannot be read, is too large, or is a folder, a pipe or a device.
    """
    name = source_name(path)
    if name == STDIN:
        return _within(sys.stdin.buffer.read(limit + 1), name, limit)
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except ValueError as wrong:
        raise _unreadable(name, "no such file", "a name holds no NUL character") from wrong
    except OSError as wrong:
        reason, hint = _REASONS.get(wrong.errno or 0, (wrong.strerror or "it cannot be read", ""))
        raise _unreadable(name, reason, hint) from wrong
    try:
        state = os.fstat(handle)
        if stat.S_ISDIR(state.st_mode):
            raise _unreadable(name, *_REASONS[errno.EISDIR])
        if not stat.S_ISREG(state.st_mode):
            raise _unreadable(name, "it is a pipe or a device", "name a regular file, or - for standard input")
        if state.st_size > limit:
            raise _too_large(name, state.st_size, limit)
        with os.fdopen(os.dup(handle), "rb") as stream:
            return _within(stream.read(limit + 1), name, limit)
    except OSError as wrong:
        raise _unreadable(name, wrong.strerror or "it cannot be read", "") from wrong
    finally:
        os.close(handle)


def read_text(path: str | Path, limit: int) -> str:
    """Read a file as UTF-8 text, with or without a byte order mark.

    Raises
    ------
    InputError
        As ``read_bytes``, and if the file is not UTF-8 text.
    """
    return decode(read_bytes(path, limit), source_name(path))


def decode(raw: bytes, source: str) -> str:
    """Decode UTF-8 text. The error names the place and tells UTF-16 text, a binary file and a wrong byte apart."""
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise InputError([Fault(source, 1, 1, said("the file is UTF-16 text"), "", "UTF-8", said("save it as UTF-8"))])
    raw = raw.removeprefix(b"\xef\xbb\xbf")
    nul = raw.find(b"\x00")
    if nul >= 0:
        line, column = _mark(raw, nul)
        raise InputError(
            [Fault(source, line, column, said("this is a binary file"), said("a NUL byte"), said("UTF-8 text"))]
        )
    try:
        return raw.decode()
    except UnicodeDecodeError as wrong:
        line, column = _mark(raw, wrong.start)
        found = said("byte 0x{byte:02x}", byte=raw[wrong.start])
        fault = Fault(
            source, line, column, said("the file is not UTF-8 text"), found, "UTF-8", said("save it as UTF-8")
        )
        raise InputError([fault]) from wrong


def decode_any(raw: bytes, source: str) -> tuple[str, str]:
    """Decode text in any encoding that spreadsheets and editors write, for tables that people make by hand.

    Returns
    -------
    text, encoding
        The text without a byte order mark, and the name of its encoding; the name is empty for UTF-8.

    Raises
    ------
    InputError
        If it is not text in UTF-8, UTF-16, UTF-32, Windows-1252 or Latin-1.
    """
    for mark, codec in _BYTE_ORDER_MARKS:
        if raw.startswith(mark):
            return _wide(raw.removeprefix(mark), codec, source)
    start = raw[:_LOOK_AT]
    for codec, zeros in (("utf-16-le", start[1::2]), ("utf-16-be", start[::2])):
        if len(zeros) > 1 and zeros.count(0) > len(zeros) * 0.6:
            return _wide(raw, codec, source)
    try:
        return decode(raw, source), ""
    except InputError:
        if _CONTROL.search(raw):
            raise
    try:
        return raw.decode("cp1252"), "Windows-1252"
    except UnicodeDecodeError:
        return raw.decode("latin-1"), "Latin-1"


_BYTE_ORDER_MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_LOOK_AT = 1_000
"""Number of first bytes in which zeros show UTF-16 text without a byte order mark."""
_CONTROL = re.compile(rb"[\x00-\x08\x0e-\x1f]")


def _wide(raw: bytes, codec: str, source: str) -> tuple[str, str]:
    name = codec[:6].upper()
    try:
        text = raw.decode(codec)
    except UnicodeDecodeError as wrong:
        fault = Fault(
            source, 1, 1, said("the file is not complete {name} text", name=name), "", "UTF-8", said("save it as UTF-8")
        )
        raise InputError([fault]) from wrong
    if _CONTROL.search(text.encode()):
        raise InputError(
            [Fault(source, 1, 1, said("this is a binary file"), said("control characters"), said("UTF-8 text"))]
        )
    return text, name


def _mark(raw: bytes, at: int) -> tuple[int, int]:
    start = raw.rfind(b"\n", 0, at) + 1
    return raw.count(b"\n", 0, at) + 1, len(raw[start:at].decode(errors="replace")) + 1


def _within(raw: bytes, name: str, limit: int) -> bytes:
    if len(raw) > limit:
        raise _too_large(name, len(raw), limit)
    return raw


def _too_large(name: str, size: int, limit: int) -> InputError:
    found = (
        said("{size:.1f} MB", size=size / 1e6)
        if size > limit + 1
        else said("more than {limit:g} MB", limit=limit / 1e6)
    )
    return InputError(
        [Fault(name, 0, 0, said("the file is too large"), found, said("up to {limit:g} MB", limit=limit / 1e6))]
    )


def _unreadable(name: str, reason: str, hint: str) -> InputError:
    return InputError([Fault(name, 0, 0, said("cannot be read: {reason}", reason=reason), hint=hint)])
