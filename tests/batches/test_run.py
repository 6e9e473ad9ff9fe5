"""The run: every job once, resumed where it stopped, the same results in any order."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections import Counter
from io import StringIO
from pathlib import Path

import pytest
from rich.console import Console

from tests.batches.sweeps import outcomes, run, write_sweep
from trayopt.batches.batch import batch
from trayopt.batches.progress import Lines, Screen, Tally
from trayopt.batches.results import FILE, Results
from trayopt.batches.sweep import SweepJob
from trayopt.batches.work import Settings
from trayopt.errors import InputError
from trayopt.library.find import shipped

ROOT = Path(__file__).parents[2]
JOB = shipped() / "standard" / "2x288-wall-2x6.yaml"


def test_every_job_has_a_line_and_a_plan(tmp_path: Path) -> None:
    path = write_sweep(tmp_path / "s.yaml", [f"m{i}" for i in range(20)])
    tally = Tally()
    summary = run([path], tmp_path / "out", tally=tally)
    assert (tally.total, tally.done, tally.before) == (20, 20, 0)
    assert summary.counts == {"fits": 20}
    for line in Results(tmp_path / "out").lines():
        plan = json.loads((tmp_path / "out" / line["plan"]).read_text())
        assert plan["job"]["title"] == f"{line['values']['mix']} in wall-1x6"
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {".lock", FILE, "plans", "summary.csv", "summary.xlsx", "summary.json", "index.html"}


def test_results_do_not_depend_on_order_or_workers_and_name_what_they_are(tmp_path: Path) -> None:
    mixes = [f"m{i}" for i in range(12)]
    one = run([write_sweep(tmp_path / "s.yaml", mixes)], tmp_path / "one", workers=1)
    many = run([write_sweep(tmp_path / "s.yaml", mixes[::-1])], tmp_path / "many", workers=4)
    fewer = run([write_sweep(tmp_path / "s.yaml", mixes[1:])], tmp_path / "fewer")
    assert one.digest == many.digest
    assert one.digest != fewer.digest
    assert len(one.digest) == 64


def test_jobs_that_are_the_same_are_solved_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    notes = tmp_path / "notes"
    monkeypatch.setenv("TRAYOPT_TEST_NOTES", str(notes))
    path = write_sweep(tmp_path / "s.yaml", ["a", "b", "c"], "divide_at: [own, cable, port]")
    summary = run([path], tmp_path / "out", work="noted")
    assert Counter(notes.read_text().split()) == Counter(" ".join(f"{mix} in wall-1x6" for mix in "aabbcc").split())
    assert (summary.jobs, summary.same) == (9, 3)
    lines = {line["name"]: line for line in Results(tmp_path / "out").lines()}
    first, twin = lines["s/wall-1x6/a_cable"], lines["s/wall-1x6/a_own"]
    assert twin["same_as"] == first["name"]
    assert (twin["goals"], twin["digest"]) == (first["goals"], first["digest"])
    assert twin["plan"] != first["plan"], "each has a plan of its own"
    assert (tmp_path / "out" / twin["plan"]).read_bytes() == (tmp_path / "out" / first["plan"]).read_bytes()
    assert twin["values"]["divide_at"] == "own"


def test_a_batch_is_one_call(tmp_path: Path) -> None:
    path = write_sweep(tmp_path / "s.yaml", ["a"], enclosures="[wall-2x6]")
    with pytest.raises(InputError, match="legz"):
        batch([str(path)], tmp_path / "out", goals=["legz"])
    assert not (tmp_path / "out").exists()
    summary = batch([str(path)], str(tmp_path / "out"), time_limit_s=20, explain=False, workers=1)
    assert (summary.counts, summary.jobs) == ({"fits": 1}, 1)
    assert [found.box and found.box.enclosure for found in summary.smallest] == ["wall-2x6"]
    again = batch(
        [path], tmp_path / "out", time_limit_s=20, explain=False, workers=1, resume=True, against=tmp_path / "out"
    )
    assert (again.digest, again.changes) == (summary.digest, [])


def test_copies_of_a_slow_job_leave_no_worker_idle(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The others are solved while the copies wait for the one that is."""
    monkeypatch.setenv("TRAYOPT_TEST_NOTES", str(tmp_path / "notes"))
    (tmp_path / "notes").touch()
    paths = []
    for name, title in [*((f"copy{i}", "wait") for i in range(40)), *((f"other{i}", f"other {i}") for i in range(6))]:
        paths.append(tmp_path / f"{name}.yaml")
        paths[-1].write_text(JOB.read_text(encoding="utf-8").replace("2 x 288", title, 1), encoding="utf-8")
    summary = run(paths, tmp_path / "out", work="patient", workers=2)
    assert summary.counts == {"fits": 46}
    assert summary.same == 39


def test_a_fault_while_a_job_is_read_is_that_jobs_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write_sweep(tmp_path / "s.yaml", ["good", "bad"])
    read = SweepJob.job

    def sometimes(made: SweepJob) -> object:
        if made.values["mix"] == "bad":
            raise RuntimeError("of all things")
        return read(made)

    monkeypatch.setattr(SweepJob, "job", sometimes)
    summary = run([path], tmp_path / "out")
    assert outcomes(tmp_path / "out") == {"good": "fits", "bad": "failed"}
    assert [failure.why for failure in summary.failures] == ["RuntimeError: of all things"]


def test_resume_runs_what_is_missing_and_what_is_asked_for_in_another_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    notes = tmp_path / "notes"
    monkeypatch.setenv("TRAYOPT_TEST_NOTES", str(notes))
    notes.touch()

    def told() -> list[str]:
        said = notes.read_text().splitlines()
        notes.write_text("")
        return sorted(line.partition(" ")[0] for line in said)

    out = tmp_path / "out"
    first = run([write_sweep(tmp_path / "s.yaml", ["a", "b"])], out, work="noted")
    assert told() == ["a", "b"]
    path = write_sweep(tmp_path / "s.yaml", ["a", "b", "c"])
    with pytest.raises(InputError, match="there are results already; go on with --resume"):
        run([path], out, work="noted")
    tally = Tally()
    second = run([path], out, work="noted", resume=True, tally=tally)
    assert told() == ["c"]
    assert (tally.done, tally.before) == (3, 2)
    (out / Results(out).line("s/wall-1x6/b")["plan"]).unlink()  # type: ignore[index]
    third = run([path], out, work="noted", resume=True)
    assert told() == ["b"]
    assert second.digest == third.digest != first.digest
    run([path], out, work="noted", resume=True, settings=Settings(time_limit_s=61))
    assert told() == ["a", "b", "c"]


def test_wrong_jobs_and_boxes_that_cannot_be_built_are_lines(tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.yaml"
    wrong.write_text(JOB.read_text().replace("enclosure: wall-2x6", "enclosure: wall-2x7"))
    sweep = write_sweep(tmp_path / "s.yaml", ["a"], "trays: [own, ribbon-144]")
    out = tmp_path / "out"
    run([wrong, sweep], out)
    assert outcomes(out) == {"wrong": "wrong_input", "a_own": "fits", "a_ribbon-144": "does_not_fit"}
    lines = {line["name"]: line for line in Results(out).lines()}
    assert "there is no enclosure 'wall-2x7' in the library; did you mean 'wall-2x6'?" in lines["wrong"]["why"]
    assert lines["s/wall-1x6/a_ribbon-144"]["why"].startswith("such a box cannot be built: ")
    run([wrong, sweep], out, resume=True)
    assert len((out / FILE).read_text().splitlines()) == 3, "what is the same is not written again"
    wrong.write_text(JOB.read_text())
    run([wrong, sweep], out, resume=True)
    assert outcomes(out)["wrong"] == "fits"


def test_a_full_disk_stops_the_run_and_a_resumed_one_loses_nothing(tmp_path: Path) -> None:
    """The real thing, as far as it goes without a small disk: the process may write files of a limited size only."""
    path = write_sweep(tmp_path / "s.yaml", [f"m{i}" for i in range(60)])
    code = (
        "import resource, signal, sys\n"
        "from pathlib import Path\n"
        "from tests.batches.sweeps import run\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))\n"
        "run([Path(sys.argv[1])], Path(sys.argv[2]))\n"
    )
    out = tmp_path / "out"
    done = subprocess.run(
        [sys.executable, "-c", code, str(path), str(out)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        timeout=120,
    )
    assert done.returncode == 1
    assert "all results so far are kept: make room, then go on with --resume" in done.stderr
    raw = (out / FILE).read_bytes()
    assert raw.endswith(b"\n")
    kept = len(raw.splitlines())
    assert 5 < kept < 60
    assert not list(out.rglob("*.part"))
    tally = Tally()
    assert run([path], out, resume=True, tally=tally).jobs == 60
    assert tally.before == kept


def test_progress_is_a_line_a_minute_with_rate_time_left_and_failures(tmp_path: Path) -> None:
    del tmp_path
    now = [0.0]
    said: list[str] = []
    lines = Lines(said.append, lambda: now[0])
    lines.begin(400)
    for i in range(100):
        lines.ended({"name": f"j{i}", "outcome": "fits"}, before=i < 20)
    for i in range(5):
        lines.ended({"name": f"bad{i}", "outcome": "failed", "why": "no end"}, before=False)
    lines.tick()
    assert said == []
    now[0] = 60.0
    lines.tick()
    lines.tick()
    assert said == [
        "105 of 400 jobs (26 %), 1.4 a second, 3 min left: 100 fits, 5 failed",
        *(f"  failed: bad{i}: no end" for i in range(5)),
    ]


def test_on_a_terminal_the_bar_has_a_line_of_its_own() -> None:
    stream = StringIO()
    with Screen(Console(file=stream, force_terminal=True, width=80)) as screen:
        screen.begin(4)
        screen.ended({"name": "bad", "outcome": "failed", "why": "no end"}, before=False)
    lines = [re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", line).strip() for line in stream.getvalue().splitlines()]
    assert any(set(line) <= set("━╸╺") for line in lines if line)
    assert "failed: bad: no end" in lines
    assert any(line.startswith("1 of 4 jobs (25 %), ") for line in lines)


def test_an_end_asked_for_right_after_a_line_was_written_counts_that_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_sweep(tmp_path / "s.yaml", [f"m{i}" for i in range(20)])
    out, sync = tmp_path / "out", os.fsync

    def asked_to_end(handle: int) -> None:
        sync(handle)
        if (out / FILE).read_bytes().count(b"\n") >= 3:
            monkeypatch.undo()
            raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", asked_to_end)
    with pytest.raises(KeyboardInterrupt):
        run([path], out)
    summary = json.loads((out / "summary.json").read_text())
    assert summary["jobs"] == len(Results(out)) >= 3
