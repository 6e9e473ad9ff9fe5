"""How much a batch saves over a plain loop in the shell, and what a second process brings.

    python benchmarks/batch_throughput.py [--jobs N] [--rounds N] [--loop N]

All figures are ratios of runs that take turns on one machine, so that a load that others put on it falls on all of them
alike; medians over the rounds.

- *throughput*: jobs a second of ``trayopt batch`` with two processes, over those of ``for job in …; do trayopt solve``; the
  jobs are files of pairs of 144 to 432 fibres, which are proven in well under a second.
- *start paid once*: the same with one process.
- *efficiency*: jobs a second with two processes, over twice those with one; a sweep of pairs of 288 to 864 fibres.
- *overhead*: CPU time of the process that reads, hands out and writes, over that of the solving processes, start and tables
  taken out by running twice as many jobs. Where the cores are as many as the processes, 1 / (1 + overhead) is the best
  efficiency that there can be; unlike the others it is hardly touched by what else the machine does.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT)}
PAIRS = (
    ("central-tube-144", "wall-1x6"),
    ("ribbon-288-2x144", "wall-2x6"),
    ("ribbon-288-4x72", "wall-3x8"),
    ("ribbon-432-3x144", "wall-2x6"),
    ("ribbon-432-6x72", "wall-3x8"),
)
SWEPT = ("ribbon-288-2x144", "ribbon-432-3x144", "ribbon-576-4x144", "ribbon-864-6x144")
JOB = """schema: trayopt/job/2
title: number {number}
enclosure: {enclosure}
trunks: [{{id: N1, cable: {cable}}}, {{id: S1, cable: {cable}}}]
joins: [{{a: "N1:1-144", b: "S1:1-144"}}]
"""


def write_jobs(folder: Path, count: int) -> list[Path]:
    """Write files of jobs that are all different."""
    folder.mkdir()
    paths = []
    for number in range(count):
        cable, enclosure = PAIRS[number % len(PAIRS)]
        paths.append(folder / f"job{number}.yaml")
        paths[-1].write_text(JOB.format(number=number, cable=cable, enclosure=enclosure))
    return paths


def write_sweep(path: Path, count: int) -> Path:
    """Write a sweep of so many jobs that are all different and all much the same work."""
    lines = ["schema: trayopt/sweep/2", "enclosures: [wall-3x8]", "mixes:"]
    lines += [f"  - {{name: {it}, trunks: [{{id: N1, cable: {it}}}, {{id: S1, cable: {it}}}]}}" for it in SWEPT]
    lines.append("rules:")
    lines += [f"  - {{name: r{i}, rules: {{reach: {{bench_mm: {1900 + i}}}}}}}" for i in range(count // len(SWEPT))]
    path.write_text("\n".join(lines) + "\n")
    return path


def loop_s(paths: list[Path], folder: Path) -> float:
    """Seconds a job of a plain loop in the shell."""
    script = 'for job in "$@"; do "$PYTHON" -m trayopt solve "$job" -o "$OUT/plan.json" --workers 1 -q >/dev/null; done'
    environment = {**ENVIRONMENT, "PYTHON": sys.executable, "OUT": str(folder)}
    started = time.perf_counter()
    subprocess.run(["sh", "-c", script, "sh", *map(str, paths)], env=environment, check=True, cwd=ROOT)
    return (time.perf_counter() - started) / len(paths)


def batch(path: Path, workers: int) -> dict[str, float]:
    """Run a batch in a process of its own: seconds and CPU time of it and of the processes that it starts, in all."""
    command = [sys.executable, __file__, "--inside", str(path), "--workers", str(workers)]
    started = time.perf_counter()
    done = subprocess.run(command, env=ENVIRONMENT, check=True, cwd=ROOT, capture_output=True, text=True)
    return {"seconds": time.perf_counter() - started, **json.loads(done.stdout)}


def inside(path: Path, workers: int) -> None:
    """Run a batch here, and print what it took."""
    from trayopt.batches.batch import Options, run_batch
    from trayopt.batches.manifest import read_manifest
    from trayopt.batches.progress import Tally

    out = path.parent / "out"
    shutil.rmtree(out, ignore_errors=True)
    summary = run_batch(read_manifest([path]), out, Options(workers=workers), Tally())
    if summary.counts["failed"] or summary.counts["wrong_input"]:
        raise SystemExit(f"not every job was solved: {dict(summary.counts)}")
    mine, theirs = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    own, solving = (usage.ru_utime + usage.ru_stime for usage in (mine, theirs))
    print(json.dumps({"own": own, "solving": solving}))


def rounds(asked: argparse.Namespace, home: Path) -> list[dict[str, float]]:
    """Let all take turns, so many times; give the ratios of each round."""
    files = write_jobs(home / "jobs", asked.jobs)
    sweep, double = write_sweep(home / "sweep.yaml", asked.jobs), write_sweep(home / "double.yaml", 2 * asked.jobs)
    found = []
    for _ in range(asked.rounds):
        loop = loop_s(files[: asked.loop], home)
        of_files = [batch(home / "jobs", workers)["seconds"] / asked.jobs for workers in (1, 2)]
        one, two, more = batch(sweep, 1), batch(sweep, 2), batch(double, 2)
        found.append(
            {
                "throughput": loop / of_files[1],
                "start paid once": loop / of_files[0],
                "efficiency": one["seconds"] / two["seconds"] / 2,
                "overhead": (more["own"] - two["own"]) / (more["solving"] - two["solving"]),
            }
        )
    return found


def main() -> None:
    """Print the ratios."""
    parser = argparse.ArgumentParser(description="Ratios of a batch to a plain loop, and of two processes to one.")
    parser.add_argument("--jobs", type=int, default=400)
    parser.add_argument("--loop", type=int, default=10, help="jobs of the loop in the shell")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--inside", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--workers", type=int, default=2, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.inside:
        inside(asked.inside, asked.workers)
        return
    with tempfile.TemporaryDirectory() as name:
        found = rounds(asked, Path(name))
    ratios = {key: round(statistics.median(row[key] for row in found), 3) for key in found[0]}
    ratios["best efficiency on as many cores"] = round(1 / (1 + ratios["overhead"]), 3)
    machine = {"cores": os.cpu_count(), "load": round(os.getloadavg()[0], 1)}
    print(json.dumps({"jobs": asked.jobs, "rounds": asked.rounds, "machine": machine, "ratios": ratios}, indent=2))


if __name__ == "__main__":
    main()
