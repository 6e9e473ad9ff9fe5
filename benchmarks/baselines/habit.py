"""The habit of the trade as a baseline; the plan itself is in ``solver.heuristics.constructive``, where every search begins."""

from __future__ import annotations

from benchmarks.journal import Journal
from trayopt.solver.heuristics.constructive import first_plans


def solve(journal: Journal, *, seed: int = 1, workers: int = 1) -> None:
    """Offer the plan of habit with as few loops as the lengths allow."""
    del seed, workers
    for plan in first_plans(journal.job):
        if journal.offer(plan) and journal.vector[0] == 0:
            return
        if journal.left <= 0:
            return
