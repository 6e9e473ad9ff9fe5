"""Runs of the solver: in a thread of their own, so that Ctrl-C reaches Python and ends a search with what it has."""

from __future__ import annotations

from math import ceil
from threading import Event, Thread

from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.in_time import THREAD

FOUND = frozenset({cp_sat.OPTIMAL, cp_sat.FEASIBLE})
"""What the solver says where it has a solution."""
ROUNDING = 1e-6
"""A bound so little above a whole number is that number."""
CONSTRAINT_EFFORT = 3e-5
"""Deterministic time for making, loading and presolving a constraint: the solver counts next to none of it."""


def size_effort(cp: cp_sat.CpModel) -> float:
    """Deterministic time that a model takes by its size alone."""
    return CONSTRAINT_EFFORT * len(cp.proto.constraints)


def new_solver(workers: int = 1, seed: int = 1) -> cp_sat.CpSolver:
    """Make a solver that leaves Ctrl-C to Python."""
    solver = cp_sat.CpSolver()
    solver.parameters.num_workers = workers
    solver.parameters.random_seed = seed
    solver.parameters.catch_sigint_signal = False
    return solver


def whole_bound(bound: float) -> int:
    """Round a lower bound of the solver up to a whole number, as every goal is whole; an upper one is that of its negation."""
    return ceil(bound - ROUNDING)


def one_worker(
    clock: Clock,
    effort: float | None,
    *,
    symmetry_level: int = 1,
    linearization_level: int = 2,
    part: float = 1.0,
    presolves: int = 1,
    in_order: bool = False,
    cuts: bool = True,
    probes: bool = True,
) -> cp_sat.CpSolver:
    """Make a solver of one worker, which always solves in the same way.

    It takes at most so much deterministic time, and at most this part of what is left of the limit. ``presolves`` says how
    often it tries out what follows from each literal: three times over takes longer than most answers do. ``in_order`` lets it
    decide in the order that the model says. Without ``cuts``, its linear relaxations are those of the model as it is. Without
    ``probes``, it does not try out what follows from each literal at all.
    """
    solver = new_solver()
    solver.parameters.max_presolve_iterations = presolves
    solver.parameters.symmetry_level = symmetry_level
    solver.parameters.linearization_level = linearization_level
    if not cuts:
        solver.parameters.cut_level = 0
    if not probes:
        solver.parameters.cp_model_probing_level = 0
    if in_order:
        solver.parameters.search_branching = cp_sat.FIXED_SEARCH
    clock.limit(solver.parameters, effort, None if clock.left is None else part * clock.left)
    return solver


def solve_one(
    cp: cp_sat.CpModel,
    clock: Clock,
    effort: float | None,
    *,
    symmetry_level: int = 1,
    linearization_level: int = 2,
    part: float = 1.0,
    presolves: int = 1,
    in_order: bool = False,
    cuts: bool = True,
    probes: bool = True,
) -> tuple[cp_sat.CpSolverStatus, cp_sat.CpSolver]:
    """Solve a model by ``one_worker``, and give status and solver."""
    solver = one_worker(
        clock,
        effort,
        symmetry_level=symmetry_level,
        linearization_level=linearization_level,
        part=part,
        presolves=presolves,
        in_order=in_order,
        cuts=cuts,
        probes=probes,
    )
    return solve_interruptible(solver, cp, clock), solver


class Asked:
    """A question that a solver works on in a thread of its own, from when it is made."""

    def __init__(
        self,
        solver: cp_sat.CpSolver,
        cp: cp_sat.CpModel,
        callback: cp_sat.SolutionCallback | None = None,
    ) -> None:
        self.solver, self.cp, self._callback = solver, cp, callback
        self._status = cp_sat.UNKNOWN
        self._error: BaseException | None = None
        self._ended = Event()
        Thread(target=self._work, name=THREAD, daemon=True).start()

    def _work(self) -> None:
        try:
            self._status = self.solver.solve(self.cp, self._callback)
        except BaseException as error:
            self._error = error
        finally:
            self._ended.set()

    def ended(self, clock: Clock, seconds: float = 0.2) -> bool:
        """Wait for the end for a while, and tell whether it is there; Ctrl-C goes on the clock and stops the search."""
        # Not Thread.join(): interrupted by Ctrl-C, that of Python 3.11 takes a thread that still runs for one that has ended.
        try:
            self._ended.wait(seconds)
        except KeyboardInterrupt:
            clock.interrupted = True
        if clock.interrupted:
            self.solver.stop_search()
        return self._ended.is_set()

    def wait(self, clock: Clock) -> cp_sat.CpSolverStatus:
        """Wait for the solver's status; its effort goes on the clock, and so does Ctrl-C, which stops the search."""
        try:
            while not self.ended(clock):
                pass
        except BaseException:  # whoever asked is ended from outside: nobody waits for the answer any more
            self.solver.stop_search()
            raise
        if self._error is not None:
            raise self._error
        clock.effort += self.solver.response_proto.deterministic_time + size_effort(self.cp)
        return self._status

    def drop(self, clock: Clock) -> None:
        """End a search whose answer is of no use any more."""
        while not self.ended(clock, 0.02):
            self.solver.stop_search()  # again and again: a search that has not begun yet does not hear of it
        self.wait(clock)


def solve_interruptible(
    solver: cp_sat.CpSolver,
    cp: cp_sat.CpModel,
    clock: Clock,
    callback: cp_sat.SolutionCallback | None = None,
) -> cp_sat.CpSolverStatus:
    """Solve and give the solver's status; its effort goes on the clock, and so does Ctrl-C, which stops the search."""
    return Asked(solver, cp, callback).wait(clock)
