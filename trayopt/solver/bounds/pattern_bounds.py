"""Questions to counts of settled divisions: used places, leg length, irregularity, and counts to complete to a plan.

All answers are of the plans of one whole model; what counts leave out is said in ``pattern_counts``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trayopt.domain.plan import GoalName
from trayopt.rules.variables import Expression
from trayopt.solver.bounds.kind_counts import EFFORT, Limits
from trayopt.solver.bounds.pattern_counts import Counts, Guess
from trayopt.solver.bounds.ways_first import Choice, WaysFirst
from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.interruptible import FOUND, whole_bound
from trayopt.solver.model.literals import linear
from trayopt.solver.model.model import Model
from trayopt.solver.model.run import hint_all

GLANCE = 0.5
"""Most deterministic time for a length by all ways together, before choices of ways are asked."""
REGULAR_EFFORT = 0.3
"""Most deterministic time for counts as regular as can be: going down to them step by step takes ten times as long."""
IRREGULAR_EFFORT = 1.0
"""Most deterministic time for the least irregular counts of the least length: what it leaves open is asked when it counts."""
LATENESS_EFFORT = 1.0
"""Most deterministic time for the choice among counts of one length, which is only a guess."""


@dataclass(frozen=True)
class Counted:
    """A proven bound on the leg length, and counts that are as short as could be found; None where none were found in time.

    ``irregular`` is how irregular plans of these counts' length are at least.
    """

    bound: int
    counts: Counts
    found: cp_sat.CpSolver | None = None
    irregular: int = 0

    @property
    def guess(self) -> Guess | None:
        """Return the counts that were found."""
        return None if self.found is None else self.counts.guess(self.found.value)

    def in_order(self, clock: Clock) -> Guess | None:
        """Return counts that are as good, with kinds that come early in the walk near the base, if they are soon found."""
        lateness = self.counts.lateness()
        if self.found is None or isinstance(lateness, int):
            return self.guess
        hint_all(self.counts.cp, self.found.response_proto.solution)
        self.counts.minimize(lateness)
        status, later = self.counts.ask(clock, LATENESS_EFFORT)
        return self.counts.guess(later.value) if status in FOUND else self.guess


def count(
    model: Model, weight: int, clock: Clock, *, trays: int | None = None, ways: WaysFirst | None = None
) -> Counted | None:
    """Find counts of least leg length and bound it; None if it is proven that there are none, so that the model has no plan.

    ``weight`` bounds the broken preferences as it does in the model, ``trays`` the used places of the plans of which is asked;
    ``ways`` are the choices of ways of such plans.
    """
    counts = _counts(model, weight, {"trays": trays})
    length = counts.encoded("leg_length_mm")
    bound, solver = _shortest(counts, length, ways or WaysFirst(model, weight, clock), clock)
    if bound is None:
        return None
    if solver is None:
        return Counted(bound, counts)
    shortest = solver.value(linear(length))
    counts.require(length <= shortest)
    irregular = counts.encoded("irregular")
    if isinstance(irregular, int):
        return Counted(bound, counts, solver, irregular)
    counts.minimize(irregular)  # without a hint: with one, it took five times as long
    in_order = counts.decide_stacks_first()
    status, later = cp_sat.UNKNOWN, solver
    if not in_order:  # where preferences may be broken, the shortest counts are hardly ever quite regular
        status, later = counts.ask(clock, REGULAR_EFFORT, held=irregular <= 0)
    if status not in FOUND:  # nothing is quite regular: then step by step
        status, later = counts.ask(clock, IRREGULAR_EFFORT, in_order=in_order)
    if status not in FOUND:
        return Counted(bound, counts, solver)
    counts.require(irregular <= later.value(linear(irregular)))
    least = max(0, whole_bound(later.best_objective_bound)) if shortest == bound else 0
    return Counted(bound, counts, later, least)


def _shortest(
    counts: Counts, length: Expression, ways: WaysFirst, clock: Clock
) -> tuple[int | None, cp_sat.CpSolver | None]:
    """Bound the length of counts, and give counts of small length; None for the bound where there are none.

    What counts leave open after a glance is asked of each choice of ways that may be as short; counts go on where there are many.
    """
    counts.minimize(length)
    bound, best = 0, None
    for effort in (GLANCE, EFFORT):
        status, solver = counts.ask(clock, effort)
        if status == cp_sat.INFEASIBLE:
            return None, None
        bound = max(bound, whole_bound(solver.best_objective_bound))
        if status not in FOUND:
            continue
        best = solver
        if status == cp_sat.OPTIMAL or effort == EFFORT:
            break
        shortest = solver.value(linear(length))
        choices = ways.within(shortest)
        if choices is not None:
            return max(bound, _least_of(choices, shortest)), best
        hint_all(counts.cp, solver.response_proto.solution)
    return bound, best


def _least_of(choices: Sequence[Choice], most: int) -> int:
    """Bound the length of plans by the choices of ways that may be no longer than ``most``."""
    return min([most, *(choice.least for choice in choices)])


def placed_bound(
    goal: GoalName,
    model: Model,
    weight: int,
    limits: Limits,
    clock: Clock,
    *,
    at_least: int = 0,
    most: int | None = None,
    ways: WaysFirst | None = None,
) -> int | None:
    """Bound a goal over the plans of a model that break preferences of at most this weight; None if it has none.

    ``goal`` is trays, leg_length_mm or irregular; ``limits`` are what those plans have at most of which is asked, ``at_least`` a
    bound that is known, ``most`` what some plan has. ``ways`` are the choices of ways of such plans: where they are listed
    already, counts of all ways together were too slow, and a length is asked of the choices alone.
    """
    if goal == "leg_length_mm" and ways is not None and ways.listed and most is not None:
        choices = ways.within(most)
        if choices is not None:
            return max(at_least, _least_of(choices, most))
    counts = _counts(model, weight, limits)
    expression = counts.encoded(goal)
    if goal == "leg_length_mm":
        counts.require(expression >= at_least)
        least = _shortest(counts, expression, ways or WaysFirst(model, weight, clock), clock)[0]
        return None if least is None else max(at_least, least)
    in_order = goal == "irregular" and counts.decide_stacks_first()
    if goal == "irregular":
        status, _ = counts.ask(clock, REGULAR_EFFORT, held=expression <= at_least, in_order=in_order)
        if status in FOUND:
            return at_least
    return counts.lower_bound(expression, clock, at_least=at_least, in_order=in_order)


def _counts(model: Model, weight: int, limits: Limits) -> Counts:
    """Make the counts of plans that break preferences of at most this weight, within limits."""
    counts = Counts(model, {(s.trunk, s.number): model.divisions(s) for s in model.job.subunits if model.divisions(s)})
    counts.hold_preferences(weight)
    counts.hold_goals(limits)
    return counts
