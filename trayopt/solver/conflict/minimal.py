"""Minimal unsatisfiable subsets of the groups, and minimal correction sets, which are enough to give up."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from trayopt.domain.finding import Group
from trayopt.solver.conflict.feasibility import Groups, Trials
from trayopt.solver.conflict.hitting_sets import Cost
from trayopt.solver.model.unsatisfiable import minimal_subset

SEARCH = 2.0
"""Deterministic time for the whole model in one step of the search; a step that is not settled counts as no clash."""


@dataclass(frozen=True)
class Conflict:
    """Groups that cannot hold together while every splice is placed, in the order in which they are blamed.

    ``minimal`` tells that both are proven: that there is no plan with all of them, and one without each of them.
    """

    groups: tuple[Group, ...]
    minimal: bool


def conflict(trials: Trials, among: Iterable[Group], needed: Groups = frozenset()) -> Conflict | None:
    """Find a minimal unsatisfiable subset of some groups; None where none was found.

    Parameters
    ----------
    trials
        Where groups are tried.
    among
        The groups; those that are blamed first are kept in the set where either of two explanations would do.
    needed
        Groups that are held whatever is tried; the set is one of those that clash with them, and does not name them.

    Notes
    -----
    See ``minimal_subset``.
    """
    wanted = set(among) - needed
    order = [group for group in trials.question.groups if group in wanted]
    found = minimal_subset(trials, order, needed, SEARCH)
    return None if found is None else Conflict(found.items, found.minimal)


def conflicts(trials: Trials, most: int) -> list[Conflict]:
    """Find conflicts that share no group, up to a number: each is a reason of its own."""
    found: list[Conflict] = []
    left = set(trials.question.groups)
    while len(found) < most and not trials.clock.over:
        one = conflict(trials, left)
        if one is None:
            break
        found.append(one)
        left -= set(one.groups)
        if not one.groups:
            break
    return found


def corrections(
    trials: Trials, known: Iterable[Groups], most: int, cost: Cost, among: Iterable[Group] | None = None
) -> list[Groups]:
    """Find minimal correction sets, which are enough to give up for all others to be kept: the smallest, then the cheapest first.

    Parameters
    ----------
    trials, known
        Where groups are tried, and conflicts that are known.
    most, cost
        Most sets, and what it costs to give up a group.
    among
        Groups that may be given up; all where None.

    Notes
    -----
    No set has a smaller one inside. A set is enough only if it hits every conflict, and if the counts by stack balance
    without it; the smallest that does both is tried. One that is not enough shows a conflict that it misses, which is
    made small and then known.
    """
    everything = frozenset(trials.question.groups)
    if any(not groups for groups in known):
        return []
    draft = trials.dropping(cost, everything if among is None else frozenset(among))
    for groups in known:
        draft.hit(groups)
    found: list[Groups] = []
    while len(found) < most and not trials.clock.over:
        candidate = draft.smallest(trials.clock)
        if candidate is None:
            break
        answer = trials.possible(everything - candidate)
        if answer is False:
            missed = conflict(trials, everything - candidate)
            if missed is None or not missed.groups:
                break
            draft.hit(frozenset(missed.groups))
            continue
        draft.miss(candidate)
        if answer is True:
            found.append(candidate)
    return found
