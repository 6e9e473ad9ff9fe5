"""All goals, and the orders in which they may count."""

from __future__ import annotations

from collections.abc import Sequence

from trayopt.domain.plan import GoalName
from trayopt.goals.base import Goal
from trayopt.goals.broken_must import BrokenMust
from trayopt.goals.broken_prefer import BrokenPrefer
from trayopt.goals.crossings import Crossings
from trayopt.goals.irregular import Irregular
from trayopt.goals.leg_length_mm import LegLength
from trayopt.goals.legs import Legs
from trayopt.goals.trays import Trays
from trayopt.goals.unplaced import Unplaced
from trayopt.track.laid import Laid

GOALS: tuple[Goal, ...] = (
    Unplaced(), BrokenMust(), BrokenPrefer(), Legs(), Trays(), Crossings(), LegLength(), Irregular(),
)  # fmt: skip
"""Every goal, in the usual order."""
BY_ID: dict[str, Goal] = {goal.id: goal for goal in GOALS}
MOVABLE: tuple[GoalName, ...] = ("legs", "trays", "crossings", "leg_length_mm")
"""Goals that may change places among each other."""


def order(names: Sequence[str] | None = None) -> tuple[Goal, ...]:
    """Return the goals in the order in which they count.

    Parameters
    ----------
    names
        Some of ``MOVABLE`` in the order that is wanted, those that are left out behind them in their usual order; or all
        goals in an order that moves only these; None for the usual order.

    Raises
    ------
    ValueError
        Where the names are anything else; the message says what is allowed.
    """
    given = tuple(MOVABLE if names is None else names)
    if len(given) == len(GOALS):
        usual = tuple(goal.id for goal in GOALS)
        if [name for name in given if name not in MOVABLE] != [name for name in usual if name not in MOVABLE]:
            raise ValueError(_allowed(given))
        start, end = usual.index(MOVABLE[0]), usual.index(MOVABLE[-1]) + 1
        if set(given[start:end]) != set(MOVABLE):
            raise ValueError(_allowed(given))
        given = given[start:end]
    if not given or len(set(given)) < len(given) or not set(given) <= set(MOVABLE):
        raise ValueError(_allowed(given))
    wanted = iter((*given, *(goal for goal in MOVABLE if goal not in given)))
    return tuple(BY_ID[next(wanted)] if goal.id in MOVABLE else goal for goal in GOALS)


def measure_all(laid: Laid) -> dict[GoalName, int]:
    """Measure every goal on a plan, in the usual order."""
    return {goal.id: goal.measure(laid.job, laid) for goal in GOALS}


def _allowed(names: Sequence[str]) -> str:
    return (
        f"goals cannot be ordered as {', '.join(names) or 'none'}; "
        f"allowed: {', '.join(MOVABLE)}, or some of them, in any order"
    )
