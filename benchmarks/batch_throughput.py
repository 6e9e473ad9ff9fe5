"""How much a batch saves over a plain loop in the shell, and what a second process brings.

    python benchmarks/batch_throughput.py [--jobs N] [--rounds N] [--loop N]

All figures are ratios of runs that take turns on one machine, so that a load that others put on it falls on all of them
alike; medians over the rounds. The jobs are pairs of 144 to 432 fibres, which are proven in well under a second.

- throughput: jobs a second of ``trayopt batch`` with a process a core, over those of ``for job in …; do trayopt solve``.
- start: the same with one process, that is what is saved because the start is paid once.
- efficiency: jobs a second with two processes, over twice those with one, and over what two of the same processes reach
  that run side by side without a batch round them (which is less than two where cores are shared or slow each other down).
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT)}
PAIRS = (
    ("central-tube-144", "wall-1x6"),
    ("ribbon-288-2x144", "wall-2x6"),
    ("ribbon-288-4x72", "wall-2x12"),
    ("ribbon-432-3x144", "wall-2x6"),
    ("ribbon-432-6x72", "wall-2x12"),
)
JOB = """schema: trayopt/job/1
title: number {number}
enclosure: {enclosure}
trunks: [{{id: N1, cable: {cable}}}, {{id: S1, cable: {cable}}}]
joins: [{{a: "N1:1-144", b: "S1:1-144"}}]
"""


def write_jobs(folder: Path, count: int) -> list[Path]:
    """Write jobs that are all different."""
    folder.mkdir()
    paths = []
    for number in range(count):
        cable, enclosure = PAIRS[number % len(PAIRS)]
        paths.append(folder / f"job{number}.yaml")
        paths[-1].write_text(JOB.format(number=number, cable=cable, enclosure=enclosure))
    return paths


def loop_s(paths: list[Path], folder: Path) -> float:
    """Seconds a job of a plain loop in the shell."""
    script = 'for job in "$@"; do "$PYTHON" -m trayopt solve "$job" -o "$OUT/plan.json" --workers 1 -q >/dev/null; done'
    environment = {**ENVIRONMENT, "PYTHON": sys.executable, "OUT": str(folder)}
    started = time.perf_counter()
    subprocess.run(["sh", "-c", script, "sh", *map(str, paths)], env=environment, check=True, cwd=ROOT)
    return (time.perf_counter() - started) / len(paths)


def batch_s(folder: Path, workers: int, count: int) -> float:
    """Seconds a job of a batch, all told: start, tables and page too."""
    out = folder.parent / f"out{workers}"
    shutil.rmtree(out, ignore_errors=True)
    command = [sys.executable, "-m", "trayopt", "batch", str(folder), "-o", str(out), "--workers", str(workers), "-q"]
    started = time.perf_counter()
    done = subprocess.run(command, env=ENVIRONMENT, check=False, cwd=ROOT, capture_output=True, text=True)
    seconds = time.perf_counter() - started
    if done.returncode:
        raise SystemExit(f"a job does not fit: {done.stdout}{done.stderr}")
    return seconds / count


def bare_s(paths: list[Path], processes: int) -> float:
    """Seconds a job of solving processes without a batch round them, once they are warm."""
    from trayopt.api import load_job
    from trayopt.batch.work import Settings
    from trayopt.batch.worker import Limits, Worker

    jobs = [load_job(path).plain() for path in paths]
    settings = Settings().plain()
    workers = [Worker(Limits()) for _ in range(processes)]
    for worker in workers:
        worker.ask(jobs[0], settings)

    def work(worker: Worker, mine: list[dict[str, object]]) -> None:
        for job in mine:
            worker.ask(job, settings)

    threads = [
        threading.Thread(target=work, args=(worker, jobs[number::processes])) for number, worker in enumerate(workers)
    ]
    started = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    seconds = time.perf_counter() - started
    for worker in workers:
        worker.close()
    return seconds / len(jobs)


def main() -> None:
    """Take turns, and print the ratios."""
    parser = argparse.ArgumentParser(description="Ratios of a batch to a plain loop, and of two processes to one.")
    parser.add_argument("--jobs", type=int, default=100)
    parser.add_argument("--loop", type=int, default=10, help="jobs of the loop in the shell")
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    found: dict[str, list[float]] = {"loop": [], "one": [], "two": [], "bare one": [], "bare two": []}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "jobs"
        paths = write_jobs(folder, asked.jobs)
        for _ in range(asked.rounds):
            found["loop"].append(loop_s(paths[: asked.loop], Path(name)))
            found["one"].append(batch_s(folder, 1, asked.jobs))
            found["bare one"].append(bare_s(paths, 1))
            found["two"].append(batch_s(folder, 2, asked.jobs))
            found["bare two"].append(bare_s(paths, 2))
    load = os.getloadavg()[0]

    def ratio(above: str, below: str, times: float = 1) -> float:
        return round(statistics.median(a / b for a, b in zip(found[above], found[below], strict=True)) / times, 2)

    print(
        json.dumps(
            {
                "jobs": asked.jobs,
                "rounds": asked.rounds,
                "load at the end": round(load, 1),
                "cores": os.cpu_count(),
                "seconds a job": {key: round(statistics.median(values), 3) for key, values in found.items()},
                "throughput over a loop": ratio("loop", "two"),
                "start paid once": ratio("loop", "one"),
                "efficiency of two processes": ratio("one", "two", 2),
                "what the machine gives two processes": ratio("bare one", "bare two", 2),
            },
            indent=2,
        )
    )


if __name__ == "__main__":
    main()
