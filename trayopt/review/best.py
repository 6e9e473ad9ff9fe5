"""The best plan of a job within a time limit, for a comparison."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trayopt.domain.assignment import Assignment
from trayopt.domain.job import Job
from trayopt.goals.registry import measure_all
from trayopt.track.laid import Laid


@dataclass(frozen=True)
class Best:
    """The best plan that was found, with values and proven bounds by goal; ``proven`` says that no plan is better."""

    assignment: Assignment | None
    values: dict[str, int]
    bounds: dict[str, int | None]
    proven: bool


def best_of(job: Job, limit_s: float, workers: int = 2, order: Sequence[str] | None = None) -> Best:
    """Solve a job for at most ``limit_s`` seconds, with the goals in the usual order or in ``order``."""
    from trayopt.solver.solve import Options, solve

    found = solve(job, Options(time_limit_s=limit_s, workers=workers, goals=None if order is None else tuple(order)))
    if found.status == "none":
        return Best(None, {}, {}, False)
    values = {str(goal): value for goal, value in measure_all(Laid(job, found.assignment)).items()}
    bounds: dict[str, int | None] = {goal: found.bounds.get(goal) for goal in found.order}
    return Best(found.assignment, values, bounds, found.status == "optimal")
