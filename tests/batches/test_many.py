"""Ten thousand jobs: what a run holds in memory does not grow with them, but for the names."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.batches.sweeps import write_sweep
from trayopt.batches.results import Results

ROOT = Path(__file__).parents[2]
CODE = """
import resource, sys
from pathlib import Path
from tests.batches.sweeps import run
summary = run([Path(sys.argv[1])], Path(sys.argv[2]))
print(summary.jobs, summary.counts["fits"], resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""
BYTES_A_JOB = 4_000
"""A job is about 6,000 bytes as text and some times that in memory; its name and where its line begins are a few hundred."""


def peak_kb(folder: Path, jobs: int) -> int:
    """Run so many jobs in a process of its own; give the most memory that it held."""
    rules = ", ".join(f"{{name: r{i}, rules: {{guide_fill: {{fill: 0.{100 + i}}}}}}}" for i in range(jobs // 20))
    path = write_sweep(folder / f"s{jobs}.yaml", [f"m{i}" for i in range(20)], f"rules: [{rules}]")
    done = subprocess.run(
        [sys.executable, "-c", CODE, str(path), str(folder / f"out{jobs}")],
        capture_output=True,
        text=True,
        check=True,
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    count, fits, peak = map(int, done.stdout.split())
    assert count == fits == jobs
    assert len(Results(folder / f"out{jobs}")) == jobs
    return peak


@pytest.mark.parametrize("jobs", [1_000, pytest.param(10_000, marks=pytest.mark.slow)])
def test_memory_does_not_grow_with_the_jobs(jobs: int, tmp_path: Path) -> None:
    few = peak_kb(tmp_path, 100)
    many = peak_kb(tmp_path, jobs)
    assert 1024 * (many - few) < BYTES_A_JOB * (jobs - 100)
