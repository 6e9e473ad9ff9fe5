"""Whatever surrounds a run: no home, another locale, no terminal, one core, little memory, a clock that jumps, a sudden end."""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.run import ROOT
from trayopt.cli.exitcodes import Exit
from trayopt.formats.json_in import read_plan

JOB = ROOT / "models" / "standard" / "worked-example.yaml"
LARGE = ROOT / "models" / "standard" / "2x864-wall-3x8-port.yaml"
MAIN = "import sys\nfrom trayopt.cli import main\nmain(sys.argv[1:])\n"

JUMPING = """
import itertools, sys, time
steps = itertools.cycle([0.0, 86_400.0 * 400, -86_400.0 * 900, 1e9])
now = time.time
time.time = lambda: now() + next(steps)
time.time_ns = lambda: int(time.time() * 1e9)
"""
"""Wall time that jumps by years at every look, as on a machine whose clock is set during a run."""

KILLED = """
import os, signal
def gone(*_): os.kill(os.getpid(), signal.SIGKILL)
os.replace = os.rename = gone
"""
"""The process is ended without warning at the moment at which the new file would take the place of the old one."""


def solve(
    path: Path,
    *more: str,
    job: Path = JOB,
    first: str = "",
    environment: dict[str, str] | None = None,
    begin: Callable[[], None] | None = None,
) -> subprocess.CompletedProcess[bytes]:
    """Solve a job in a process that has no terminal and nothing to read from."""
    return subprocess.run(
        [sys.executable, "-c", first + MAIN, "solve", str(job), "-o", str(path), *more],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        check=False,
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT)} if environment is None else environment,
        preexec_fn=begin,
        start_new_session=True,
        timeout=300,
    )


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Give the plan of the worked example as it always comes out."""
    path = tmp_path_factory.mktemp("usual") / "plan.json"
    done = solve(path, "--reproducible")
    assert done.returncode == Exit.YES, done.stderr
    assert b"\x1b" not in done.stdout + done.stderr, "without a terminal nothing is coloured and no line written over"
    return path.read_bytes()


@pytest.mark.parametrize(
    "surroundings",
    [
        {},
        {"HOME": "/nowhere", "LC_ALL": "xx_YY.UTF-9", "TERM": "none"},
        {"LC_ALL": "tr_TR.ISO-8859-9", "TZ": "?", "COLUMNS": "0"},
    ],
    ids=["none", "no home", "other locale"],
)  # fmt: skip
def test_no_home_and_no_locale_change_nothing(surroundings: dict[str, str], usual: bytes, tmp_path: Path) -> None:
    done = solve(tmp_path / "plan.json", "--reproducible", environment=surroundings | {"PYTHONPATH": str(ROOT)})
    assert done.returncode == Exit.YES, done.stderr
    assert (tmp_path / "plan.json").read_bytes() == usual


def test_a_clock_that_jumps_changes_nothing(usual: bytes, tmp_path: Path) -> None:
    done = solve(tmp_path / "plan.json", "--reproducible", first=JUMPING)
    assert done.returncode == Exit.YES, done.stderr
    assert (tmp_path / "plan.json").read_bytes() == usual
    done = solve(tmp_path / "timed.json", "--time-limit", "60", first=JUMPING)
    assert done.returncode == Exit.YES, done.stderr
    assert read_plan(tmp_path / "timed.json").status == "optimal"


@pytest.mark.parametrize("left", ["one core", "1 GiB"])
def test_one_core_and_one_gibibyte_are_enough(left: str, tmp_path: Path) -> None:
    def begin() -> None:
        if left == "one core":
            os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
        else:
            resource.setrlimit(resource.RLIMIT_DATA, (2**30, 2**30))

    done = solve(tmp_path / "plan.json", "-q", job=LARGE, begin=begin)
    assert done.returncode == Exit.YES, done.stderr
    assert read_plan(tmp_path / "plan.json").status == "optimal"


def test_an_end_without_warning_leaves_the_old_file(tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    path.write_text("the old plan", encoding="utf-8")
    done = solve(path, first=KILLED)
    assert done.returncode == -signal.SIGKILL
    assert path.read_text(encoding="utf-8") == "the old plan"
    assert [item.name for item in tmp_path.iterdir() if item.suffix == ".json"] == ["plan.json"]
    assert solve(path).returncode == Exit.YES
    assert read_plan(path).status == "optimal"
