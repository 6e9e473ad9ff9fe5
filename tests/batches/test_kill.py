"""kill -9 in the middle of a real run, then --resume: nothing is lost but what was in work, nothing is solved twice."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

from tests.batches.sweeps import write_sweep
from trayopt.batches.results import FILE

ROOT = Path(__file__).parents[2]


def command(*arguments: str | Path) -> list[str]:
    """Give the command line of a batch."""
    return [
        sys.executable,
        "-m",
        "trayopt",
        "batch",
        *map(str, arguments),
        "--time-limit",
        "20",
        "--workers",
        "2",
        "-q",
    ]


ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT)}


def names(folder: Path) -> list[str]:
    """Give the names on all whole lines."""
    raw = (folder / FILE).read_bytes() if (folder / FILE).exists() else b""
    return [json.loads(line)["name"] for line in raw.split(b"\n")[:-1]]


def test_kill_and_resume(tmp_path: Path) -> None:
    mixes = [f"m{i}" for i in range(16)]
    path = write_sweep(tmp_path / "s.yaml", mixes, enclosures="[wall-2x6]")
    killed, straight = tmp_path / "killed", tmp_path / "straight"
    run = subprocess.Popen(command(path, "-o", killed), cwd=ROOT, env=ENVIRONMENT, start_new_session=True)
    while len(names(killed)) < 5:
        assert run.poll() is None
        time.sleep(0.02)
    run.kill()
    assert run.wait() == -signal.SIGKILL
    before = names(killed)
    assert 5 <= len(before) < 16
    for name in before:
        assert json.loads((killed / "plans" / f"{name}.json").read_text())["schema"] == "trayopt/plan/2"
    with (killed / FILE).open("ab") as file:
        file.write(b'{"name": "s/wall-2x6/m15", "outcome": "fi')
    refused = subprocess.run(command(path, "-o", killed), cwd=ROOT, env=ENVIRONMENT, capture_output=True, check=False)
    assert refused.returncode == 2
    done = subprocess.run(
        command(path, "-o", killed, "--resume", "--format", "json"),
        cwd=ROOT,
        env=ENVIRONMENT,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    after = names(killed)
    assert after[: len(before)] == before
    assert sorted(after) == sorted(f"s/wall-2x6/{mix}" for mix in mixes)
    whole = subprocess.run(
        command(path, "-o", straight, "--format", "json"), cwd=ROOT, env=ENVIRONMENT, capture_output=True, check=False
    )
    assert json.loads(done.stdout)["digest"] == json.loads(whole.stdout)["digest"]


def test_a_request_to_end_sums_up_what_is_there(tmp_path: Path) -> None:
    path = write_sweep(tmp_path / "s.yaml", [f"m{i}" for i in range(60)], enclosures="[wall-2x6]")
    out = tmp_path / "out"
    run = subprocess.Popen(command(path, "-o", out), cwd=ROOT, env=ENVIRONMENT, stderr=subprocess.PIPE)
    while len(names(out)) < 2:
        assert run.poll() is None
        time.sleep(0.02)
    run.terminate()
    _, said = run.communicate(timeout=60)
    assert run.returncode == 130
    assert b"go on with --resume" in said
    assert json.loads((out / "summary.json").read_text())["jobs"] == len(names(out)) < 60
