"""The solver's front: options in, decisions with values and bounds out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from threading import Event

from trayopt.domain.assignment import Assignment
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName, PlanSolver, Status, Stopped
from trayopt.errors import InputError
from trayopt.goals.registry import order
from trayopt.solver.model.bound import Step
from trayopt.solver.model.built_pins import contradicting
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.in_time import in_time
from trayopt.solver.model.incumbent import State
from trayopt.solver.model.run import Tuning
from trayopt.solver.search.parts import PARTS
from trayopt.solver.search.search import Search

Progress = Callable[[float, GoalName, int | None, int | None], None]
"""Called with seconds, the goal in work, its value and its bound (None where there is none yet)."""


@dataclass(frozen=True)
class Options:
    """How to solve.

    Parameters
    ----------
    time_limit_s
        Most seconds of wall time; with ``reproducible`` the solver's deterministic time, which repeats exactly.
    gap
        Go on to the next goal when value - bound is at most this part of the value.
    workers, seed
        Search threads, and the seed of their random choices.
    reproducible
        One worker and no wall clock: the same plan byte for byte.
    start
        A plan to begin with.
    goals
        legs, crossings and leg_length_mm in another order.
    without
        Names of relaxations and tactics that are left out.
    every_plan
        Tell who watches of better plans as soon as the solver finds them, within a run of it too.
    reserve_s
        What is kept of the limit as long as the best plan leaves splices unplaced or musts broken.
    """

    time_limit_s: float | None = None
    gap: float | None = None
    workers: int = 8
    seed: int = 1
    reproducible: bool = False
    start: Assignment | None = None
    goals: tuple[str, ...] | None = None
    without: frozenset[str] = frozenset()
    reserve_s: float = 0.0
    every_plan: bool = False


@dataclass(frozen=True)
class Solution:
    """What solve found; ``assignment`` is empty and ``status`` none where the search was stopped before a first plan.

    ``by`` names the author of each bound (``trayopt.solver.model.bound.AUTHORS``).
    """

    assignment: Assignment
    status: Status
    stopped: Stopped
    bounds: dict[GoalName, int | None]
    by: dict[GoalName, str]
    order: tuple[GoalName, ...]
    solver: PlanSolver


def solve(
    job: Job,
    options: Options,
    progress: Progress | None = None,
    watch: Callable[[Step], None] | None = None,
    stop: Event | None = None,
) -> Solution:
    """Solve a job: the best plan that could be found, and what is proven of it.

    ``watch`` is called with each step of the trail, a better plan or a better bound. Setting ``stop`` ends the search with
    what it has, as Ctrl-C does.

    Raises
    ------
    InputError
        Where built pins contradict each other, an always rule or a physical rule at must.
    ValueError
        Where the goals cannot be ordered as asked, or a name to leave out is none.
    SolverFault
        Where a plan refutes a bound.
    """
    if unknown := options.without - set(PARTS):
        raise ValueError(f"nothing of the search is called {', '.join(sorted(unknown))}; allowed: {', '.join(PARTS)}")
    goals = tuple(goal.id for goal in order(options.goals))
    workers = 1 if options.reproducible else options.workers
    clock = Clock(options.time_limit_s, deterministic=options.reproducible)
    begun: list[Search] = []

    def search() -> tuple[State, Stopped]:
        made = Search(
            job,
            goals,
            clock,
            tuning=Tuning(workers=workers, seed=options.seed, every_plan=options.every_plan and watch is not None),
            gap=options.gap,
            start=options.start,
            progress=progress,
            watch=watch,
            without=options.without,
        )
        begun.append(made)
        clock.reserve = lambda: 0.0 if made.state.best is None or made.state.whole else options.reserve_s
        return made.solve()

    state, stopped = in_time(search, clock, stop) or _so_far(job, goals, begun, clock)
    if state.best is None and begun and begun[0].empty and (pins := contradicting(job)):
        raise InputError.one(
            f"the built pins {', '.join(pins)} cannot all be kept",
            hint="they contradict each other, an always rule or a physical rule at must: correct them, "
            "or set that rule to prefer",
        )
    status: Status = "none" if state.best is None else "optimal" if state.proven else "feasible"
    said = PlanSolver(
        version=version("ortools"), seed=options.seed, workers=workers, deterministic_time=round(clock.effort, 6)
    )
    by = {goal: bound.by for goal, bound in state.proofs.items()}
    return Solution(state.best or Assignment(), status, stopped, state.bounds, by, goals, said)


def _so_far(job: Job, goals: tuple[GoalName, ...], begun: list[Search], clock: Clock) -> tuple[State, Stopped]:
    """Return what a search knew when it was left behind: its thread may still change what it holds."""
    state = State(goals)
    if begun:
        known = begun[0].state
        if known.best is not None:
            state.offer(job, known.best)
        for step in list(known.trail):
            if step.bound is not None:
                state.record(step.bound.goal, step.bound.value, step.bound.by, step.bound.given)
    return state, "proven" if state.proven else clock.why()
