"""Ways out in the crew's words: what is to be done, and how good the plan is that comes of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from trayopt.domain.base import SPLIT
from trayopt.domain.explanation import Addition, GoalValue, WayOut
from trayopt.domain.finding import Group
from trayopt.domain.said import Said, said
from trayopt.explainer.words import named
from trayopt.rules.words import chained, listed, several
from trayopt.solver.model.groups import ALLOWED_PORTS, ALLOWED_TRAVEL, EXPECTED

ADDED: dict[str, Callable[[str, int | float | str], str]] = {
    "bench_mm": lambda _, mm: said("bring the bench nearer, to {mm:,} mm", mm=mm),
    "loops": lambda trunks, loops: said("let {trunks} make {loops}", trunks=trunks, loops=several(int(loops), "loop")),
    "slack_mm": lambda trunks, mm: said("draw in {mm:,} mm of {trunks}", mm=mm, trunks=trunks),
    "exposed_mm": lambda trunks, mm: said("expose {mm:,} mm of {trunks}", mm=mm, trunks=trunks),
    "seal_holes": lambda ports, holes: said(
        "give {ports} another seal, for {cables}", ports=ports, cables=several(int(holes), "cable")
    ),
    "bore_mm": lambda ports, mm: said(
        "make the opening of {ports} larger, for a bore of {mm:g} mm", ports=ports, mm=mm
    ),
    "opening_mm2": lambda guides, mm2: said("widen {guides} to {mm2:,} mm²", guides=guides, mm2=mm2),
    "trays": lambda stacks, more: said(
        "put {trays} on {stacks}", trays=several(int(more), "more tray"), stacks=stacks
    ),
    "tray": lambda stacks, tray: said("put trays {tray} on {stacks}", tray=tray, stacks=stacks),
    "tubes": lambda _, tubes: said("use the tubes {tubes}", tubes=tubes),
    "divide_at": lambda trunks, where: said(
        "let {trunks} be divided at {where}",
        trunks=trunks, where=chained([said(f"the {at}") for at in str(where).split(" or ")], "{first} or at {then}"),
    ),
    "ribbons": lambda trunks, word: _work_on(trunks, word),
    "box": lambda _, box: said("take the box {box}", box=box),
    "enclosure": lambda box, trunks: said("put {trunks} into a second {box}", trunks=trunks, box=box),
}  # fmt: skip
"""What is done where something is added, by ``what``: subjects and amount."""
GIVING_UP = "giving_up"
UNSEEN: dict[str, Said] = {
    GIVING_UP: said("rules that are given up"),
    "bench": said("a nearer bench"),
    "loops": said("more loops"),
    "exposed": said("more of a trunk exposed"),
    "slack": said("more slack"),
    "seals": said("other seals and ports"),
    "trays": said("more trays"),
    "tubes": said("other tubes"),
    "divide_at": said("division at the other place"),
    "ribbons": said("other ribbon work"),
    "tray_types": said("larger trays"),
    "guides": said("wider guides"),
    "box": said("another box"),
    "enclosure": said("a second box"),
}
"""Kinds of ways out, as they are named where they were not looked at to the end."""
GIVE_UP = "give up {groups}"
LIFTED: dict[str, Callable[[str], str]] = {
    ALLOWED_PORTS: lambda trunk: said("let {trunk} enter by any port", trunk=trunk),
    ALLOWED_TRAVEL: lambda trunk: said("let {trunk} travel either way", trunk=trunk),
}
"""What is done where a trunk's own limit is given up."""


def _work_on(trunks: str, word: int | float | str) -> str:
    """Say what is done with ribbons."""
    if word == SPLIT:
        return said("split the ribbons of {trunks}", trunks=trunks)
    return said("re-ribbonise {trunks} into {width}", trunks=trunks, width=word)


def phrase(way: WayOut) -> str:
    """Say what a way out does, in a few words."""
    parts = []
    for rule, lifted in LIFTED.items():
        parts += [lifted(item.subject) for item in way.give_up if item.rule == rule]
    unexpected = [item.subject for item in way.give_up if item.rule == EXPECTED]
    if unexpected:
        parts.append(said("do not expect {groups}", groups=listed(unexpected)))
    others = [Group(item.rule, item.subject) for item in way.give_up if item.rule not in {*LIFTED, EXPECTED}]
    if others:
        parts.append(said(GIVE_UP, groups=named(others)))
    done = chained([*parts, *_additions(way.add)], "{first} and {then}")
    return done if way.least else said("{done}, or less: it was not settled in time", done=done)


def _additions(items: Iterable[Addition]) -> list[str]:
    """Say what is added, subjects with one amount together."""
    alike: dict[tuple[str, int | float | str], list[str]] = {}
    for item in items:
        alike.setdefault((item.what, item.amount), []).append(item.subject)
    return [ADDED[what](_each(subjects), amount) for (what, amount), subjects in alike.items()]


def _each(subjects: Sequence[str]) -> str:
    return said("each of {subjects}", subjects=listed(subjects)) if len(subjects) > 1 else listed(subjects)


def phrases(ways: Sequence[WayOut]) -> str:
    """Put ways out with the same edit into words."""
    found = [phrase(way) or said("change what is expected") for way in ways]
    if all(isinstance(way, Said) and way.form == GIVE_UP for way in found):
        found[1:] = [way.values["groups"] for way in found[1:] if isinstance(way, Said)]
    return chained(found, "{first}, or {then}")


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
    """Group ways out by their edit: a job file knows rules, not their subjects."""
    alike: dict[str, list[WayOut]] = {}
    for way in ways:
        alike.setdefault(way.edit, []).append(way)
    return list(alike.values())
