"""How long the sheets take: written in a process of its own, and the page until it can be used.

Run ``python benchmarks/sheets.py JOB PLAN`` with Chromium on the path. Prints the best of three runs.
Aims: 1,728 fibres written in 3 s, a page of 3 MB at most, usable in 1 s.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

RUNS = 3
ROOT = Path(__file__).parents[1]


def written(job: str, plan: str, folder: Path) -> float:
    """Write all sheets, as a user does, and give the seconds."""
    start = time.perf_counter()
    command = [sys.executable, "-m", "trayopt", "sheets", job, plan, "-o", str(folder), "-q"]
    done = subprocess.run(command, cwd=ROOT, check=False, capture_output=True, text=True)
    if done.returncode not in {0, 1}:
        raise SystemExit(done.stderr)
    return time.perf_counter() - start


def usable(page: Path) -> float:
    """Open the page and give the seconds until its scripts have run and its first part is drawn."""
    sys.path.insert(0, str(ROOT))
    from tests.crewsheets.browser import browser

    with browser() as started:
        tab = started.new_page(viewport={"width": 1024, "height": 768})
        start = time.perf_counter()
        tab.goto(page.as_uri())
        tab.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
        return time.perf_counter() - start


def main(job: str, plan: str) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        seconds = min(written(str(Path(job).resolve()), str(Path(plan).resolve()), folder) for _ in range(RUNS))
        page = folder / "index.html"
        print(f"written  {seconds:.2f} s")
        print(f"page     {page.stat().st_size:,} bytes")
        print(f"usable   {min(usable(page) for _ in range(RUNS)):.2f} s")


if __name__ == "__main__":
    main(*sys.argv[1:3])
