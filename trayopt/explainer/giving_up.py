"""Ways out that give something up: a pin, a trunk's own limit, or a rule."""

from __future__ import annotations

from collections.abc import Iterable

from trayopt.domain.base import remade
from trayopt.domain.finding import Group
from trayopt.domain.job import Job
from trayopt.explainer.changes import Change, cost_of
from trayopt.explainer.costs import Costs
from trayopt.rules.registry import BY_ID
from trayopt.solver.model.groups import ALLOWED_PORTS, ALLOWED_TRAVEL, EXPECTED


def giving_up(job: Job, groups: Iterable[Group], costs: Costs) -> Change:
    """Return the change that gives up some groups."""
    given = tuple(groups)
    changed = job
    for group in given:
        changed = without(changed, group)
    return Change(changed, sum(cost_of(group, costs) for group in given), give_up=given)


def without(job: Job, group: Group) -> Job:
    """Return the job without one group."""
    if group.rule in {ALLOWED_PORTS, ALLOWED_TRAVEL}:
        lifted = {"ports": "any"} if group.rule == ALLOWED_PORTS else {"travel": "either"}
        trunks = (remade(trunk, **lifted) if trunk.id == group.subject else trunk for trunk in job.trunks)
        return remade(job, trunks=tuple(trunks))
    if group.rule == EXPECTED:
        return job
    return BY_ID[group.rule].without(job, group.subject)
