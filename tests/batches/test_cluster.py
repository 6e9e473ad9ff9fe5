"""A real scheduler with workers in processes of their own, which have no trayopt but the one that is sent along."""

from __future__ import annotations

import json
import logging
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.batches.sweeps import outcomes, run, write_sweep
from trayopt.batches.batch import Options, run_batch
from trayopt.batches.cluster import Cluster
from trayopt.batches.manifest import read_manifest
from trayopt.batches.progress import Tally
from trayopt.batches.results import Results
from trayopt.batches.work import Settings
from trayopt.batches.worker import Limits
from trayopt.errors import InputError

CLUSTER = """
import sys
from distributed import LocalCluster
if __name__ == "__main__":
    with LocalCluster(n_workers=int(sys.argv[1]), threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        print(cluster.scheduler_address, flush=True)
        sys.stdin.read()
"""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Start a cluster, and give the address of its scheduler."""
    with cluster(tmp_path_factory.mktemp("cluster"), workers=2) as (found, _):
        yield found


@contextmanager
def cluster(folder: Path, lacking: str = "", workers: int = 1) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    """Start a cluster away from the source: the address of its scheduler, and the process that it is part of."""
    script = folder / "cluster.py"
    script.write_text(CLUSTER)
    (folder / "sent_stubs.py").write_text((Path(__file__).parent / "stubs.py").read_text())
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
    if lacking:
        environment["PYTHONPATH"] = without(folder, lacking)
    process = subprocess.Popen(
        [sys.executable, str(script), str(workers)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        cwd=folder,
        env=environment,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    yield process.stdout.readline().decode().strip(), process
    process.stdin.close()
    process.stdout.close()
    process.wait(timeout=60)


def without(folder: Path, package: str) -> str:
    """Give a path for Python on which a package cannot be loaded."""
    (folder / "lacking" / package).mkdir(parents=True)
    (folder / "lacking" / package / "__init__.py").write_text(f"raise ImportError('no {package} here')\n")
    return str(folder / "lacking")


def test_a_cluster_gives_the_same_results_as_this_machine(address: str, tmp_path: Path) -> None:
    path = write_sweep(tmp_path / "s.yaml", ["a", "b", "c", "d"], "divide_at: [tray, port]", enclosures="[wall-2x6]")
    settings = Settings(time_limit_s=20)
    there = run_batch(read_manifest([path]), tmp_path / "there", Options(settings=settings, scheduler=address), Tally())
    here = run_batch(read_manifest([path]), tmp_path / "here", Options(settings=settings, workers=1), Tally())
    assert there.counts == {"fits": 8}
    assert there.digest == here.digest


def test_the_jobs_of_a_lost_worker_are_run_again(address: str, tmp_path: Path) -> None:
    """One worker is killed in the middle of the run: every job has its line, and none of them failed."""
    path = write_sweep(tmp_path / "s.yaml", [f"m{i}" for i in range(40)])
    out = tmp_path / "out"
    killed: list[int] = []

    class Killer(Tally):
        """Kills the first worker that it finds when some jobs are done."""

        def tick(self) -> None:
            if self.done >= 5 and not killed:
                killed.append(_worker_process(address))
                os.kill(killed[0], signal.SIGKILL)

    summary = run([path], out, work="sent_stubs:slow", tally=Killer(), scheduler=address)
    assert killed
    assert summary.counts == {"fits": 40}
    assert set(outcomes(out)) == {f"m{i}" for i in range(40)}
    assert len(Results(out)) == 40


def test_a_job_that_hangs_or_crashes_is_one_line_there_too(address: str, tmp_path: Path) -> None:
    path = write_sweep(tmp_path / "s.yaml", ["crash", "endless", "memory", "good"])
    out = tmp_path / "out"
    run([path], out, work="sent_stubs:poisoned", scheduler=address, wall_limit_s=5.0, memory_mb=400)
    assert outcomes(out) == {"crash": "failed", "endless": "failed", "memory": "failed", "good": "fits"}


@pytest.mark.parametrize("wrong", ["nowhere", "tcp://127.0.0.1:1", "tls://127.0.0.1:1", "udp://127.0.0.1:1", ""])
def test_a_wrong_address_leaves_nothing_behind(wrong: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("trayopt.batches.cluster.CONNECT_S", 1.0)
    path = write_sweep(tmp_path / "s.yaml", ["a"])
    with pytest.raises(InputError, match="no scheduler answers"):
        run([path], tmp_path / "out", scheduler=wrong)
    assert [entry.name for entry in tmp_path.iterdir()] == ["s.yaml"]


def test_a_worker_without_the_solver_that_joins_late_costs_no_job(tmp_path: Path) -> None:
    """It fails fast and would take one job after the other."""
    environment = {**os.environ, "PYTHONPATH": without(tmp_path, "ortools")}
    path = write_sweep(tmp_path / "s.yaml", [f"m{i}" for i in range(30)], enclosures="[wall-2x6]")
    with cluster(tmp_path) as (found, _):
        late: list[subprocess.Popen[bytes]] = []

        class Hirer(Tally):
            """Starts the worker when the first jobs are done, and waits until it is there."""

            def tick(self) -> None:
                if self.done >= 2 and not late:
                    command = [
                        sys.executable,
                        "-m",
                        "distributed.cli.dask_worker",
                        found,
                        "--nthreads",
                        "4",
                        "--no-nanny",
                    ]
                    late.append(
                        subprocess.Popen(
                            [*command, "--no-dashboard"], env=environment, cwd=tmp_path, stderr=subprocess.DEVNULL
                        )
                    )
                    _wait_for_workers(found, 2)

        try:
            settings = Settings(time_limit_s=20, explain=False)
            options = Options(settings=settings, scheduler=found)
            summary = run_batch(read_manifest([path]), tmp_path / "out", options, Hirer())
            assert late
            assert late[0].poll() is None
        finally:
            for process in late:
                process.kill()
                process.wait()
    assert summary.counts == {"fits": 30}
    assert {line["attempts"] for line in Results(tmp_path / "out").lines()} == {1}


@pytest.mark.parametrize("package", ["ortools", "pydantic"])
def test_workers_that_all_lack_a_package_are_told_at_once(package: str, tmp_path: Path) -> None:
    path = write_sweep(tmp_path / "s.yaml", ["a"])
    with (
        cluster(tmp_path, lacking=package) as (found, _),
        pytest.raises(
            InputError, match=f"the workers lack a package: .*no {package} here.*; install it on every worker"
        ),
    ):
        run([path], tmp_path / "out", scheduler=found)
    assert not (tmp_path / "out").exists()


def with_version(folder: Path, number: str) -> str:
    """Give a path for Python on which another version of the solver seems to be installed."""
    about = folder / "another" / f"ortools-{number}.dist-info"
    about.mkdir(parents=True)
    (about / "METADATA").write_text(f"Metadata-Version: 2.1\nName: ortools\nVersion: {number}\n")
    return str(about.parent)


def test_a_worker_with_another_version_of_the_solver_is_refused(tmp_path: Path) -> None:
    path = write_sweep(tmp_path / "s.yaml", ["a", "b"])
    environment = {**os.environ, "PYTHONPATH": with_version(tmp_path, "9.0.1")}
    command = [sys.executable, "-m", "distributed.cli.dask_worker"]
    with cluster(tmp_path) as (found, _):
        other = subprocess.Popen(
            [*command, found, "--nthreads", "4", "--no-nanny", "--no-dashboard"],
            env=environment, cwd=tmp_path, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        try:
            _wait_for_workers(found, 2)
            options = Options(settings=Settings(time_limit_s=20, explain=False), scheduler=found)
            summary = run_batch(read_manifest([path]), tmp_path / "out", options, Tally())
        finally:
            other.kill()
            other.wait()
    assert sum(summary.counts.values()) == 2
    [told] = [str(fault) for fault in summary.unusual if "is given no job" in str(fault)]
    assert "ortools 9.0.1 is there" in told
    assert {line["attempts"] for line in Results(tmp_path / "out").lines()} == {1}


def test_workers_that_all_have_another_version_of_the_solver_are_told_at_once(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("trayopt.batches.cluster.solver_version", lambda: "9.0.1")
    path = write_sweep(tmp_path / "s.yaml", ["a"])
    with pytest.raises(InputError, match=r"no worker can solve: .* is given no job: ortools .* and 9\.0\.1 here"):
        run([path], tmp_path / "out", scheduler=address)
    assert not (tmp_path / "out").exists()


def test_no_scheduler_is_an_input_error(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("trayopt.batches.cluster.CONNECT_S", 1.0)
    with pytest.raises(InputError, match=r"tcp://127\.0\.0\.1:1: no scheduler answers"):
        Cluster("tcp://127.0.0.1:1", Settings().plain(), Limits())
    client = logging.getLogger("distributed.client")  # it writes a traceback where the scheduler goes away
    assert not client.isEnabledFor(logging.ERROR)


def test_a_scheduler_that_goes_away_stops_the_run_and_keeps_the_results(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("trayopt.batches.cluster.CONNECT_S", 10.0)
    path = write_sweep(tmp_path / "s.yaml", [f"m{i}" for i in range(60)])
    with cluster(tmp_path) as (found, process):

        class Killer(Tally):
            """Kills the scheduler when some jobs are done."""

            def tick(self) -> None:
                if self.done >= 5:
                    process.kill()

        with pytest.raises(
            InputError, match=r"the scheduler is gone, .*; all results so far are kept: go on with --resume"
        ):
            run([path], tmp_path / "out", work="sent_stubs:slow", tally=Killer(), scheduler=found)
    kept = len(outcomes(tmp_path / "out"))
    assert 5 <= kept < 60
    assert json.loads((tmp_path / "out" / "summary.json").read_text(encoding="utf-8"))["jobs"] == kept
    assert (tmp_path / "out" / "index.html").exists()


def _wait_for_workers(address: str, count: int) -> None:
    from distributed import Client

    with Client(address, set_as_default=False) as client:  # type: ignore[no-untyped-call]
        client.wait_for_workers(count, timeout=60)


def _worker_process(address: str) -> int:
    """Give the process of a worker."""
    from distributed import Client

    with Client(address, set_as_default=False) as client:  # type: ignore[no-untyped-call]
        processes: dict[str, int] = client.run(os.getpid)
    return next(iter(processes.values()))
