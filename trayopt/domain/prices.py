"""What keeping preferences costs, schema ``trayopt/prices/1``: the best plan, and the best without each preference."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from trayopt.domain.base import Frozen
from trayopt.domain.plan import GoalName, PlanJob


class Worth(Frozen):
    """What a plan asks of a crew: legs, trays, what is cut in mm, and minutes of one person; ``proven`` names no better plan.

    ``goals`` are all goals of the plan in the order of the specification, of the job as it is priced.
    """

    legs: int
    trays: int
    crossings: int
    leg_length_mm: int
    minutes: int
    proven: bool
    goals: dict[GoalName, int]


class PreferencePrice(Frozen):
    """A preference that binds: the best plan without it is better on some goal.

    ``broken`` are the subjects for which the best plan breaks it all the same.
    """

    rule: str
    weight: int
    broken: int
    without: Worth

    def saved(self, best: Worth) -> int:
        """Give the minutes that a crew saves without it; below 0 where it saves something else."""
        return best.minutes - self.without.minutes


class Prices(Frozen):
    """The prices of a job's preferences.

    ``best`` is the plan that they are held against. ``priced`` are the preferences that bind, the dearest first; ``free`` are
    those without which no plan is better, proven; ``open`` those of which no better plan was found and none excluded in time.
    No plan that places every splice and keeps every must takes fewer than ``least_minutes``, whatever preferences it breaks.
    """

    schema_: Annotated[Literal["trayopt/prices/1"], Field(alias="schema")] = "trayopt/prices/1"
    job: PlanJob
    best: Worth
    least_minutes: int
    priced: tuple[PreferencePrice, ...] = ()
    free: tuple[str, ...] = ()
    open: tuple[str, ...] = ()

    def plain(self) -> dict[str, Any]:
        """Give it as plain data."""
        return self.model_dump(mode="json", by_alias=True)
