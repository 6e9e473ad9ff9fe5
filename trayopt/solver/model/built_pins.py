"""Built pins that no plan can keep: which of them contradict each other, proven by solving."""

from __future__ import annotations

from ortools.sat.python import cp_model

from trayopt.domain.job import Job
from trayopt.solver.model.interruptible import new_solver
from trayopt.solver.model.posting import Policy, build


def contradicting(job: Job) -> tuple[str, ...]:
    """Name a smallest-in-itself set of built pins that no plan keeps together; empty where they can be kept.

    Each pin is left out in turn; it stays out if the others still contradict each other.
    """
    model = build(job, Policy("free", "free", built="guard"), all_placed=False)
    guards = {group.subject: literal for group, literal in model.guards.items()}
    needed = list(guards)
    if not needed or _possible(model.cp, [guards[pin] for pin in needed]):
        return ()
    for pin in list(needed):
        others = [other for other in needed if other != pin]
        if not _possible(model.cp, [guards[other] for other in others]):
            needed = others
    return tuple(needed)


def _possible(cp: cp_model.CpModel, held: list[cp_model.IntVar]) -> bool:
    trial = cp.clone()
    for literal in held:
        trial.add(trial.get_bool_var_from_proto_index(literal.index) == 1)
    return bool(new_solver().solve(trial) != cp_model.INFEASIBLE)
