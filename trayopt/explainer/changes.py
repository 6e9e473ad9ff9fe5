"""Changes of a job: what is added or given up, what that costs, and the jobs that come of it."""

from __future__ import annotations

from dataclasses import dataclass

from trayopt.domain.finding import Group
from trayopt.domain.job import Job
from trayopt.explainer.costs import Costs
from trayopt.rules.registry import BY_ID
from trayopt.solver.model.groups import ALLOWED_PORTS, EXPECTED, LIMITS


@dataclass(frozen=True)
class Added:
    """Something added or changed: what, where, how much."""

    what: str
    subject: str
    amount: int | float | str


@dataclass(frozen=True)
class Change:
    """A changed job: groups given up or things added, and what that costs.

    ``others`` are jobs for further boxes; ``least`` is off where it was not settled whether less would be enough.
    """

    job: Job
    cost: int
    give_up: tuple[Group, ...] = ()
    add: tuple[Added, ...] = ()
    others: tuple[Job, ...] = ()
    least: bool = True


def cost_of(group: Group, costs: Costs) -> int:
    """Return the cost of giving up a group."""
    if group.rule == EXPECTED:
        return 1
    if group.rule in LIMITS:
        return costs.allowed_ports if group.rule == ALLOWED_PORTS else costs.allowed_travel
    rule = BY_ID[group.rule]
    cost: int = getattr(costs, rule.cost or rule.kind)
    return cost
