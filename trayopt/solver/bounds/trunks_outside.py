"""Which trunks stay outside, and how many splices that costs: every set of them, the cheapest first.

In most jobs that cannot be placed whole it is trunks that have no way in: ports, seals and guides take so many. The counts by
stack know of ways what the whole model knows, so few sets of trunks can be in the box together. Every plan has one of these
sets, and leaves out no fewer splices than its bound says.
"""

from __future__ import annotations

from collections.abc import Generator
from typing import NamedTuple

from trayopt.domain.job import Job
from trayopt.solver.bounds.placed_patterns import PlacedPatterns
from trayopt.solver.bounds.stack_counts import StackCounts
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import Divisions
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question
from trayopt.solver.model.interruptible import FOUND, solve_one, whole_bound
from trayopt.solver.model.literals import lit

EFFORT = 2.0
"""Most deterministic time for one set."""


class Outside(NamedTuple):
    """Trunks that stay outside, None where no further set was found; how many splices this set or a later one loses, by whom."""

    trunks: frozenset[str] | None
    least: int
    by: str


class Out(NamedTuple):
    """A bound on the splices without a tray, and the divisions of patterns that lose so few; none where these are not known."""

    least: int
    divisions: Divisions | None


def counts_of(job: Job, divisions: Divisions | None) -> tuple[StackCounts, PlacedPatterns | None]:
    """Count ways and stacks for the least splices without a tray, with closed patterns where some can be listed.

    ``divisions`` are those that a subunit with a placed leg may have; without them, no patterns are asked.
    """
    counts = StackCounts(Question(job, kinds=("physical",)), all_placed=False)
    counts.hold_all()
    unplaced = counts.unplaced()
    counts.minimize(unplaced)
    patterns = None if divisions is None else PlacedPatterns(counts, divisions)
    if patterns is None or not patterns.listed:
        return counts, None
    counts.require(unplaced == patterns.unplaced())
    return counts, patterns


def out_by_patterns(job: Job, divisions: Divisions, clock: Clock) -> Out | None:
    """Bound the splices without a tray over all plans by closed patterns; None where these are too many."""
    counts, patterns = counts_of(job, divisions)
    if patterns is None:
        return None
    status, solver = solve_one(counts.cp, clock, EFFORT)
    if status not in FOUND:
        return Out(0, None)
    return Out(whole_bound(solver.best_objective_bound), patterns.divisions(solver.value))


def trays_by_patterns(job: Job, divisions: Divisions, unplaced: int, legs: int, clock: Clock) -> int:
    """Bound the used places of plans that leave out at most so many splices and have at most so many legs; 0 for no answer."""
    counts, patterns = counts_of(job, divisions)
    if patterns is None:
        return 0
    counts.require(patterns.unplaced() <= unplaced)
    counts.require(patterns.legs() <= legs)
    counts.minimize(patterns.trays())
    status, solver = solve_one(counts.cp, clock, EFFORT)
    return whole_bound(solver.best_objective_bound) if status in FOUND else 0


def sets_outside(job: Job, clock: Clock, divisions: Divisions | None = None) -> Generator[Outside]:
    """Yield sets of trunks that stay outside, with a bound that rises; the last one, without trunks, bounds all that are left.

    It is more than all splices where no set is left. ``divisions`` are those that a subunit with a placed leg may have, where
    closed patterns are asked as well.
    """
    counts, patterns = counts_of(job, divisions)
    by = "stack_counts" if patterns is None else "placed_patterns"
    inside = {trunk.id: counts.in_box(trunk) for trunk in job.trunks}
    least = 0
    while True:
        status, solver = solve_one(counts.cp, clock, EFFORT)
        if status == cp_sat.INFEASIBLE:
            least = job.splices + 1
        if status not in FOUND:
            yield Outside(None, least, by)
            return
        least = max(least, whole_bound(solver.best_objective_bound))
        comes_in = {trunk: bool(solver.value(lit(literal))) for trunk, literal in inside.items()}
        yield Outside(frozenset(trunk for trunk, comes in comes_in.items() if not comes), least, by)
        counts.clause(*(counts.no(inside[trunk]) if comes else inside[trunk] for trunk, comes in comes_in.items()))
