"""The explanation as plain text, for a terminal or a mail."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import fill

from trayopt.domain.explanation import (
    BoundSaid,
    ConflictSaid,
    ExpectedSaid,
    Explanation,
    GoalCost,
    PreferenceSaid,
    WayOut,
)
from trayopt.rules.words import listed

WIDTH = 100


def text(made: Explanation) -> str:
    """Write an explanation: its summary, then each part with a heading of its own."""
    parts = [fill(made.summary, WIDTH)]
    for i, conflict in enumerate(made.conflicts, start=1):
        parts.append("\n".join(_conflict(i, conflict)))
    if made.ways_out:
        parts.append("\n".join(_ways(made.ways_out)))
    if made.preferences:
        parts.append("\n".join(_preferences(made.preferences)))
    if made.bounds:
        parts.append("\n".join(_bounds(made.bounds)))
    if made.expected is not None:
        parts.append("\n".join(_expected(made.expected)))
    return "\n\n".join(parts)


def _conflict(i: int, conflict: ConflictSaid) -> Iterator[str]:
    proof = "minimal, proven" if conflict.minimal else "not proven minimal"
    yield f"Conflict {i} ({proof}): these cannot hold together"
    if not conflict.groups:
        yield "  nothing but what always holds"
    for item in conflict.groups:
        yield _item(_head(item.rule, item.subject, item.because), item.because)


def _ways(ways: Sequence[WayOut]) -> Iterator[str]:
    yield "Ways out, the cheapest first; each proven by a plan of the changed job"
    for i, way in enumerate(ways, start=1):
        head = [f"give up {item.rule} {item.subject}" for item in way.give_up]
        head += [f"{item.what} {item.subject}: {item.amount}" for item in way.add]
        yield f"  {i}. {'; '.join(head) or 'change what is expected'}"
        yield from (f"       {line}" for line in way.edit.splitlines())
        yield "       " + ", ".join(
            f"{goal.goal} {goal.value:,}" for goal in way.goals if goal.goal not in {"unplaced", "broken_must"}
        )


def _preferences(broken: Sequence[PreferenceSaid]) -> Iterator[str]:
    yield "Preferences that the best plan breaks"
    for item in broken:
        yield _item(_head(item.rule, item.subject, item.because), item.because)
        for against in item.against:
            yield _item(f"  against it: {_head(against.rule, against.subject, against.because)}", against.because)
        yield "    cannot be kept at all" if item.cost is None else f"    to keep it: {_costs(item.cost)}"


def _costs(costs: Sequence[GoalCost]) -> str:
    changed = [
        f"{cost.goal} {cost.value:,} to {cost.kept:,}{'' if cost.proven else ' at most'}"
        for cost in costs
        if cost.kept != cost.value
    ]
    return listed(changed) or "costs nothing"


def _bounds(bounds: Sequence[BoundSaid]) -> Iterator[str]:
    yield "What holds the goals up"
    for item in bounds:
        yield f"  {item.goal} {item.value:,}, proven at least {item.at_least:,}"
        yield from (_item("  ", because) for because in item.because)


def _expected(found: ExpectedSaid) -> Iterator[str]:
    answer = {True: "can be kept", False: "cannot be kept as a whole", None: "was not settled in time"}[found.possible]
    yield f"What is expected {answer}"
    if found.cost is not None:
        yield f"  against the best plan: {_costs(found.cost)}"
    yield from (_item("  ", line) for line in found.differences)


def _head(rule: str, subject: str, because: str) -> str:
    """Name a group, its subject only where the sentence does not begin with it."""
    return rule if because.startswith(subject) else f"{rule} {subject}"


def _item(head: str, body: str) -> str:
    lead = f"  {head}: " if head.strip() else f"  {head}"
    return fill(body, WIDTH, initial_indent=lead, subsequent_indent="      ")
