"""Which groups to give up: the fewest without which the counts by stack balance and every known conflict is hit."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from trayopt.domain.finding import Group
from trayopt.rules.variables import Boolean
from trayopt.solver.bounds.stack_counts import StackCounts
from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.interruptible import solve_one
from trayopt.solver.model.literals import linear, total

Cost = Callable[[Group], int]
"""What giving up a group costs; it decides between sets of the same size."""
EFFORT = 4.0
"""Deterministic time for one answer."""


class CorrectionModel:
    """Counts by stack in which some groups may be given up, at a price."""

    def __init__(self, counts: StackCounts, groups: Iterable[Group], cost: Cost, among: frozenset[Group]) -> None:
        self.groups = tuple(groups)
        self.cp = counts.cp.clone()
        self.dropped: dict[Group, Boolean] = {}
        for group in self.groups:
            if group in counts.guards:
                self.dropped[group] = ~self.cp.get_bool_var_from_proto_index(counts.guards[group].index)
            else:
                self.dropped[group] = self.cp.new_bool_var(f"give up {group}")
        for group in self.groups:
            if group not in among:
                self.cp.add_bool_and([~self.dropped[group]])
        step = 1 + len(self.groups) * (len(self.groups) + 1) // 2
        size = 1 + sum(cost(group) for group in self.groups)
        weights = [(size + cost(group)) * step + rank for rank, group in enumerate(self.groups)]
        self.cp.minimize(linear(total(n * self.dropped[group] for n, group in zip(weights, self.groups, strict=True))))

    def hit(self, groups: Iterable[Group]) -> None:
        """Require that at least one of these groups is given up."""
        self.cp.add_bool_or([self.dropped[group] for group in sorted(groups)])

    def miss(self, groups: Iterable[Group]) -> None:
        """Exclude the set of exactly these groups, and every larger set."""
        self.cp.add_bool_or([~self.dropped[group] for group in sorted(groups)])

    def smallest(self, clock: Clock) -> frozenset[Group] | None:
        """Return the smallest set, the cheapest of several; None if there is no set, or no answer was proven in time."""
        status, solver = solve_one(self.cp, clock, EFFORT)
        if status != cp_sat.OPTIMAL:
            return None
        return frozenset(group for group, literal in self.dropped.items() if solver.boolean_value(literal))
