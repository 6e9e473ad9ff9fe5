"""Full disks, closed streams and narrow encodings: nothing is lost, and nothing ends in a traceback."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.cli.run import ROOT, trayopt
from trayopt.cli import app
from trayopt.cli.exitcodes import Exit
from trayopt.errors import InputError
from trayopt.formats import folder_out, json_out
from trayopt.formats.folder_out import write_folder_whole
from trayopt.formats.json_in import read_plan
from trayopt.formats.json_out import can_be_written

EXAMPLE = ROOT / "models" / "standard" / "worked-example.yaml"
FULL = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def shell(line: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    """Run a line of a shell in which ``T`` is trayopt."""
    env = {**os.environ, "PYTHONPATH": str(ROOT), "T": f"{sys.executable} -m trayopt", "J": str(EXAMPLE), **environment}
    return subprocess.run(["sh", "-c", line], capture_output=True, check=False, cwd=ROOT, env=env)


@pytest.fixture
def filled(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the disk be full when the search has ended."""
    monkeypatch.setattr(json_out, "_replace", lambda *_, **__: (_ for _ in ()).throw(FULL))


# -- files -------------------------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("filled")
@pytest.mark.parametrize("more", [[], ["--format", "json"], ["-q"]], ids=str)
def test_a_plan_that_cannot_be_written_goes_to_stdout(
    more: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "plan.json"
    with pytest.raises(SystemExit) as end:
        app.main(["solve", str(EXAMPLE), "--workers", "1", "-o", str(path), *more])
    captured = capsys.readouterr()
    assert end.value.code == Exit.INPUT
    printed = tmp_path / "printed.json"
    printed.write_text(captured.out, "utf-8")
    assert read_plan(printed).status == "optimal"
    assert "cannot be written: No space left on device" in captured.err
    assert not path.exists()


@pytest.mark.usefixtures("filled")
@pytest.mark.parametrize("name", ["plan.json", "plan.csv"])
def test_a_mended_plan_that_cannot_be_written_goes_to_stdout(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "old.csv"
    table.write_text("trunk,fibres,stack,position\nP,1-24,left,1\nP,25-48,left,1\nQ,1-24,left,1\nQ,25-48,left,2\n")
    with pytest.raises(SystemExit) as end:
        app.main(["mend", str(EXAMPLE), str(table), "-o", str(tmp_path / name)])
    captured = capsys.readouterr()
    assert end.value.code == Exit.INPUT, captured.err
    printed = tmp_path / "printed.json"
    printed.write_text(captured.out, "utf-8")
    assert read_plan(printed).value("unplaced") == 0
    assert f"{name} is not written; the plan goes to standard output instead" in captured.err


@pytest.mark.parametrize("command", ["solve", "mend"])
@pytest.mark.parametrize("wrong", [FULL, OSError(errno.EROFS, os.strerror(errno.EROFS))], ids=str)
def test_it_is_found_out_before_the_search(
    command: str, wrong: OSError, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_room(**_: object) -> Any:
        raise wrong

    def search(*_: object, **__: object) -> None:
        raise AssertionError("it was searched all the same")

    monkeypatch.setattr("tempfile.mkstemp", no_room)
    monkeypatch.setattr("trayopt.api.solve", search)
    monkeypatch.setattr("trayopt.review.mend.mend", search)
    plan = [] if command == "solve" else [str(EXAMPLE)]
    with pytest.raises(SystemExit) as end:
        app.main([command, str(EXAMPLE), *plan, "-o", str(tmp_path / "plan.json")])
    captured = capsys.readouterr()
    assert (end.value.code, captured.out) == (Exit.INPUT, "")
    assert captured.err.startswith(f"{tmp_path / 'plan.json'}: cannot be written: {wrong.strerror}; name a file in a ")


def test_a_limit_on_the_size_of_files_counts_as_no_room(tmp_path: Path) -> None:
    """A real limit of the system: 4 kB a file."""
    done = shell(f"ulimit -f 8; $T solve $J -o {tmp_path}/plan.json")
    assert (done.returncode, done.stdout) == (Exit.INPUT, b"")
    assert b"cannot be written: File too large" in done.stderr
    assert not list(tmp_path.iterdir())


def test_room_is_asked_for_and_given_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []
    monkeypatch.setattr(os, "posix_fallocate", lambda handle, at, room: asked.append(room), raising=False)
    target = tmp_path / "plan.json"
    target.write_text("the plan of yesterday")
    can_be_written(target, 12_345)
    assert asked == [12_345]
    assert [path.name for path in tmp_path.iterdir()] == ["plan.json"]
    assert target.read_text() == "the plan of yesterday"


@pytest.mark.parametrize("name", ["", "nowhere/plan.json"])
def test_a_folder_is_no_file(name: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        can_be_written(tmp_path / name)


# -- folders -----------------------------------------------------------------------------------------------------------

OLD = {"index.html": b"old page", "pictures/1.svg": b"old picture", "gone.csv": b"old list", "contents.json": b"old"}
NEW = {"index.html": b"new page", "pictures/1.svg": b"new picture", "pictures/2.svg": b"x", "contents.json": b"new"}


def held(folder: Path) -> dict[str, bytes]:
    """Read every file of a folder."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_folder_is_written_and_other_files_stay(tmp_path: Path) -> None:
    folder = tmp_path / "a" / "b"
    write_folder_whole(folder, OLD, "contents.json")
    (folder / "notes.txt").write_bytes(b"mine")
    write_folder_whole(folder, NEW, "contents.json", ["gone.csv"])
    assert held(folder) == {**NEW, "notes.txt": b"mine"}
    assert sorted(path.name for path in folder.iterdir()) == ["contents.json", "index.html", "notes.txt", "pictures"]


@pytest.mark.parametrize("after", range(len(NEW) + len(OLD) + len(NEW)))
def test_a_folder_stays_as_it_was_wherever_writing_fails(
    after: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk is full, or a rename fails, at each step in turn."""
    folder = tmp_path / "sheets"
    write_folder_whole(folder, OLD, "contents.json")
    left = [after]

    def failing(step: Any) -> Any:
        def run(*arguments: Any) -> Any:
            left[0] -= 1
            if left[0] == -1:
                raise FULL
            return step(*arguments)

        return run

    monkeypatch.setattr(folder_out, "_write", failing(folder_out._write))
    monkeypatch.setattr(Path, "rename", failing(Path.rename))
    with pytest.raises(InputError, match="No space left on device"):
        write_folder_whole(folder, NEW, "contents.json", ["gone.csv"])
    assert held(folder) == OLD
    assert not [path for path in folder.iterdir() if path.name.endswith(".part")]


def test_a_new_folder_is_taken_away_where_writing_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folder_out, "_write", lambda *_: (_ for _ in ()).throw(FULL))
    with pytest.raises(InputError):
        write_folder_whole(tmp_path / "a" / "b", NEW, "contents.json")
    assert not list(tmp_path.iterdir())


def test_sheets_of_another_plan_replace_all_or_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plan, folder = tmp_path / "plan.json", tmp_path / "sheets"
    assert trayopt("solve", EXAMPLE, "-q", "-o", plan).returncode == Exit.YES
    assert trayopt("sheets", EXAMPLE, plan, "-o", folder).returncode == Exit.YES
    before = held(folder)
    real, count = folder_out._write, [0]

    def some(path: Path, content: bytes) -> None:
        count[0] += 1
        if count[0] > 5:
            raise FULL
        real(path, content)

    monkeypatch.setattr(folder_out, "_write", some)
    with pytest.raises(SystemExit) as end:
        app.main(["sheets", str(EXAMPLE), str(plan), "-o", str(folder), "--language", "de", "--units", "feet"])
    assert end.value.code == Exit.INPUT
    assert held(folder) == before


# -- streams -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("$T solve $J -q -o {plan} >&-", Exit.YES),
        ("$T solve $J -q -o {plan} 2>&-", Exit.YES),
        ("$T solve $J -v -o {plan} >&- 2>&- <&-", Exit.YES),
        ("$T solve - -q <&-", Exit.INPUT),
        ("$T solve $J -o {plan} >/dev/full", Exit.INPUT),
        ("$T solve $J -v -o {plan} 2>/dev/full", Exit.YES),
        ("$T schema job >/dev/full", Exit.INPUT),
        ("$T schema job >&-", Exit.YES),
        ("$T --help >/dev/full", Exit.INPUT),
        ("$T solve nowhere.yaml 2>&-", Exit.INPUT),
        ("$T solve nowhere.yaml 2>/dev/full", Exit.INPUT),
        ("$T library list >/dev/full", Exit.INPUT),
    ],
)
def test_closed_and_full_streams(line: str, code: Exit, tmp_path: Path) -> None:
    plan = tmp_path / "plan.json"
    done = shell(line.format(plan=plan))
    assert done.returncode == code, done.stderr
    assert b"Traceback" not in done.stderr
    assert b"fault" not in done.stderr
    assert b"Exception ignored" not in done.stderr
    if ">/dev/full" in line and "2>" not in line:
        assert done.stderr.endswith(b"standard output cannot be written: No space left on device\n")
    if "{plan}" in line:
        assert read_plan(plan).status == "optimal"


def test_a_stream_of_ascii_takes_every_character(tmp_path: Path) -> None:
    job, title = tmp_path / "job.yaml", "Prüfung … \U0001f600"
    text = EXAMPLE.read_text("utf-8")
    lines = [f'title: "{title}"' if line.startswith("title:") else line for line in text.splitlines()]
    job.write_text("\n".join(lines), "utf-8")
    narrow = {"PYTHONIOENCODING": "ascii", "J": str(job)}
    done = shell("$T solve $J --format json", **narrow)
    assert done.returncode == Exit.YES, done.stderr
    assert json.loads(done.stdout.decode("ascii"))["job"]["title"] == title
    for line in ("$T solve $J -v", "$T explain $J", "$T library list", "$T new -"):
        done = shell(line, **narrow)
        assert done.returncode == Exit.YES, done.stderr
        assert done.stdout.decode("ascii")
        assert b"Traceback" not in done.stderr
    assert b"Pr\\u00fcfung \\u2026 \\ud83d\\ude00" in shell("$T solve $J", **narrow).stdout
