"""Built pins that no plan can keep: which of them contradict each other, proven by solving."""

from __future__ import annotations

from collections.abc import Mapping

from trayopt.domain.job import Job
from trayopt.solver.model import cp_sat
from trayopt.solver.model.interruptible import new_solver
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.unsatisfiable import Memory, minimal_subset


def contradicting(job: Job) -> tuple[str, ...]:
    """Name a minimal set of built pins that no plan keeps together; empty where they can be kept."""
    model = build(job, Policy("free", "free", built="guard"), all_placed=False)
    oracle = _Pins(model.cp, {group.subject: literal for group, literal in model.guards.items()})
    found = minimal_subset(oracle, list(oracle.guards)) if oracle.guards else None
    return () if found is None else found.items


class _Pins(Memory[str]):
    """Says which built pins can be kept together."""

    def __init__(self, cp: cp_sat.CpModel, guards: Mapping[str, cp_sat.IntVar]) -> None:
        super().__init__()
        self.cp, self.guards = cp, guards

    def possible(self, held: frozenset[str], most: float | None = None) -> bool | None:
        """Whether some plan keeps these pins."""
        del most
        known = self.known(held)
        if known is not None:
            return known
        trial = self.cp.clone()
        for pin in sorted(held):
            trial.add(trial.get_bool_var_from_proto_index(self.guards[pin].index) == 1)
        return self.note(held, bool(new_solver().solve(trial) != cp_sat.INFEASIBLE))
