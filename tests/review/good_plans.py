"""Good plans of the standard jobs, as decisions; run as a script, it solves the jobs again and writes the file anew.

A plan is written as ``{"ways": {trunk: [port, travel, loops, "tray" or "port"]}, "ends": {stack: end}, "subunits":
{"N1/3": [place]}}`` with a place a leg, empty for one that lies in no tray.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from trayopt.api import load_job, solve
from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.library.find import shipped

FILE = Path(__file__).parent / "good_plans.json"
STANDARD = shipped() / "standard"


def assignment_of(job: Job, data: dict[str, Any]) -> Assignment:
    """Read the decisions of a plan back."""
    places = {}
    for name, row in data["subunits"].items():
        trunk, _, number = name.rpartition("/")
        subunit = job.subunit_of_leg[trunk, int(number)]
        for leg, text in zip(subunit.legs(len(row)), row, strict=True):
            if text:
                stack, _, position = text.rpartition("/")
                places[leg] = Place(stack, int(position))
    ways = {trunk: Way(*way) for trunk, (*way, _) in data["ways"].items()}
    return Assignment(ways, places, data["ends"], {trunk: way[3] for trunk, way in data["ways"].items()})


def written(plan: Plan) -> dict[str, Any]:
    """Write the decisions of a plan."""
    ways = {row.trunk: [row.port, row.travel, row.loops, row.divide_at] for row in plan.trunks if row.port is not None}
    subunits: dict[str, list[str]] = {}
    ends: dict[str, str] = {}
    for leg in plan.legs:
        if leg.stack is not None and leg.end is not None:
            ends[leg.stack] = leg.end
        subunits.setdefault(f"{leg.trunk}/{leg.subunit}", []).append(
            "" if leg.stack is None else f"{leg.stack}/{leg.position}"
        )
    return {"ways": ways, "ends": ends, "subunits": {name: row for name, row in subunits.items() if any(row)}}


def main(limit_s: float) -> None:
    """Solve every standard job that has no good plan yet, for at most so many seconds each."""
    found: dict[str, Any] = json.loads(FILE.read_text()) if FILE.exists() else {}
    for path in sorted(STANDARD.glob("*.yaml")):
        if path.name in found:
            continue
        result = solve(load_job(path), time_limit_s=limit_s, workers=2)
        sys.stderr.write(f"{path.name}: {result.plan.status}, {'good' if result.complete else 'not good'}\n")
        if result.complete:
            found[path.name] = written(result.plan)
            rows = ",\n".join(f"{json.dumps(name)}: {json.dumps(found[name])}" for name in sorted(found))
            FILE.write_text("{\n" + rows + "\n}\n")


if __name__ == "__main__":
    main(float(sys.argv[1]))
