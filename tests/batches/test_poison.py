"""Jobs that crash, hang, take all memory or print where answers go: one line each, and the others go on."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.batches.sweeps import outcomes, run, write_sweep
from trayopt.batches.results import Results
from trayopt.batches.work import Settings
from trayopt.batches.worker import Limits, Worker

JOB = {"title": "one in box", "joins": []}


def test_every_poisoned_job_is_one_line_and_the_others_are_solved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TRAYOPT_TEST_NOTES", str(tmp_path / "killed"))
    bad = ["crash", "leave", "endless", "memory", "at once"]
    good = [f"good{i}" for i in range(12)]
    mixes = [*good[:4], "crash", "leave", *good[4:6], "endless", "noisy", "memory", *good[6:], "at once", "killed once"]
    path = write_sweep(tmp_path / "s.yaml", mixes)
    run([path], tmp_path / "out", work="poisoned", wall_limit_s=5.0, memory_mb=400)
    found = outcomes(tmp_path / "out")
    assert {name for name, outcome in found.items() if outcome == "failed"} == set(bad)
    assert {name for name, outcome in found.items() if outcome == "fits"} == {*good, "noisy", "killed once"}
    lines = {line["name"].rpartition("/")[2]: line for line in Results(tmp_path / "out").lines()}
    assert {name: lines[name]["failure"] for name in bad} == {
        "crash": "crash",
        "leave": "crash",
        "endless": "hang",
        "memory": "memory",
        "at once": "memory",
    }
    assert lines["crash"]["why"].startswith("its process ended with signal SIGABRT")
    assert lines["leave"]["why"] == "its process ended with code 3: the last words"
    assert lines["endless"]["why"] == "no end after 5 s, its process was ended"
    assert lines["memory"]["why"].endswith("MB held, 400 MB allowed")
    assert [lines[name]["attempts"] for name in ("crash", "killed once", "endless", "good0")] == [2, 2, 1, 1]


def test_failed_jobs_are_run_again_only_where_that_is_asked_for(tmp_path: Path) -> None:
    path = write_sweep(tmp_path / "s.yaml", ["crash", "good"])
    run([path], tmp_path / "out", work="poisoned")
    assert outcomes(tmp_path / "out") == {"crash": "failed", "good": "fits"}
    run([path], tmp_path / "out", work="quick", resume=True)
    assert outcomes(tmp_path / "out") == {"crash": "failed", "good": "fits"}
    run([path], tmp_path / "out", work="quick", resume=True, retry_failed=True)
    assert outcomes(tmp_path / "out") == {"crash": "fits", "good": "fits"}


def test_a_process_that_holds_much_makes_room_for_a_fresh_one() -> None:
    worker = Worker(Limits(memory_mb=10, work="tests.batches.stubs:quick"))
    try:
        worker.start()
        first = worker._process
        answer = worker.ask(JOB, Settings().plain())
        assert worker._process is not first
        assert answer["outcome"] in {"fits", "failed"}
    finally:
        worker.close()


def test_children_end_with_their_owner(tmp_path: Path) -> None:
    """Whoever is killed leaves no process behind, in the middle of a job too."""
    code = (
        "import sys\n"
        "from trayopt.batches.worker import Limits, Worker\n"
        "worker = Worker(Limits(work='tests.batches.stubs:poisoned'))\n"
        "worker.start()\n"
        "print(worker._process.pid, flush=True)\n"
        "worker.ask({'title': 'endless in box', 'joins': []}, {})\n"
    )
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(part for part in sys.path if part)}
    owner = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, env=environment, cwd=tmp_path)
    assert owner.stdout is not None
    child = int(owner.stdout.readline())
    owner.stdout.close()
    assert _lives(child)
    owner.kill()
    owner.wait()
    for _ in range(100):
        if not _lives(child):
            break
        time.sleep(0.1)
    assert not _lives(child)


def _lives(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False
