"""The solver's call in a thread of its own, so that Ctrl-C reaches Python and ends the search with what it has."""

from __future__ import annotations

from threading import Event, Thread
from typing import Any

from ortools.sat.python import cp_model

from trayopt.solve.stop import Clock


def solve_interruptible(
    solver: cp_model.CpSolver,
    cp: cp_model.CpModel,
    clock: Clock,
    callback: cp_model.CpSolverSolutionCallback | None = None,
) -> Any:
    """Solve and give the solver's status; Ctrl-C stops the search and is noted on the clock."""
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
    return result["status"]
