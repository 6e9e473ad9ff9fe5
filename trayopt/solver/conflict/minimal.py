"""Conflicts and ways out of them: smallest sets of groups that cannot stand together, or that are enough to give up."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from trayopt.domain.finding import Group
from trayopt.solver.conflict.feasibility import Groups, Trials
from trayopt.solver.conflict.hitting_sets import Cost

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
    """Find a smallest-in-itself set among some groups that cannot stand together; None where none was found.

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
    The groups are taken in the order of blame. The shortest beginning of that order that cannot stand together ends
    with a group of the set; that one is kept, and the same is asked of the groups before it, until those that are
    kept clash by themselves.
    """
    found: list[Group] = []
    pool = [group for group in trials.question.groups if group in set(among) - needed]
    if trials.possible(frozenset(pool) | needed) is not False:
        return None
    while True:
        kept = frozenset(found) | needed
        if trials.possible(kept) is False:
            break
        end = _first_clash(trials, kept, pool)
        if end == 0:
            break
        found.append(pool[end - 1])
        pool = pool[: end - 1]
    chosen = _without_idle(trials, [group for group in trials.question.groups if group in set(found)], needed)
    return Conflict(chosen, _proven(trials, frozenset(chosen), needed))


def _without_idle(trials: Trials, found: Sequence[Group], needed: Groups) -> tuple[Group, ...]:
    """Leave out what the clash does not need after all, what is blamed last first: a trial may not have been settled."""
    left = frozenset(found)
    for group in reversed(found):
        if trials.possible((left - {group}) | needed, SEARCH) is False:
            left -= {group}
    return tuple(group for group in found if group in left)


def _first_clash(trials: Trials, kept: Groups, pool: Sequence[Group]) -> int:
    """Give the length of the shortest beginning of the pool that clashes with what is kept; all of it is known to."""
    low, high = 0, len(pool)
    while low + 1 < high:
        middle = (low + high) // 2
        held = kept | frozenset(pool[:middle])
        answer = trials.possible(held, SEARCH)
        if answer is False:
            core = trials.core(held) or held
            high = max((i + 1 for i in range(middle) if pool[i] in core), default=0)
        else:
            plan = trials.plan(held)
            low = middle
            while plan is not None and low < high - 1 and pool[low] not in plan.broken:
                low += 1
    return high


def _proven(trials: Trials, chosen: Groups, needed: Groups) -> bool:
    """Whether it is proven that the set clashes and that no set without one of it does."""
    if trials.possible(chosen | needed) is not False:
        return False
    return all(trials.possible((chosen - {group}) | needed) is True for group in sorted(chosen))


def conflicts(trials: Trials, most: int) -> list[Conflict]:
    """Find conflicts that share no group, up to so many: each is a reason of its own."""
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
    """Find sets of groups to give up so that all others can be kept: the smallest first, the cheaper of equal ones.

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
    No set has a smaller one inside. A set is enough only if it hits every conflict, and if the ledger balances
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
