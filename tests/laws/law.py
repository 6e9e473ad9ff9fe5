"""What a law is: a change of a job, which says why it holds, and what it makes of the goals."""

from __future__ import annotations

import copy
import random
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

from tests.build import Json, frozen
from trayopt.api import solve
from trayopt.domain.job import Job
from trayopt.domain.plan import Plan
from trayopt.goals.registry import order
from trayopt.rules.registry import refill

Goals = dict[str, int]
Change = Callable[[Json, random.Random], Json | None]
"""Gives the changed job, from one that is its own to change; None where there is nothing to change in that way."""
Ready = Callable[[Json, random.Random], Json]
"""Gives a job for which a law holds, from one that is its own to change."""


def _as_it_is(job: Json, rng: random.Random) -> Json:
    del rng
    return job


def _same(goals: Goals) -> Goals:
    return goals


class Law(NamedTuple):
    """A change under which the goals move exactly.

    Parameters
    ----------
    change
        The change; its docstring says why the law holds.
    moved
        What becomes of the goals.
    ready
        Makes a job one of those for which the law holds, before it is solved for the first time.
    order
        Order of the movable goals.
    upto
        How many goals are compared, in the order in which they count. Those that are left out may move.
    """

    change: Change
    moved: Callable[[Goals], Goals] = _same
    ready: Ready = _as_it_is
    order: tuple[str, ...] | None = None
    upto: int = 8

    @property
    def name(self) -> str:
        """Name of the change, as the tests tell it."""
        return self.change.__name__


def plain(job: Job) -> Json:
    """Give a job as plain data that may be changed."""
    return copy.deepcopy(thawed(job.plain()))


def thawed(value: Any) -> Any:
    """Turn tuples into lists, all the way down."""
    if isinstance(value, dict):
        return {key: thawed(item) for key, item in value.items()}
    return [thawed(item) for item in value] if isinstance(value, list | tuple) else value


def read(data: Json) -> Job:
    """Read a job from its canonical plain data."""
    return refill(Job.model_validate(frozen(data)))


def best(data: Json, order: Sequence[str] | None = None) -> Plan:
    """Solve a job, by one worker so that runs repeat; the plan is proven."""
    plan = solve(read(data), workers=1, explain=False, goals=order).plan
    assert (plan.status, plan.stopped) == ("optimal", "proven")
    assert [item.bound for item in plan.goals] == [item.value for item in plan.goals]
    return plan


def goals_of(plan: Plan) -> Goals:
    """Give the goals of a plan, in the order in which they counted."""
    return {item.goal: item.value for item in plan.goals}


def first_of(goals: Goals, names: Sequence[str] | None, upto: int) -> Goals:
    """Give the first goals in an order."""
    return {goal.id: goals[goal.id] for goal in order(names)[:upto]}
