"""One run of the solver on a model without a goal to prove: one worker, always the same search, Ctrl-C ends it."""

from __future__ import annotations

from typing import Any

from ortools.sat.python import cp_model

from trayopt.solve.interruptible import solve_interruptible
from trayopt.solve.stop import Clock


def solve_one(cp: cp_model.CpModel, clock: Clock, effort: float | None) -> tuple[Any, cp_model.CpSolver]:
    """Solve a model inside the clock's limits and by at most so much deterministic time; give status and solver."""
    solver = cp_model.CpSolver()
    p = solver.parameters
    p.num_workers, p.random_seed, p.symmetry_level, p.linearization_level = 1, 1, 1, 2
    p.catch_sigint_signal = False
    limits = [effort] if effort is not None else []
    if clock.left is not None and clock.deterministic:
        limits.append(max(1e-6, clock.left))
    elif clock.left is not None:
        p.max_time_in_seconds = max(0.01, clock.left)
    if limits:
        p.max_deterministic_time = min(limits)
    status = solve_interruptible(solver, cp, clock)
    clock.effort += solver.response_proto.deterministic_time
    return status, solver
