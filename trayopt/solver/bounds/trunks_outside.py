"""Which trunks stay outside, and how many splices that costs: every set of them, the cheapest first.

In most jobs that cannot be placed whole it is trunks that have no way in: ports, seals and guides take so many. The counts by
stack know of ways what the whole model knows, so few sets of trunks can be in the box together. Every plan has one of these
sets, and leaves out no fewer splices than its bound says.
"""

from __future__ import annotations

from collections.abc import Generator
from typing import NamedTuple

from trayopt.domain.job import Job
from trayopt.solver.bounds.stack_counts import StackCounts
from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question
from trayopt.solver.model.interruptible import FOUND, solve_one, whole_bound
from trayopt.solver.model.literals import lit

EFFORT = 2.0
"""Most deterministic time for one set."""


class Outside(NamedTuple):
    """Trunks that stay outside, None where no further set was found; and how many splices this set or a later one loses."""

    trunks: frozenset[str] | None
    least: int


def sets_outside(job: Job, clock: Clock) -> Generator[Outside]:
    """Yield sets of trunks that stay outside, with a bound that rises; the last one, without trunks, bounds all that are left.

    It is more than all splices where no set is left.
    """
    counts = StackCounts(Question(job, kinds=("physical",)), all_placed=False)
    counts.hold_all()
    counts.minimize(counts.unplaced())
    inside = {trunk.id: counts.in_box(trunk) for trunk in job.trunks}
    least = 0
    while True:
        status, solver = solve_one(counts.cp, clock, EFFORT)
        if status == cp_sat.INFEASIBLE:
            least = job.splices + 1
        if status not in FOUND:
            yield Outside(None, least)
            return
        least = max(least, whole_bound(solver.best_objective_bound))
        comes_in = {trunk: bool(solver.value(lit(literal))) for trunk, literal in inside.items()}
        yield Outside(frozenset(trunk for trunk, comes in comes_in.items() if not comes), least)
        counts.clause(*(counts.no(inside[trunk]) if comes else inside[trunk] for trunk, comes in comes_in.items()))
