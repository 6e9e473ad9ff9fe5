"""What a goal is: a number to be minimised, measured from plain data and encoded for the solver."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import TYPE_CHECKING, ClassVar

from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Expression, Variables


class Goal(ABC):
    """One row of spec section 6. Class attributes: ``id`` as in plans, ``unit``, ``statement``."""

    id: ClassVar[GoalName]
    unit: ClassVar[str]
    statement: ClassVar[str]

    @abstractmethod
    def measure(self, job: Job, laid: Laid) -> int:
        """Measure the goal on a plan, from plain data only."""

    @abstractmethod
    def encode(self, job: Job, x: Variables) -> Expression:
        """Return the goal as an expression of the model, exact at the optimum, and never below the value of a solution."""
