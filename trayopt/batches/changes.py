"""Changes between the lines of two batches."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import Literal, NamedTuple, get_args

from trayopt.batches.outcomes import GOAL_WORDS, OUTCOMES
from trayopt.batches.results import Line, Results
from trayopt.domain.plan import GoalName

Way = Literal["better", "worse", "changed", "new", "gone"]
WAYS: tuple[Way, ...] = ("worse", "gone", "changed", "better", "new")
"""The kinds of change, in the order in which they are listed."""
RANK = {outcome: rank for rank, outcome in enumerate(OUTCOMES)}
GOALS: tuple[GoalName, ...] = get_args(GoalName)

MOST_CHANGES = 10_000
"""Greatest number of listed changes, without changes for the worse and gone jobs, which are all listed."""


class Change(NamedTuple):
    """The change of a job since the older run, in words."""

    name: str
    way: Way
    before: str
    after: str
    job_changed: bool


def changes_between(results: Results, older: Results) -> Iterator[Change]:
    """Yield the changes between lines of the same name."""
    for name in sorted({*results.starts, *older.starts}):
        change = _change(name, older.line(name), results.line(name))
        if change is not None:
            yield change


def counted_changes(changes: Iterable[Change], ways: Counter[str]) -> list[Change]:
    """Count changes, and return all changes for the worse and the first of the others, in the order of ``WAYS``."""
    told: list[Change] = []
    others = 0
    for change in changes:
        ways[change.way] += 1
        if change.way not in {"worse", "gone"}:
            others += 1
            if others > MOST_CHANGES:
                continue
        told.append(change)
    return sorted(told, key=lambda change: WAYS.index(change.way))


def _change(name: str, before: Line | None, after: Line | None) -> Change | None:
    if before is None or after is None:
        way: Way = "new" if before is None else "gone"
        return Change(name, way, (before and _said(before)) or "", (after and _said(after)) or "", False)
    goals = _shared(before, after)
    old, new = _result_rank(before, goals), _result_rank(after, goals)
    job_changed = before.get("digest") != after.get("digest")
    same_plan = before.get("plan_sha256") == after.get("plan_sha256")
    if old == new and (same_plan or not job_changed):
        return None
    way = "changed" if old == new else "better" if new < old else "worse"
    return Change(name, way, *_difference(before, after), job_changed)


def _shared(before: Line, after: Line) -> tuple[GoalName, ...]:
    """Return the goals with the same meaning in two lines; if one is from a run with other goals, only ``unplaced``."""
    former = any(line.get("goals") and not line["goals"].keys() >= set(GOALS) for line in (before, after))
    return GOALS[:1] if former else GOALS


def _result_rank(line: Line, shared: Sequence[GoalName]) -> tuple[int, list[int]]:
    """Return the rank of a line's result: the smaller, the better; seconds do not count."""
    goals = line.get("goals") or {}
    return RANK[line["outcome"]], [goals.get(goal, 0) for goal in shared]


def _said(line: Line) -> str:
    return OUTCOMES[line["outcome"]]


def _difference(before: Line, after: Line) -> tuple[str, str]:
    """Write the outcomes and goals that differ, before and after."""
    old, new = before.get("goals") or {}, after.get("goals") or {}
    parts: tuple[list[str], list[str]] = ([], [])
    if before["outcome"] != after["outcome"]:
        parts[0].append(_said(before))
        parts[1].append(_said(after))
    for goal in _shared(before, after):
        if old.get(goal) != new.get(goal) and goal in old and goal in new:
            parts[0].append(f"{old[goal]:,} {GOAL_WORDS[goal]}")
            parts[1].append(f"{new[goal]:,} {GOAL_WORDS[goal]}")
    if not parts[0]:
        return "another plan with the same figures", "another plan with the same figures"
    return ", ".join(parts[0]), ", ".join(parts[1])
