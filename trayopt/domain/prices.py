"""The price of each preference, schema ``trayopt/prices/1``: the best plan compared with the best plan without the preference."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from trayopt.domain.base import Frozen
from trayopt.domain.plan import GoalName, PlanJob


class Worth(Frozen):
    """The work that a plan asks of a crew: legs, trays, length cut in mm, and minutes of one person.

    ``goals`` holds the values of all goals in their order, for the job that is priced. ``proven`` says that no plan is better.
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

    ``broken`` counts the subjects for which even the best plan breaks the preference.
    """

    rule: str
    weight: int
    broken: int
    without: Worth

    def saved(self, best: Worth) -> int:
        """Return the minutes that a crew saves without the preference; below 0 if the plan saves something else instead."""
        return best.minutes - self.without.minutes


class PriceTogether(Frozen):
    """The best plan that was found if every preference may be broken; if it is ``proven``, no other such plan is better.

    ``rules`` are the preferences that it breaks more often than the best plan does; it keeps every other preference as well. So
    it shows what a crew saves at least if these preferences are given up.
    """

    rules: tuple[str, ...]
    without: Worth


class Prices(Frozen):
    """The prices of a job's preferences.

    ``best`` is the plan with which the others are compared. ``priced`` lists the preferences that bind, the most expensive
    first. ``free`` lists the preferences without which no plan is better, as was proven. ``open`` lists the preferences for
    which the time ran out: no better plan was found, and none was excluded. ``together`` compares the plan
    without all preferences; null if none was found in time. No plan that places every splice and keeps every must takes
    fewer than ``least_minutes``, whatever preferences it breaks.
    """

    schema_: Annotated[Literal["trayopt/prices/1"], Field(alias="schema")] = "trayopt/prices/1"
    job: PlanJob
    best: Worth
    least_minutes: int
    priced: tuple[PreferencePrice, ...] = ()
    free: tuple[str, ...] = ()
    open: tuple[str, ...] = ()
    together: PriceTogether | None = None

    def plain(self) -> dict[str, Any]:
        """Return the prices as plain data."""
        return self.model_dump(mode="json", by_alias=True)
