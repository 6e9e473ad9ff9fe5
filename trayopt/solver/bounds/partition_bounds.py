"""What the set partition is asked: least preferences, legs, used places, length and irregularity, and which divisions are left.

All answers are of plans that place every splice and keep every must.
"""

from __future__ import annotations

from trayopt.domain.plan import GoalName
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.kind_counts import EFFORT, Limits
from trayopt.solver.bounds.set_partition import SetPartition
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import Divisions, Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.interruptible import FOUND, solve_one
from trayopt.solver.model.literals import linear, lit, total
from trayopt.solver.model.ways import Partings

WEIGHT_EFFORT = 2.0
"""Most deterministic time for the bound on preferences."""
MOST_COUNTS = 2000
"""Of more kinds times places than this, the length is not bounded: no answer is to be had soon."""


def weight_bound(
    divider: Divider, divisions: Divisions, least: int, clock: Clock, *, divide_at: Partings | None = None
) -> int | None:
    """Bound the weight of broken preferences from below, for plans of these divisions; None where there is none.

    ``least`` is a bound that is known; ``divide_at`` narrows where trunks may be divided in such plans.
    """
    partition = SetPartition(divider, divisions, clock, trays=False, divide_at=divide_at)
    broken = partition.broken("prefer")
    if isinstance(broken, int) or not partition.listed:
        return least
    partition.require(broken >= least)
    return partition.lower_bound(broken, clock, WEIGHT_EFFORT)


def legs_bound(
    divider: Divider, divisions: Divisions, weight: int | None, clock: Clock, *, divide_at: Partings | None = None
) -> int | None:
    """Bound the legs of plans of these divisions that break preferences of at most this weight; None where there is none.

    Where no weight is given, plans may break any.
    """
    partition = _kept(divider, divisions, weight, clock, trays=False, divide_at=divide_at)
    return 0 if partition is None else partition.lower_bound(partition.encoded("legs"), clock)


def placed_bound(
    goal: GoalName,
    divider: Divider,
    divisions: Divisions,
    weight: int,
    fewest: int,
    limits: Limits,
    clock: Clock,
    *,
    divide_at: Partings | None = None,
) -> int:
    """Bound a goal that asks at which places legs lie, over plans that break preferences of at most this weight.

    ``goal`` is trays, leg_length_mm or irregular. ``fewest`` are legs that every such plan has, ``limits`` what those have at
    most of which is asked. 0 where there are too many counts, or no such plan.
    """
    partition = _kept(divider, divisions, weight, clock, trays=True, divide_at=divide_at)
    if partition is None or partition.size > MOST_COUNTS:
        return 0
    partition.require(partition.encoded("legs") >= fewest)
    partition.hold_goals(limits)
    return partition.lower_bound(partition.encoded(goal), clock) or 0


def narrowed(
    divider: Divider,
    divisions: Divisions,
    weight: int,
    legs: int,
    clock: Clock,
    *,
    divide_at: Partings | None = None,
) -> Divisions:
    """Return the divisions that some plan of so few legs and preferences broken may have; all that are open where time is up.

    The set partition is asked for the most divisions that no answer has had yet, until there are none: what it never has,
    no plan has.
    """
    partition = _kept(divider, divisions, weight, clock, trays=False, divide_at=divide_at)
    if partition is None:
        return divisions
    partition.hold_goals({"legs": legs})
    seen: set[tuple[Key, int]] = set()
    literals = {
        (key, of): partition.divided(divider.job.subunit_of_leg[key], of) for key in divisions for of in divisions[key]
    }
    while unseen := [literal for pair, literal in literals.items() if pair not in seen]:
        partition.cp.maximize(linear(total(unseen)))
        status, solver = solve_one(partition.cp, clock, EFFORT)
        if status not in FOUND:
            return divisions
        seen |= {pair for pair, literal in literals.items() if solver.boolean_value(lit(literal))}
        if status == cp_sat.OPTIMAL and not solver.objective_value:
            break
    return {key: tuple(of for of in open_ if (key, of) in seen) for key, open_ in divisions.items()}


def _kept(
    divider: Divider,
    divisions: Divisions,
    weight: int | None,
    clock: Clock,
    *,
    trays: bool,
    divide_at: Partings | None,
) -> SetPartition | None:
    """Make the set partition of plans that break preferences of at most this weight; None where bunches are too many."""
    partition = SetPartition(divider, divisions, clock, trays=trays, divide_at=divide_at)
    if weight is not None:
        partition.hold_preferences(weight)
    return partition if partition.listed else None
