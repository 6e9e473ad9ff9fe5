"""Which of several decisions are in each other's way: a minimal set of them that no plan keeps with every must."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from ortools.sat.python import cp_model

from trayopt.domain.job import Job
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.decisions import Fact
from trayopt.solver.model.interruptible import FOUND, new_solver, solve_interruptible
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.run import Tuning, run
from trayopt.solver.model.unsatisfiable import Memory, minimal_subset
from trayopt.solver.repair.nearest import PROBE_S, complete, fix, kept_model


@dataclass(frozen=True)
class Clash:
    """Groups of facts, by index, that cannot hold together; none where no plan keeps every must without them either.

    ``minimal`` tells that each of them is needed for it, proven by solving.
    """

    groups: tuple[int, ...]
    minimal: bool


def clash(
    job: Job, groups: Sequence[Sequence[Fact]], *, clock: Clock | None = None, tuning: Tuning | None = None
) -> Clash | None:
    """Find a set of groups of facts that clash: no plan keeps them and every must. None where there is no such set.

    Notes
    -----
    One guard literal a group, no objective, one worker: the core that the solver gives is made small by ``minimal_subset``,
    each time on a model of its own. Also None where the clock runs out before the first answer.
    """
    clock, tuning = clock or Clock(), tuning or Tuning()
    model = build(job, Policy("hard", "free"), all_placed=True)
    guards = []
    for i, facts in enumerate(groups):
        guards.append(model.literal(f"group {i}"))
        for fact in facts:
            fix(model, fact, guards[-1])
    held, core = _holds(model, guards, range(len(groups)), clock)
    if held is not False:
        return None
    oracle = _Facts(job, groups, clock, tuning)
    found = minimal_subset(oracle, sorted(core))
    return Clash(tuple(sorted(core)), False) if found is None else Clash(found.items, found.minimal)


class _Facts(Memory[int]):
    """Says which groups of facts can hold together, by solving."""

    def __init__(self, job: Job, groups: Sequence[Sequence[Fact]], clock: Clock, tuning: Tuning) -> None:
        super().__init__()
        self.job, self.groups, self.clock, self.tuning = job, groups, clock, tuning

    def possible(self, held: frozenset[int], most: float | None = None) -> bool | None:
        """Whether a plan that keeps every must keeps these groups."""
        del most
        known = self.known(held)
        if known is not None:
            return known
        facts = [fact for i in sorted(held) for fact in self.groups[i]]
        return self.note(held, _settle(self.job, facts, self.clock, self.tuning))


def _settle(job: Job, facts: Sequence[Fact], clock: Clock, tuning: Tuning) -> bool | None:
    """Whether a plan that keeps every must keeps facts; None where the clock runs out before that is known."""
    if clock.over:
        return None
    model = kept_model(job, facts, policy=Policy("hard", "free"))
    outcome = run(model, clock, replace(tuning, slice_s=PROBE_S))
    if outcome.assignment is not None or outcome.infeasible:
        return outcome.assignment is not None
    found = complete(job, facts, clock=clock, tuning=tuning)
    return True if found.assignment is not None else False if found.impossible else None


def _holds(model: Model, guards: Sequence[Any], on: Iterable[int], clock: Clock) -> tuple[bool | None, set[int]]:
    """Whether a plan keeps these groups; where none does, which of them are enough for that. None: stopped before."""
    index = {guards[i].index: i for i in on}
    if clock.over:
        return None, set()
    model.cp.clear_assumptions()
    model.cp.add_assumptions([guards[i] for i in index.values()])
    solver = new_solver()
    clock.limit(solver.parameters)
    status = solve_interruptible(solver, model.cp, clock)
    if status == cp_model.INFEASIBLE:
        core = {index[i] for i in solver.sufficient_assumptions_for_infeasibility() if i in index}
        return False, core
    return (True if status in FOUND else None), set()
