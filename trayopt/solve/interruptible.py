"""Runs of the solver: in a thread of their own, so that Ctrl-C reaches Python and ends a search with what it has."""

from __future__ import annotations

from threading import Event, Thread
from typing import Any

from ortools.sat.python import cp_model

from trayopt.solve.stop import Clock

FOUND = frozenset({cp_model.OPTIMAL, cp_model.FEASIBLE})
"""What the solver says where it has a solution."""
CONSTRAINT_EFFORT = 3e-5
"""Deterministic time for making, loading and presolving a constraint: the solver counts next to none of it."""


def size_effort(cp: cp_model.CpModel) -> float:
    """Deterministic time that a model takes by its size alone."""
    return CONSTRAINT_EFFORT * len(cp.proto.constraints)


def new_solver(workers: int = 1, seed: int = 1) -> cp_model.CpSolver:
    """Make a solver that leaves Ctrl-C to Python."""
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = workers
    solver.parameters.random_seed = seed
    solver.parameters.catch_sigint_signal = False
    return solver


def one_worker(
    clock: Clock,
    effort: float | None,
    *,
    symmetry_level: int = 1,
    linearization_level: int = 2,
    part: float = 1.0,
) -> cp_model.CpSolver:
    """Make a solver of one worker, which always solves in the same way.

    It takes at most so much deterministic time, and at most this part of what is left of the limit.
    """
    solver = new_solver()
    solver.parameters.symmetry_level = symmetry_level
    solver.parameters.linearization_level = linearization_level
    clock.limit(solver.parameters, effort, None if clock.left is None else part * clock.left)
    return solver


def solve_one(
    cp: cp_model.CpModel, clock: Clock, effort: float | None, *, symmetry_level: int = 1, part: float = 1.0
) -> tuple[Any, cp_model.CpSolver]:
    """Solve a model by ``one_worker``, and give status and solver."""
    solver = one_worker(clock, effort, symmetry_level=symmetry_level, part=part)
    return solve_interruptible(solver, cp, clock), solver


def solve_interruptible(
    solver: cp_model.CpSolver,
    cp: cp_model.CpModel,
    clock: Clock,
    callback: cp_model.CpSolverSolutionCallback | None = None,
) -> Any:
    """Solve and give the solver's status; its effort goes on the clock, and so does Ctrl-C, which stops the search."""
    result: dict[str, Any] = {}
    ended = Event()

    def work() -> None:
        try:
            result["status"] = solver.solve(cp, callback)
        except BaseException as error:
            result["error"] = error
        finally:
            ended.set()

    # Not Thread.join(): interrupted by Ctrl-C, that of Python 3.11 takes a thread that still runs for one that has ended.
    Thread(target=work, daemon=True).start()
    while not ended.is_set():
        try:
            ended.wait(0.2)
        except KeyboardInterrupt:
            clock.interrupted = True
            solver.stop_search()
    if "error" in result:
        raise result["error"]
    clock.effort += solver.response_proto.deterministic_time + size_effort(cp)
    return result["status"]
