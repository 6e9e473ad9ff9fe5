"""What a rule costs that was added by the recipe alone; run as ``python -m benchmarks.example_rule``.

Four trunks in two pairs, straight joins, in boxes of two to four stacks: solved without the example rule of the tests, and
with two or three trunks a stack at must and at prefer, in turn, three times each. The ratio is that of the least CPU times.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from typing import Any

from tests.example_rule import registered
from trayopt.api import load_job, solve

BOXES = ("wall-3x8", "wall-3x12", "wall-2x10", "cabinet-3x24", "cabinet-4x24")
TIMES = 3
LIMIT_S = 60.0


def job(box: str, rules: Mapping[str, Any]) -> dict[str, Any]:
    """Give four trunks of 432, joined in two pairs."""
    return {
        "schema": "trayopt/job/2",
        "title": f"Two pairs of 432 in {box}",
        "enclosure": box,
        "trunks": [{"id": name, "cable": "ribbon-432-3x144"} for name in ("N1", "S1", "E1", "W1")],
        "joins": [{"a": "N1:1-432", "b": "S1:1-432"}, {"a": "E1:1-432", "b": "W1:1-432"}],
        "rules": dict(rules),
    }


def measure(box: str, rules: Mapping[str, Any]) -> tuple[float, str, list[int]]:
    """Solve once: seconds of CPU time, status, goals."""
    loaded = load_job(job(box, rules))
    started = time.process_time()
    plan = solve(loaded, time_limit_s=LIMIT_S, workers=2).plan
    return time.process_time() - started, plan.status, [item.value for item in plan.goals]


def main() -> None:
    """Print a line a box and level."""
    kinds: dict[str, Mapping[str, Any]] = {"off": {}} | {
        f"{level}, {trunks}": {"stack_trunks": {"level": level, "trunks": trunks}}
        for level in ("must", "prefer")
        for trunks in (2, 3)
    }
    with registered():
        print("| box | stack_trunks | status | goals | s of CPU | ratio |")
        print("|---|---|---|---|---|---|")
        measure(BOXES[0], {})  # what the first run loads
        for box in BOXES:
            runs: dict[str, list[tuple[float, str, list[int]]]] = {name: [] for name in kinds}
            for _ in range(TIMES):
                for name, rules in kinds.items():
                    runs[name].append(measure(box, rules))
            usual = min(runs["off"])[0]
            for name, found in runs.items():
                seconds, status, goals = min(found)
                told = ", ".join(map(str, goals))
                print(f"| {box} | {name} | {status} | {told} | {seconds:.2f} | {seconds / usual:.1f} |")


if __name__ == "__main__":
    main()
