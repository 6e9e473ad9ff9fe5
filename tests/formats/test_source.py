"""Files that are none, and bytes that are no text."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from trayopt.errors import InputError
from trayopt.formats.source import decode, read_bytes, read_text


def fault(path: str | Path, limit: int = 100) -> str:
    with pytest.raises(InputError) as wrong:
        read_text(path, limit)
    return str(wrong.value).replace(str(path), "F")


def test_a_file_is_read_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "x"
    path.write_bytes("\ufeffä\r\n".encode())
    assert read_text(path, 100) == "ä\r\n"
    assert read_bytes(path, 100) == "\ufeffä\r\n".encode()


def test_what_is_no_file_is_told(tmp_path: Path) -> None:
    assert fault(tmp_path / "none") == (
        "F: cannot be read: no such file; check the name and the folder that it is relative to"
    )
    assert fault(tmp_path) == "F: cannot be read: it is a folder; name a file in it"
    assert fault("/dev/zero") == (
        "F: cannot be read: it is a pipe or a device; name a regular file, or - for standard input"
    )
    assert "cannot be read: the name is too long" in fault("x" * 5000)
    assert "no such file; a name holds no NUL character" in fault("a\0b")
    (tmp_path / "file").write_text("x")
    assert "no such file" in fault(tmp_path / "file" / "below")


def test_a_pipe_without_a_writer_does_not_hang(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert "it is a pipe or a device" in fault(tmp_path / "pipe")


def test_links_in_a_circle_are_told(tmp_path: Path) -> None:
    (tmp_path / "a").symlink_to(tmp_path / "b")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    assert "its links lead round in a circle" in fault(tmp_path / "a")


def test_no_permission_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refuse)
    assert fault(tmp_path / "x") == "F: cannot be read: no permission to read it; give yourself read permission"


def test_a_file_that_is_too_large_is_told(tmp_path: Path) -> None:
    (tmp_path / "x").write_bytes(b"a" * 2_000_000)
    assert fault(tmp_path / "x", 1_000_000) == "F: the file is too large; found 2.0 MB; allowed: up to 1 MB"


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        (b"\x7fELF\x02\x00", "f:1:6: this is a binary file; found a NUL byte; allowed: UTF-8 text"),
        ("a: ä".encode("utf-16"), "f:1:1: the file is UTF-16 text; allowed: UTF-8; save it as UTF-8"),
        (b"a: 1\nb: \xe4", "f:2:4: the file is not UTF-8 text; found byte 0xe4; allowed: UTF-8; save it as UTF-8"),
        (b"\xc3\xa4: \xff", "f:1:4: the file is not UTF-8 text; found byte 0xff; allowed: UTF-8; save it as UTF-8"),
    ],
)
def test_what_is_no_text_is_told(raw: bytes, message: str) -> None:
    with pytest.raises(InputError) as wrong:
        decode(raw, "f")
    assert str(wrong.value) == message
