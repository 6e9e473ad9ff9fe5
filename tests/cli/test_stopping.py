"""Ctrl-C and requests to end, at any moment, once and twice: a plan that was found is not lost, and nobody is blamed."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from tests.cli.run import ROOT, trayopt
from trayopt.cli import stopping
from trayopt.cli.exitcodes import Exit
from trayopt.formats.json_in import read_plan

JOB = ROOT / "models" / "standard" / "6912-to-2x3456-cabinet-4x24.yaml"
"""Its first plans come soon, its last proof takes long."""
SMALLER = "2x1728-shuffled-subunits"
"""Its first plans come at once."""

BEGUN = """
import sys
from trayopt.cli import main, stopping
heard = stopping.Stopping.heard
def begun(self):
    sys.stdout.write("begun\\n")
    sys.stdout.flush()
    return heard(self)
stopping.Stopping.heard = begun
main(sys.argv[1:])
"""
"""Says when the run begins to hear requests: before that Python itself is started."""

FOUND = """
import sys
from trayopt.cli import main, progress, stopping
take = progress.Progress.__call__
def found(self, seconds, goal, value, bound):
    take(self, seconds, goal, value, bound)
    if value is not None and goal != "broken_prefer":
        sys.stdout.write("found\\n")
        sys.stdout.flush()
        if "6912" not in sys.argv[2]:
            stopping.STOPPING.search.wait(60)
progress.Progress.__call__ = found
main(sys.argv[1:])
"""
"""Says when a plan was found; where the search would soon be over, it stands still until a request is heard."""


def asked(
    code: str, path: Path, delay: float, *signals: signal.Signals, gap: float = 0.0, job: Path = JOB
) -> tuple[int, str, str]:
    """Run a solve, wait for its first line, and send it signals after a delay."""
    child = subprocess.Popen(
        [sys.executable, "-c", code, "solve", str(job), "-o", str(path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        text=True,
    )
    assert child.stdout is not None
    child.stdout.readline()
    time.sleep(delay)
    for number in signals:
        child.send_signal(number)
        time.sleep(gap)
    out, err = child.communicate(timeout=240)
    return child.returncode, out, err


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=lambda number: number.name)
def test_while_modules_load_it_ends_with_the_code_of_the_signal(
    number: signal.Signals, seed: int, tmp_path: Path
) -> None:
    """Anywhere in the first second; where the search has begun by then, its first plan may be there."""
    code, _, err = asked(BEGUN, tmp_path / "plan.json", random.Random(seed).uniform(0.0, 0.8), number)
    assert code in {Exit.INTERRUPTED if number == signal.SIGINT else Exit.TERMINATED, Exit.NOTHING, Exit.YES}, err
    assert "fault" not in err
    assert "Traceback" not in err
    assert (tmp_path / "plan.json").exists() == (code == Exit.YES)


@pytest.mark.parametrize(
    ("job", "gap"),
    [(SMALLER, 0.0), *(pytest.param(JOB.stem, gap, marks=pytest.mark.slow) for gap in (0.0, 0.02, 0.2))],
)
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=lambda number: number.name)
def test_two_requests_at_once_are_one(number: signal.Signals, job: str, gap: float, tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    code, out, err = asked(FOUND, path, 0.1, number, number, gap=gap, job=JOB.with_stem(job))
    assert code == Exit.YES, err
    assert read_plan(path).stopped == "interrupted"
    assert "Stopped by hand;" in " ".join(out.split())
    said = "stopping with the best plan so far"
    again = "; Ctrl-C again gives up at once"
    assert err.splitlines()[0] == (said + again if number == signal.SIGINT else f"SIGTERM: {said}")


def test_a_request_after_the_search_does_not_cost_the_plan(tmp_path: Path) -> None:
    """It comes just before the file is written."""
    code = """
import os, signal, sys
from trayopt.cli import main
from trayopt.formats import json_out
write = json_out.write_whole
def late(path, text):
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGINT):
        os.kill(os.getpid(), number)
    write(path, text)
json_out.write_whole = late
main(sys.argv[1:])
"""
    path = tmp_path / "plan.json"
    job = ROOT / "models" / "standard" / "worked-example.yaml"
    done = subprocess.run(
        [sys.executable, "-c", code, "solve", str(job), "-o", str(path)],
        capture_output=True, check=False, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, text=True,
    )  # fmt: skip
    assert (done.returncode, done.stderr.splitlines()[-1]) == (Exit.YES, f"{path} written")
    assert read_plan(path).status == "optimal"
    assert trayopt("check", job, path, "-q").returncode == Exit.YES


def test_a_fault_of_a_module_that_was_being_loaded_is_the_interruption() -> None:
    """Compiled modules give an interruption out as an ImportError, or as none at all."""
    code = """
import os, signal, sys
import trayopt.api
from trayopt.cli import main
def loading(kind):
    try:
        os.kill(os.getpid(), signal.SIGINT)
    except KeyboardInterrupt:
        raise ImportError("numpy._core.multiarray failed to import") from None
trayopt.api.json_schema = loading
main(["schema", "job"])
"""
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, check=False, cwd=ROOT, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert (done.returncode, done.stdout, done.stderr) == (Exit.INTERRUPTED, "", "\ninterrupted\n")


def test_another_ctrl_c_gives_up_later_but_not_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    ended: list[int] = []
    told: list[str] = []
    closed: list[bool] = []
    now = [10.0]
    monkeypatch.setattr(os, "_exit", ended.append)
    monkeypatch.setattr(time, "monotonic", lambda: now[0])
    before = signal.getsignal(signal.SIGINT)
    one = stopping.Stopping()
    with one.heard():
        with one.keeping(told.append, lambda: closed.append(True)) as stop:
            assert not stop.is_set()
            signal.raise_signal(signal.SIGINT)
            assert stop.is_set()
            now[0] += stopping.TOGETHER_S / 2
            signal.raise_signal(signal.SIGINT)
            signal.raise_signal(signal.SIGTERM)
            assert (told, ended) == (["SIGINT"], [])
            now[0] += stopping.TOGETHER_S
            signal.raise_signal(signal.SIGTERM)
            assert not ended
            signal.raise_signal(signal.SIGINT)
            assert (ended, closed) == ([Exit.INTERRUPTED], [True])
        assert one.code == Exit.INTERRUPTED
    assert signal.getsignal(signal.SIGINT) is before


def test_a_request_that_went_unheard_is_obeyed_before_a_search() -> None:
    one = stopping.Stopping()
    with one.heard():
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGTERM)
        with pytest.raises(KeyboardInterrupt), one.keeping(lambda _: None):
            raise AssertionError("it begins all the same")
    assert one.code == Exit.TERMINATED


def test_in_a_thread_nothing_is_heard_and_all_works() -> None:
    found: list[bool] = []
    one = stopping.Stopping()

    def run() -> None:
        with one.heard(), one.keeping(lambda _: None) as stop:
            found.append(stop.is_set())

    thread = threading.Thread(target=run)
    thread.start()
    thread.join()
    assert found == [False]


def test_an_interruption_before_anything_hears_it_ends_with_its_code() -> None:
    """It comes while the module that hears requests is being loaded."""
    code = """
import sys
import trayopt.cli
class Interrupted:
    def find_spec(self, name, path=None, target=None):
        if name == "trayopt.cli.stopping":
            raise KeyboardInterrupt
sys.meta_path.insert(0, Interrupted())
trayopt.cli.main(["--help"])
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False, cwd=ROOT, text=True)
    assert (done.returncode, done.stdout, done.stderr) == (Exit.INTERRUPTED, "", "")


def test_nothing_is_loaded_before_requests_can_be_heard() -> None:
    code = "import sys; before = set(sys.modules); import trayopt.cli; print(*sorted(set(sys.modules) - before))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, cwd=ROOT, text=True)
    assert done.stdout.split() == ["__future__", "trayopt", "trayopt.cli"]
