"""How far a search has come: what its tactics hand to each other."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from trayopt.domain.plan import GoalName, Stopped
from trayopt.solver.heuristics.session import Session
from trayopt.solver.model.base import Divisions
from trayopt.solver.model.incumbent import State
from trayopt.solver.model.model import Model
from trayopt.solver.search.lexicographic import Descent


class Again(Protocol):
    """A search that a tactic begins on another job."""

    @property
    def state(self) -> State:
        """The incumbent and the bounds."""

    @property
    def used(self) -> set[str]:
        """Relaxations and tactics that the search came to."""

    @property
    def enough(self) -> Callable[[State], bool]:
        """Whether what is known so far is enough for the caller."""

    def solve(self) -> tuple[State, Stopped]:
        """Search until everything is proven or the clock stops it; go on from there where it was asked before."""


Found = tuple[Model, Sequence[GoalName]]
"""A model that holds all plans that may be best, and the goals that are left to minimise in it."""


@dataclass
class Work:
    """The search so far.

    Parameters
    ----------
    session, descent, again
        What all tactics share, how goals are brought down on one model, and what begins a search on another job.
    complete
        Whether there may be a complete plan: every splice placed and every must kept.
    weight, legs
        Bounds over complete plans: the weight of broken preferences, and the legs of those that break so little.
    divisions
        Divisions of least legs.
    all_open
        The model of all useful divisions, once it is made.
    found
        A model that holds, once there is such a model.
    few_legs
        Whether plans with the divisions of least legs were bettered: of those that place every splice, and of all.
    counted
        Whether ways and stacks were counted for what stays out.
    done
        Whether all goals were brought down as far as the clock let them.
    """

    session: Session
    descent: Descent
    again: Callable[..., Again]
    complete: bool = True
    weight: int = 0
    legs: int = 0
    divisions: Divisions = field(default_factory=dict)
    all_open: Model | None = None
    found: Found | None = None
    few_legs: set[bool] = field(default_factory=set)
    counted: bool = False
    done: bool = False

    @property
    def legs_first(self) -> bool:
        """Whether legs come first of the goals that may change places."""
        return self.session.legs_first

    @property
    def open(self) -> bool:
        """Whether complete plans are still looked for, and no model holds yet."""
        return self.complete and self.found is None and not self.done


@dataclass(frozen=True)
class Tactic:
    """One part of the search.

    Parameters
    ----------
    name
        By which it can be left out.
    run
        Does it; what was found and proven is in the work afterwards.
    applies
        Whether it is of use as far as the search has come.
    proves
        What it may prove; empty for what only finds plans.
    """

    name: str
    run: Callable[[Work], None]
    applies: Callable[[Work], bool]
    proves: str = ""
