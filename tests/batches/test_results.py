"""The file of results: what was written stays, and what was half written is taken away."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from trayopt.batches.results import COPY, FILE, Results, Writer
from trayopt.errors import InputError


def line(name: str, outcome: str = "fits", **more: object) -> dict[str, object]:
    """Make a line."""
    return {"name": name, "outcome": outcome, "values": {}, **more}


def test_the_last_line_of_a_name_counts(tmp_path: Path) -> None:
    with Writer(tmp_path) as writer:
        writer.append([line("b", "no_plan"), line("a")])
        writer.append([line("b", "fits", why="ä\u2028<")])
    results = Results(tmp_path)
    assert [found["name"] for found in results.lines()] == ["a", "b"]
    assert results.line("b") == line("b", "fits", why="ä\u2028<")
    assert results.line("c") is None
    assert len((tmp_path / FILE).read_bytes().splitlines()) == 3


def test_a_torn_line_is_taken_away_before_the_next(tmp_path: Path) -> None:
    with Writer(tmp_path) as writer:
        writer.append([line("a")])
    path = tmp_path / FILE
    whole = path.read_bytes()
    path.write_bytes(whole + b'{"name": "b", "outc')
    assert Results(tmp_path).torn == 19
    with Writer(tmp_path) as writer:
        assert writer.results.names() == ["a"]
        writer.append([line("c")])
    assert path.read_bytes().startswith(whole)
    assert Results(tmp_path).names() == ["a", "c"]


def test_a_line_that_is_none_is_told(tmp_path: Path) -> None:
    (tmp_path / FILE).write_text('{"name": "a", "outcome": "fits"}\n[]\n')
    with pytest.raises(InputError, match=r"results\.jsonl:2:1: this is not a line of results"):
        Results(tmp_path)


def test_two_runs_do_not_write_to_one_folder(tmp_path: Path) -> None:
    with Writer(tmp_path), pytest.raises(InputError, match="another run writes to this folder"), Writer(tmp_path):
        raise AssertionError
    with Writer(tmp_path):
        pass


def test_a_full_disk_leaves_whole_lines(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write = os.write

    def little(handle: int, raw: bytes) -> int:
        if len(raw) < 30:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return write(handle, raw[:-29])

    with Writer(tmp_path) as writer:
        writer.append([line("a")])
        before = (tmp_path / FILE).read_bytes()
        monkeypatch.setattr("trayopt.batches.results.os.write", little)
        with pytest.raises(InputError, match="No space left on device; all results so far are kept: make room"):
            writer.append([line("b"), line("c")])
        monkeypatch.undo()
        assert (tmp_path / FILE).read_bytes() == before
        assert writer.results.names() == ["a"]
        writer.append([line("d")])
    assert [json.loads(raw)["name"] for raw in (tmp_path / FILE).read_text().splitlines()] == ["a", "d"]


KILLED = """
import os, signal, sys
from pathlib import Path
from trayopt.batches.results import FILE, Writer
writer = Writer(Path(sys.argv[1])).__enter__()
writer.append([{"name": name, "outcome": "fits", "values": {}} for name in "abc"])
file = Path(sys.argv[1]) / FILE
if sys.argv[2] == "cut":
    file.write_bytes(file.read_bytes()[:-60])
elif sys.argv[2] == "taken away":
    file.unlink()
else:
    file.write_bytes(file.read_bytes().replace(b'"b"', b'"x"'))
os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.parametrize("what", ["cut", "taken away", "edited"])
def test_a_run_that_is_killed_after_its_results_were_cut_loses_no_line(what: str, tmp_path: Path) -> None:
    subprocess.run([sys.executable, "-c", KILLED, str(tmp_path), what], check=False)
    with Writer(tmp_path) as writer:
        assert writer.results.names() == (["a", "c", "x"] if what == "edited" else ["a", "b", "c"])
        assert writer.written_again == (what != "edited")
        writer.append([line("d")])
    assert len(Results(tmp_path)) == 4
    assert not (tmp_path / COPY).exists()


def test_a_fresh_run_takes_nothing_from_one_that_was_killed(tmp_path: Path) -> None:
    subprocess.run([sys.executable, "-c", KILLED, str(tmp_path), "taken away"], check=False)
    with Writer(tmp_path, recover=False) as writer:
        assert writer.results.names() == []
