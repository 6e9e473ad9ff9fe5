"""Ways out that give something up: a pin, a trunk's own limit, or a rule."""

from __future__ import annotations

from collections.abc import Iterable

from trayopt.domain.finding import Group
from trayopt.domain.job import Apart, Job
from trayopt.explainer.changes import Change, cost_of
from trayopt.explainer.costs import Costs
from trayopt.rules.registry import BY_ID
from trayopt.solver.model.groups import ALLOWED_PORTS, ALLOWED_TRAVEL, EXPECTED, remade


def giving_up(job: Job, groups: Iterable[Group], costs: Costs) -> Change:
    """Give the change that gives up some groups.

    Notes
    -----
    A job file knows rules, not their subjects: a rule of which one subject is given up is preferred from then on, so that
    the plan breaks it where it must and nowhere else.
    """
    given = tuple(groups)
    changed = job
    for group in given:
        changed = without(changed, group)
    return Change(changed, sum(cost_of(group, costs) for group in given), give_up=given)


def without(job: Job, group: Group) -> Job:
    """Give the job without one group."""
    if group.rule == "pin":
        return remade(job, pins=tuple(pin for pin in job.pins if pin.built or pin.subject != group.subject))
    if group.rule in {ALLOWED_PORTS, ALLOWED_TRAVEL}:
        lifted = {"ports": "any"} if group.rule == ALLOWED_PORTS else {"travel": "either"}
        trunks = (remade(trunk, **lifted) if trunk.id == group.subject else trunk for trunk in job.trunks)
        return remade(job, trunks=tuple(trunks))
    if group.rule == "apart":
        return remade(job, apart=_apart(job, group.subject))
    if group.rule == EXPECTED:
        return job
    setting = job.rules[group.rule]
    weight = setting.weight if setting.level == "prefer" else max(setting.weight, BY_ID[group.rule].weight)
    prefer = setting.model_copy(update={"level": "prefer", "weight": weight})
    return remade(job, rules={**job.rules, group.rule: prefer})


def _apart(job: Job, subject: str) -> tuple[Apart, ...]:
    """Give what is to be apart without one pair; an entry of more than two joins falls into its pairs."""
    found = []
    for entry in job.apart:
        pairs = [pair for pair in entry.pairs if "+".join(pair) != subject]
        if len(pairs) == len(entry.pairs):
            found.append(entry)
        else:
            found += [Apart(joins=pair, scope=entry.scope) for pair in pairs]
    return tuple(found)
