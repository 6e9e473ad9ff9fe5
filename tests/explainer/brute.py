"""Conflicts by brute force: every way to build a tiny job, and which groups each of them breaks.

A set of groups clashes exactly if every way to place all splices breaks one of it; so the smallest conflicts are the minimal
hitting sets of the broken sets, and the ways out are the minimal broken sets themselves. Nothing here comes from the package.
"""

from __future__ import annotations

import copy
from typing import Any

from pysat.examples.hitman import Hitman

from tests import oracle

Json = dict[str, Any]
Group = tuple[str, str]


def merged(facts: oracle.Facts, rule: str, subject: str) -> Group:
    """Merge tray places by stack."""
    stack, _, position = subject.partition("/")
    is_place = position.isdigit() and (stack, int(position)) in facts.place_order
    return rule, stack if is_place else subject


def broken_sets(job: Json) -> set[frozenset[Group]]:
    """Give the inclusion-minimal sets of groups that ways to place every splice break."""
    wide = copy.deepcopy(job)
    facts = oracle.Facts(job)
    for trunk in wide["trunks"]:
        trunk.update(ports="any", travel="either")
    rules: Json = {}
    for name, (kind, *_) in oracle.RULES.items():
        if kind != "always":
            rule = facts.rules[name]
            rules[name] = {"level": "prefer" if rule.level == "must" else "off", **rule.params}
    wide["rules"] = rules
    widened = oracle.Facts(wide)
    splices = {(s.a, s.a_fibre) for s in widened.splices}
    found: set[frozenset[Group]] = set()
    for made in oracle.all_feasible(widened):
        judged = oracle.judge(widened, made)
        if judged.goals[0]:
            continue
        groups = {merged(widened, rule, subject) for rule, level, subject in judged.broken if level == "prefer"}
        for trunk, option in made.trunks.items():
            if option is not None and option[0] not in facts.own_ports(trunk):
                groups.add(("allowed_ports", trunk))
            if option is not None and option[1] not in facts.own_travel(trunk):
                groups.add(("allowed_travel", trunk))
        found.add(frozenset(groups))
    assert splices
    return {groups for groups in found if not any(other < groups for other in found)}


def smallest_conflicts(broken: set[frozenset[Group]]) -> set[frozenset[Group]]:
    """Give every minimal hitting set of the broken sets, by a general-purpose solver."""
    if frozenset() in broken:
        return set()
    with Hitman(bootstrap_with=[sorted(groups) for groups in broken], htype="lbx") as hitman:
        return {frozenset(found) for found in hitman.enumerate()}
