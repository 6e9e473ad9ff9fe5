"""A bound that rises beside a search, by asking for at most this value, and where nothing has it, for at most one more.

The search for the least value closes in from above and says little of the bound before its end. Where values are small whole
numbers, the questions from below are small proofs, and the last of them ends the search.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf
from threading import Event, Thread
from types import TracebackType
from typing import Any

from ortools.sat.python import cp_model

from trayopt.solve.interruptible import FOUND

Make = Callable[[], cp_model.CpSolver]
"""Makes a solver with all its limits."""


class Rising(cp_model.CpSolverSolutionCallback):
    """Questions from below in a thread of their own, while the block of ``with`` runs; the callback of the search beside it.

    Parameters
    ----------
    cp
        Everything but the goal.
    goal, at_least, below
        What is to be least, a bound that is known, and the least value that is of no use, None where every one is.
    make
        Makes a solver for one question.
    stop
        Ends the search beside it.
    """

    def __init__(
        self,
        cp: cp_model.CpModel,
        goal: Any,
        at_least: int,
        below: int | None,
        make: Make,
        stop: Callable[[], None],
    ) -> None:
        super().__init__()
        self._cp, self._goal, self._make, self._stop = cp.clone(), goal, make, stop
        self._cp.clear_objective()
        self._cp.clear_hints()
        self._best: float = inf if below is None else below
        self._solver: cp_model.CpSolver | None = None
        self._ended = False
        self._over = Event()
        self.bound = at_least
        """No value is less."""
        self.found: cp_model.CpSolver | None = None
        """The solver that found something of this very value."""
        self.effort = 0.0
        """Deterministic time of all questions."""

    def __enter__(self) -> Rising:
        Thread(target=self._work, daemon=True).start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        self._ended = True
        while not self._over.wait(0.05):  # not Thread.join(), for the reason that interruptible.py gives
            if self._solver is not None:
                self._solver.stop_search()

    def on_solution_callback(self) -> None:
        """Hear of a solution of the search beside."""
        self._best = min(self._best, self.objective_value)
        if self._done:
            self._stop()

    @property
    def _done(self) -> bool:
        return self.found is not None or self._best <= self.bound

    def _work(self) -> None:
        try:
            self._ask()
        finally:
            self._over.set()

    def _ask(self) -> None:
        while not (self._ended or self._done):
            trial = self._cp.clone()
            trial.add(self._goal <= self.bound)
            self._solver = solver = self._make()
            status: Any = solver.solve(trial)
            self.effort += solver.response_proto.deterministic_time
            if status in FOUND:
                self.found = solver
            elif status == cp_model.INFEASIBLE:
                self.bound += 1
            else:
                return
        if not self._ended:
            self._stop()
