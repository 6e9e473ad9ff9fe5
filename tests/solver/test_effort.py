"""A limit stops a search, and changes nothing of what it does before."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from trayopt.library.job import read_job
from trayopt.rules.registry import fill
from trayopt.solver.model import cp_sat
from trayopt.solver.search.lexicographic import GOAL_PART
from trayopt.solver.solve import Options, Solution, solve

STANDARD = Path(__file__).parents[2] / "models" / "standard"
LONG_S = 10_000.0


@pytest.mark.parametrize(
    "name", ["2x1728-shuffled-whole", "2x432-shuffled-wall-2x6", "three-awkward-trunks-wall-2x9-144"]
)
def test_a_limit_only_stops(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """With a far limit and without one the same runs take as much effort at most, and none gets a small part of the limit.

    Only a goal that others come after leaves a part of the limit to these.
    """
    job = read_job(STANDARD / f"{name}.yaml", fill_rules=fill)
    original = cp_sat.CpSolver.solve
    asked: list[tuple[float, float]] = []

    def noted(solver: cp_sat.CpSolver, *arguments: Any) -> Any:
        parameters = solver.parameters
        asked.append((parameters.max_deterministic_time, parameters.max_time_in_seconds))
        return original(solver, *arguments)

    monkeypatch.setattr(cp_sat.CpSolver, "solve", noted)

    def runs(limit_s: float | None) -> tuple[Solution, list[float]]:
        asked.clear()
        found = solve(job, Options(time_limit_s=limit_s, workers=1))
        least = 0.9 * GOAL_PART * LONG_S  # of a limit that is far off hardly anything is spent
        assert all(seconds > least for _, seconds in asked)
        return found, [effort for effort, _ in asked]

    (limited, efforts), (free, others) = runs(LONG_S), runs(None)
    assert limited.status == free.status == "optimal"
    assert efforts == others
    assert min(efforts) < float("inf")
