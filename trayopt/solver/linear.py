"""The linear relaxation of rows in HiGHS: a lower bound on the goal, and the prices of rows that prove the bound.

HiGHS counts in floating point, and what it says is a hint: the verifier of certificates sees in exact numbers whether prices
prove anything. From one set of bounds to the next HiGHS goes on from where it stood, so presolve is off.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import inf
from typing import Any, NamedTuple

import numpy as np
from highspy import HighsModelStatus
from highspy import _Highs as Highs  # type: ignore[attr-defined]  # setting up the callbacks of the other prints a line

from trayopt.certificate.check import GOAL, Bounds, System
from trayopt.solver.model.clock import Clock

MOST_S = 20.0
"""Time limit in seconds for one linear relaxation."""
ENOUGH = 1e-4
"""How far the goal may be above what is allowed: beyond that, a branch need not be solved further."""
PROBE_STEPS = 1_000
"""Most steps of the simplex to tell what a split brings."""


class Solved(NamedTuple):
    """By how much the rows miss, infinite where they cannot hold; the prices that say so; the numbers where they can hold."""

    missed: float
    prices: Mapping[str, float]
    numbers: Sequence[float]


class Relaxation:
    """Rows without some of them, solved for bounds of their numbers; the goal is minimised, and what is allowed taken off."""

    def __init__(self, system: System, left_out: frozenset[str] = frozenset()) -> None:
        goal = system.rows.get(GOAL)
        self.allowed = goal.most if goal is not None else 0
        self.names = [name for name in system.rows if name not in left_out and name != GOAL]
        self._bounds: Bounds = list(system.bounds)
        self._highs: Any = Highs()
        self._highs.setOptionValue("output_flag", False)
        self._highs.setOptionValue("presolve", "off")
        self._highs.setOptionValue("threads", 1)
        for least, most in system.bounds:
            self._highs.addVar(least, most)
        for number, factor in goal.terms.items() if goal is not None else ():
            self._highs.changeColCost(number, factor)
        for name in self.names:
            row = system.rows[name]
            terms = {number: factor for number, factor in row.terms.items() if factor}
            numbers, factors = np.array([*terms], np.int32), np.array([*terms.values()], float)
            self._highs.addRow(row.most if row.equal else -inf, row.most, len(terms), numbers, factors)
        self._has_goal = goal is not None

    def solve(self, bounds: Bounds, clock: Clock) -> Solved | None:
        """Solve for these bounds; None where no answer was found."""
        status = self._run(bounds, clock)
        if status == HighsModelStatus.kInfeasible:
            _, has_ray, ray = self._highs.getDualRay()
            return Solved(inf, self._prices(ray), ()) if has_ray else None
        if status != HighsModelStatus.kOptimal:
            return None
        found = self._highs.getSolution()
        prices = self._prices(found.row_dual)
        if self._has_goal:
            prices[GOAL] = 1.0
        return Solved(self._missed(), prices, found.col_value)

    def probe(self, bounds: Bounds, clock: Clock) -> float:
        """Tell by how much the rows miss at least, as far as a few steps say; infinite where they cannot hold."""
        self._highs.setOptionValue("objective_bound", self.allowed + ENOUGH if self._has_goal else inf)
        status = self._run(bounds, clock, PROBE_STEPS)
        self._highs.setOptionValue("objective_bound", inf)
        return inf if status == HighsModelStatus.kInfeasible else self._missed()

    def _run(self, bounds: Bounds, clock: Clock, most_steps: int = 2**31 - 1) -> HighsModelStatus:
        changed = [i for i, (before, now) in enumerate(zip(self._bounds, bounds, strict=True)) if before != now]
        least, most = (np.array([bounds[i][side] for i in changed], float) for side in (0, 1))
        self._highs.changeColsBounds(len(changed), np.array(changed, np.int32), least, most)
        self._bounds = list(bounds)
        left = MOST_S if clock.left is None else min(clock.left, MOST_S)
        self._highs.setOptionValue("time_limit", self._highs.getRunTime() + left)
        self._highs.setOptionValue("simplex_iteration_limit", most_steps)
        self._highs.run()
        status: HighsModelStatus = self._highs.getModelStatus()
        return status

    def _missed(self) -> float:
        value: float = self._highs.getInfo().objective_function_value
        return value - self.allowed

    def _prices(self, duals: Sequence[float]) -> dict[str, float]:
        """Return the prices of rows, the greatest of them 1 where there is no goal to measure them by."""
        return {name: -float(dual) for name, dual in zip(self.names, duals, strict=True) if dual}
