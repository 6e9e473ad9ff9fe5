"""What ``trayopt check`` takes as a whole process, against the bare import of two libraries that it is written with.

    python benchmarks/check_start.py [--rounds N]

Prints ratios to ``python -c 'import click, pydantic'`` (which loads little of pydantic), of the time by the clock and of CPU
time, medians over the rounds. In a round all take turns, so that a load that others put on the machine falls on all alike.

- *libraries*: click, a first model of pydantic, and ruamel.yaml over the job and the files that it refers to: what they
  take before a line of trayopt is run.
- *check of …*: a plan that passes, on a job of so many splices.

Bytecode is kept in a folder of its own and is there before the first round, as after an installation.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[1]
STANDARD = ROOT / "models" / "standard"
JOBS = {"1,728": STANDARD / "2x1728-wall-3x8.yaml", "6,912": STANDARD / "2x6912-cabinet-4x24.yaml"}
READ = (
    *("standard/2x1728-wall-3x8", "enclosures/wall-3x8", "trays/ribbon-72"),
    *("cables/partly-bonded-1728-12x144", "tubes/mesh-set"),
)
BARE = "import click, pydantic"
LIBRARIES = """
import sys
import click
from pydantic import BaseModel, ConfigDict, Field
from ruamel.yaml import YAML

class Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)
    id: str = Field(min_length=1)

Model(id="a")
for path in sys.argv[1:]:
    for event in YAML(typ="safe", pure=True).parse(open(path).read()):
        pass
"""


def run(command: list[str], environment: dict[str, str]) -> tuple[float, float]:
    """Run a process to its end: seconds by the clock, and of CPU time."""
    started = time.perf_counter()
    process = subprocess.Popen(command, env=environment, cwd=ROOT, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - started
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{' '.join(command[:4])}: exit code {process.returncode}")
    return seconds, usage.ru_utime + usage.ru_stime


def commands(folder: Path, environment: dict[str, str]) -> dict[str, list[str]]:
    """Give what is run in each round; the plans are made first."""
    files = [str(ROOT / "models" / f"{name}.yaml") for name in READ]
    found = {"bare": [sys.executable, "-c", BARE], "libraries": [sys.executable, "-c", LIBRARIES, *files]}
    for splices, job in JOBS.items():
        plan = folder / f"{job.stem}.json"
        run([sys.executable, "-m", "trayopt", "solve", str(job), "-o", str(plan), "-q"], environment)
        found[f"check of {splices}"] = [sys.executable, "-m", "trayopt", "check", str(job), str(plan)]
    return found


def main() -> None:
    """Print the ratios."""
    parser = argparse.ArgumentParser(description="Ratios of a whole check to the bare import of click and pydantic.")
    parser.add_argument("--rounds", type=int, default=20)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONPYCACHEPREFIX": name}
        all_of_them = commands(Path(name), environment)
        for command in all_of_them.values():
            run(command, environment)
        rounds = [{key: run(command, environment) for key, command in all_of_them.items()} for _ in range(asked.rounds)]
    ratios = {
        key: {
            kind: round(statistics.median(row[key][i] / row["bare"][i] for row in rounds), 2)
            for i, kind in enumerate(("clock", "cpu"))
        }
        for key in all_of_them
        if key != "bare"
    }
    machine = {"cores": os.cpu_count(), "load": round(os.getloadavg()[0], 1)}
    print(json.dumps({"rounds": asked.rounds, "machine": machine, "ratios": ratios}, indent=2))


if __name__ == "__main__":
    main()
