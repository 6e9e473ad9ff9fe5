"""Which trunks stay outside, and how many splices that costs: every set of them, the cheapest first.

In most jobs that cannot be placed whole it is trunks that have no way in: ports, seals and guides take so many. The counts by
stack know of ways what the whole model knows, so few sets of trunks can be in the box together. Every plan has one of these
sets, and leaves out no fewer splices than its bound says.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Generator, Mapping
from heapq import heappop, heappush
from typing import NamedTuple

from trayopt.domain.job import Job
from trayopt.solver.bounds.placed_patterns import Placed, PlacedPatterns
from trayopt.solver.bounds.stack_counts import StackCounts
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import Divisions
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question
from trayopt.solver.model.interruptible import FOUND, solve_one, whole_bound
from trayopt.solver.model.literals import linear, lit

PATTERNS, COUNTS = "placed_patterns", "stack_counts"
"""Who bounds the loss of a set: closed patterns with the counts by stack, or these alone."""
EFFORT = 2.0
"""Most deterministic time for one set."""


class Out(NamedTuple):
    """A bound on the splices without a tray, and what patterns place that lose so few; None where it is not known."""

    least: int
    placed: Placed | None


class Outside(NamedTuple):
    """Trunks that stay outside, None where no further set was found; how many splices this set or a later one loses, by whom.

    ``placed`` is what closed patterns place that lose so few with this set outside; None where it is not known.
    """

    trunks: frozenset[str] | None
    least: int
    by: str
    placed: Placed | None = None


def counts_of(job: Job, divisions: Divisions | None) -> tuple[StackCounts, PlacedPatterns | None]:
    """Count ways and stacks for the least splices without a tray, with closed patterns where some can be listed.

    ``divisions`` are those that a subunit with a placed leg may have; without them, no patterns are asked.
    """
    counts = StackCounts(Question(job, kinds=("physical",)), all_placed=False)
    counts.hold_all()
    counts.minimize(counts.unplaced())
    return counts, None if divisions is None else _with_patterns(counts, divisions)


def _with_patterns(counts: StackCounts, divisions: Divisions) -> PlacedPatterns | None:
    """Bind counts to closed patterns; None where these are too many."""
    patterns = PlacedPatterns(counts, divisions)
    if not patterns.listed:
        return None
    counts.require(counts.unplaced() == patterns.unplaced())
    return patterns


def out_by_patterns(job: Job, divisions: Divisions, clock: Clock) -> Out | None:
    """Bound the splices without a tray over all plans by closed patterns; None where these are too many."""
    counts, patterns = counts_of(job, divisions)
    if patterns is None:
        return None
    status, solver = _solve(counts.cp, clock)
    if status == cp_sat.INFEASIBLE:
        return Out(job.splices + 1, None)
    least = max(0, whole_bound(solver.best_objective_bound))
    return Out(least, patterns.read(solver.value) if status in FOUND else None)


def _solve(cp: cp_sat.CpModel, clock: Clock) -> tuple[cp_sat.CpSolverStatus, cp_sat.CpSolver]:
    """Solve counts; probing and the largest linear relaxation take as long as all else here, and raise no bound."""
    return solve_one(cp, clock, EFFORT, linearization_level=1, probes=False)


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


def sets_outside(
    job: Job, clock: Clock, divisions: Divisions | None = None, most: Callable[[], int] | None = None
) -> Generator[Outside]:
    """Yield sets of trunks that stay outside, with a bound that rises; the last one, without trunks, bounds all that are left.

    It is more than all splices where no set is left. ``divisions`` are those that a subunit with a placed leg may have: with
    them, closed patterns are asked of each set that by the counts alone is next, and it then waits for sets that lose less.
    ``most`` tells beyond how many lost splices a set is of no use.
    """
    counts, _ = counts_of(job, None)
    inside = {trunk.id: lit(counts.in_box(trunk)) for trunk in job.trunks}
    by_counts = _sets_by_counts(counts, counts.cp.clone(), inside, clock, most)
    patterns = None if divisions is None else _with_patterns(counts, divisions)
    if patterns is None:
        yield from by_counts
        return
    sets = _Sets(counts, patterns, inside, clock)
    following = next(by_counts)
    while True:
        aim = min(job.splices if most is None else most(), sets.hope)
        if following.trunks is not None and following.least <= aim and not clock.over:
            sets.ask(following, aim)
            following = next(by_counts)
        elif sets.waiting and sets.waiting[0].least <= following.least:
            found = heappop(sets.waiting)
            if found.is_exact or found.asked_for == aim or found.least > aim or clock.over:
                yield found.outside
            else:
                sets.ask(found.outside, aim)
        else:
            yield following._replace(trunks=None)
            return


class _Asked(NamedTuple):
    """A set that was asked about, in the order of its bound and then of asking, and the loss of the patterns that were found."""

    least: int
    number: int
    outside: Outside
    asked_for: int
    """Only whether it loses no more than this was asked."""
    lost: int

    @property
    def is_exact(self) -> bool:
        """Whether its bound is what patterns lose."""
        return self.least == self.lost


class _Sets:
    """Sets of trunks outside of which closed patterns were asked, each until its turn comes."""

    def __init__(
        self, counts: StackCounts, patterns: PlacedPatterns, inside: Mapping[str, cp_sat.IntVar], clock: Clock
    ) -> None:
        self._counts, self._patterns, self._clock = counts, patterns, clock
        self._inside = {t.id: inside[t.id] for t in counts.job.trunks if counts.job.spliced_in(t)}
        self._unplaced = linear(patterns.unplaced())
        self._number = itertools.count()
        self.waiting: list[_Asked] = []
        """The sets as a heap."""

    @property
    def hope(self) -> int:
        """The least that patterns lose with one of the sets outside."""
        return min((found.lost for found in self.waiting), default=self._counts.job.splices)

    def ask(self, found: Outside, aim: int) -> None:
        """Ask whether a set loses no more than is aimed at, and let it wait for those that lose less."""
        trial = self._counts.cp.clone()
        for trunk, literal in self._inside.items():
            trial.add(literal == int(trunk not in (found.trunks or ())))
        trial.add(self._unplaced <= aim)
        status, solver = _solve(trial, self._clock)
        least = aim + 1 if status == cp_sat.INFEASIBLE else min(aim, whole_bound(solver.best_objective_bound))
        lost = self._counts.job.splices
        if least > found.least:
            found = found._replace(least=least, by=PATTERNS)
        if status in FOUND:
            lost = round(solver.objective_value)
            found = found._replace(placed=self._patterns.read(solver.value))
        heappush(self.waiting, _Asked(found.least, next(self._number), found, aim, lost))


def _sets_by_counts(
    counts: StackCounts,
    cp: cp_sat.CpModel,
    inside: Mapping[str, cp_sat.IntVar],
    clock: Clock,
    most: Callable[[], int] | None,
) -> Generator[Outside]:
    """Yield the same by ways and stacks alone, each set that they admit.

    ``cp`` is the model of the counts, to which no patterns are bound; ``inside`` are the literals of trunks in the box.
    """
    least, unplaced = 0, linear(counts.unplaced())
    while True:
        enough = counts.job.splices if most is None else most()
        cp.add(unplaced <= enough)
        status, solver = _solve(cp, clock)
        if status == cp_sat.INFEASIBLE:
            least = max(least, enough + 1)
        if status not in FOUND:
            yield Outside(None, least, COUNTS)
            return
        least = max(least, whole_bound(solver.best_objective_bound))
        comes_in = {trunk: bool(solver.value(literal)) for trunk, literal in inside.items()}
        yield Outside(frozenset(trunk for trunk, comes in comes_in.items() if not comes), least, COUNTS)
        cp.add_bool_or([lit(counts.no(inside[trunk])) if comes else inside[trunk] for trunk, comes in comes_in.items()])
