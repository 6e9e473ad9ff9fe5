"""Whatever lies in a folder and cannot be read is a line, counted, and ends in exit 2; nothing is waited for."""

from __future__ import annotations

import json
import os
import socket
from pathlib import Path

import openpyxl
import pytest

from tests.batches.sweeps import run, write_sweep
from tests.cli.run import trayopt
from trayopt.batches.manifest import read_manifest
from trayopt.batches.progress import Tally
from trayopt.batches.results import Results
from trayopt.cli.exitcodes import Exit
from trayopt.errors import InputError
from trayopt.library.find import shipped

JOB = (shipped() / "standard" / "2x288-wall-2x6.yaml").read_text(encoding="utf-8")


def job(title: str) -> str:
    """Write a job with a title as YAML has it."""
    return JOB.replace(JOB.partition("title: ")[2].partition("\n")[0], title, 1)


def test_what_cannot_be_read_below_a_folder_is_a_line_each(tmp_path: Path) -> None:
    jobs = tmp_path / "jobs"
    (jobs / "below").mkdir(parents=True)
    (jobs / "good.yaml").write_text(job("good"), encoding="utf-8")
    (jobs / "broken-link.yaml").symlink_to(tmp_path / "nowhere.yaml")
    (jobs / "round.yaml").symlink_to(jobs / "round.yaml")
    os.mkfifo(jobs / "below" / "pipe.yaml")
    with socket.socket(socket.AF_UNIX) as made:
        here = Path.cwd()
        os.chdir(jobs)
        made.bind("socket.yml")
        os.chdir(here)
    for encoding in ("utf-16", "utf-16-le", "utf-32-be"):
        (jobs / f"{encoding}.yaml").write_bytes(job("wide").encode(encoding))
    (jobs / "latin.yaml").write_bytes(job("größe").encode("latin-1"))
    (jobs / "mark.YAML").write_bytes(job("mark").encode("utf-8-sig"))
    (jobs / "sweep.yaml").write_bytes(b"\xef\xbb\xbf" + write_sweep(tmp_path / "s.yaml", ["one"]).read_bytes())
    (jobs / "notes.yaml").write_text("a: 1\n", encoding="utf-8")
    done = trayopt("batch", jobs, "-o", tmp_path / "out", "--time-limit", "20", "--workers", "1", "--no-explain")
    assert done.returncode == Exit.INPUT, done.stderr
    lines = {line["name"]: line for line in Results(tmp_path / "out").lines()}
    wrong = {name: line["why"] for name, line in lines.items() if line["outcome"] == "wrong_input"}
    assert set(lines) - set(wrong) == {"good", "mark", "sweep/wall-1x6/one"}
    said = {
        "broken-link": "no such file",
        "round": "its links lead round in a circle",
        "below/pipe": "it is a pipe or a device",
        "socket": "cannot be read",
        "utf-16": "UTF-16",
        "utf-16-le": "NUL byte",
        "utf-32-be": "NUL byte",
        "latin": "not UTF-8 text",
    }
    assert set(wrong) == set(said)
    assert all(words in wrong[name] for name, words in said.items()), wrong
    assert all(f"warning: {name}: " in done.stderr for name in said), "all of them, more than three"
    assert "1 YAML file was left out, being neither a job nor a sweep; -v names it" in done.stderr


def test_a_pipe_that_is_named_itself_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.yaml")
    (item,) = read_manifest([tmp_path / "pipe.yaml"]).items()
    with pytest.raises(InputError, match="it is a pipe or a device"):
        item.job()


def test_folders_that_cannot_be_looked_into_are_lines(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "closed").mkdir()
    (tmp_path / "good.yaml").write_text(job("good"), encoding="utf-8")
    scan = os.scandir

    def closed(path: str) -> object:
        if Path(path).name == "closed":
            raise PermissionError(13, "Permission denied", path)
        return scan(path)

    monkeypatch.setattr(os, "scandir", closed)
    assert [item.name for item in read_manifest([tmp_path]).items()] == ["good", "closed"]


def test_links_to_folders_are_followed_once(tmp_path: Path) -> None:
    jobs, elsewhere = tmp_path / "jobs", tmp_path / "elsewhere"
    jobs.mkdir()
    elsewhere.mkdir()
    (elsewhere / "a.yaml").write_text(job("a"), encoding="utf-8")
    (jobs / "linked").symlink_to(elsewhere)
    (elsewhere / "back").symlink_to(jobs)
    assert [item.name for item in read_manifest([jobs]).items()] == ["linked/a"]


def test_a_file_name_that_is_no_utf_8_ends_nothing(tmp_path: Path) -> None:
    jobs = tmp_path / "jobs"
    jobs.mkdir()
    for name, text in (
        (b"\xff\xfe.yaml", job("good")),
        (b"bad\xe9.yaml", "schema: trayopt/job/2\n"),
        (b"a\nb.yaml", job("c")),
    ):
        Path(os.fsdecode(os.path.join(os.fsencode(jobs), name))).write_text(text, encoding="utf-8")  # noqa: PTH118
    listed = trayopt("batch", jobs, "--list")
    names = listed.stdout.splitlines()
    assert (listed.returncode, len(names)) == (Exit.YES, 3)
    done = trayopt("batch", jobs, "-o", tmp_path / "out", "--time-limit", "20", "--workers", "1", "--no-explain")
    assert done.returncode == Exit.INPUT, done.stderr
    lines = {line["name"]: line["outcome"] for line in Results(tmp_path / "out").lines()}
    assert lines == {"\\udcff\\udcfe": "fits", "bad\\udce9": "wrong_input", "a\\nb": "fits"}
    assert set(lines) == set(names)
    assert json.loads((tmp_path / "out" / "summary.json").read_text(encoding="utf-8"))["jobs"] == 3
    shown = trayopt("batch", jobs, "--show", names[0])
    assert shown.returncode == Exit.YES, shown.stderr


MARKS = ["\\u0007", "\\u001b[31m", "\\u0000", "\\uffff", "\\ud800", "\\u2028", "\\n\\t"]


def test_no_character_of_a_title_ends_the_batch(tmp_path: Path) -> None:
    """Whether such a title is taken or is wrong is for the reader of jobs to say; the others have their answers."""
    paths = [tmp_path / "good.yaml"]
    for i, mark in enumerate(MARKS):
        odd, rules = tmp_path / f"odd-{i}.yaml", f'rules: [{{name: "a{mark.replace("n", "v")}", rules: {{}}}}]'
        odd.write_text(job(f'"x{mark}y"'), encoding="utf-8")
        paths += [odd, write_sweep(tmp_path / f"s-{i}.yaml", [f"one-{i}"], rules)]
    (tmp_path / "good.yaml").write_text(job("good"), encoding="utf-8")
    out, tally = tmp_path / "out", Tally()
    summary = run(paths, out, work="trayopt.batches.work:solve_job", tally=tally)
    assert summary.jobs == len(paths)
    line = Results(out).line("good")
    assert line is not None
    assert line["outcome"] == "fits"
    for name in ("index.html", "summary.csv", "summary.json", "results.jsonl"):
        assert (out / name).read_text(encoding="utf-8")
    sheet = openpyxl.load_workbook(out / "summary.xlsx").active
    assert sheet is not None
    assert sheet.max_row == len(paths) + 1


def test_a_wrong_sweep_blocks_only_itself(tmp_path: Path) -> None:
    good = write_sweep(tmp_path / "good.yaml", ["one", "two"])
    bad = write_sweep(tmp_path / "bad.yaml", ["one"], "trays: [ribbon-71]", "joins: [trough]")
    done = trayopt("batch", good, bad, "-o", tmp_path / "out", "--time-limit", "20", "--no-explain", "-q")
    assert done.returncode == Exit.INPUT, done.stderr
    lines = {line["name"]: line for line in Results(tmp_path / "out").lines()}
    assert {name: line["outcome"] for name, line in lines.items()} == {
        "good/wall-1x6/one": "fits",
        "good/wall-1x6/two": "fits",
        "bad": "wrong_input",
    }
    assert "there is no tray 'ribbon-71'" in lines["bad"]["why"]
    assert "no such way to join; found 'trough'" in lines["bad"]["why"]
    assert f"warning: bad: {bad}:" in done.stderr
    listed = trayopt("batch", good, bad, "--list")
    assert listed.returncode == Exit.INPUT
    assert listed.stdout.splitlines() == ["good/wall-1x6/one", "good/wall-1x6/two", "bad"]
    assert "no such way to join" in listed.stderr
    alone = trayopt("batch", bad, "-o", tmp_path / "alone")
    assert alone.returncode == Exit.INPUT
    assert not (tmp_path / "alone").exists()
