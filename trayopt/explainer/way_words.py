"""Ways out in the crew's words: what is to be done, and how good the plan is that comes of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from trayopt.domain.base import SPLIT
from trayopt.domain.explanation import Addition, GoalValue, WayOut
from trayopt.domain.finding import Group
from trayopt.explainer.words import named
from trayopt.rules.words import listed, several
from trayopt.solver.model.groups import ALLOWED_PORTS, ALLOWED_TRAVEL, EXPECTED

ADDED: dict[str, Callable[[str, int | float | str], str]] = {
    "bench_mm": lambda _, mm: f"bring the bench nearer, to {mm:,} mm",
    "loops": lambda trunks, loops: f"let {trunks} make {several(int(loops), 'loop')}",
    "slack_mm": lambda trunks, mm: f"draw in {mm:,} mm of {trunks}",
    "exposed_mm": lambda trunks, mm: f"expose {mm:,} mm of {trunks}",
    "seal_holes": lambda ports, holes: f"give {ports} another seal, for {several(int(holes), 'cable')}",
    "bore_mm": lambda ports, mm: f"make the opening of {ports} larger, for a bore of {mm:g} mm",
    "opening_mm2": lambda guides, mm2: f"widen {guides} to {mm2:,} mm²",
    "trays": lambda stacks, more: f"put {several(int(more), 'more tray')} on {stacks}",
    "tray": lambda stacks, tray: f"put trays {tray} on {stacks}",
    "tubes": lambda _, tubes: f"use the tubes {tubes}",
    "divide_at": lambda trunks, where: f"let {trunks} be divided at the {str(where).replace(' or ', ' or at the ')}",
    "ribbons": lambda trunks, word: _work_on(trunks, word),
    "box": lambda _, box: f"take the box {box}",
    "enclosure": lambda box, trunks: f"put {trunks} into a second {box}",
}
"""What is done where something is added, by ``what``: subjects and amount."""
LIFTED: dict[str, Callable[[str], str]] = {
    ALLOWED_PORTS: lambda trunk: f"let {trunk} enter by any port",
    ALLOWED_TRAVEL: lambda trunk: f"let {trunk} travel either way",
}
"""What is done where a trunk's own limit is given up."""


def _work_on(trunks: str, word: int | float | str) -> str:
    """Say what is done with ribbons."""
    return f"split the ribbons of {trunks}" if word == SPLIT else f"re-ribbonise {trunks} into {word}"


def phrase(way: WayOut) -> str:
    """Say what a way out does, in a few words."""
    parts = []
    for rule, lifted in LIFTED.items():
        parts += [lifted(item.subject) for item in way.give_up if item.rule == rule]
    unexpected = [item.subject for item in way.give_up if item.rule == EXPECTED]
    if unexpected:
        parts.append(f"do not expect {listed(unexpected)}")
    others = [Group(item.rule, item.subject) for item in way.give_up if item.rule not in {*LIFTED, EXPECTED}]
    if others:
        parts.append("give up " + named(others))
    said = " and ".join([*parts, *_additions(way.add)])
    return said if way.least else f"{said}, or less: it was not settled in time"


def _additions(items: Iterable[Addition]) -> list[str]:
    """Say what is added, subjects with one amount together."""
    alike: dict[tuple[str, int | float | str], list[str]] = {}
    for item in items:
        alike.setdefault((item.what, item.amount), []).append(item.subject)
    return [ADDED[what](_each(subjects), amount) for (what, amount), subjects in alike.items()]


def _each(subjects: Sequence[str]) -> str:
    return f"each of {listed(subjects)}" if len(subjects) > 1 else listed(subjects)


def phrases(ways: Sequence[WayOut]) -> str:
    """Say several ways out that come to one edit."""
    first, *others = [phrase(way) or "change what is expected" for way in ways]
    return ", or ".join([first, *(other.removeprefix("give up ") for other in others)])


def outcome(goals: Sequence[GoalValue]) -> str:
    """Say how good the best plan found is: the goals that are proven, the first that is not, and what is behind it."""
    told = [goal for goal in goals if goal.goal not in {"unplaced", "broken_must"}]
    end = next((i for i, goal in enumerate(told) if not goal.proven), len(told))
    parts = [", ".join(f"{goal.goal} {goal.value:,}" for goal in told[:end])]
    if end < len(told):
        open_ = [f"{told[end].goal} {told[end].value:,}{_least(told[end])}"]
        open_ += [f"{goal.goal} {goal.value:,}" for goal in told[end + 1 :]]
        parts.append(f"not proven, the best that was found: {', '.join(open_)}")
    return "; ".join(part for part in parts if part)


def _least(goal: GoalValue) -> str:
    return "" if goal.bound is None else f" (at least {goal.bound:,})"


def by_edit(ways: Sequence[WayOut]) -> list[list[WayOut]]:
    """Give ways out that come to one edit together: a job file knows rules, not their subjects."""
    alike: dict[str, list[WayOut]] = {}
    for way in ways:
        alike.setdefault(way.edit, []).append(way)
    return list(alike.values())
