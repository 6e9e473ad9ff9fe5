"""Lower bounds with their authors: which goal, how much at least, who counted it, and for which plans.

A bound is plain data, so that any plan can refute it: a plan that meets what the bound takes for granted, by a recount, and is
better than the bound shows that its author has counted wrongly.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from trayopt.domain.assignment import Assignment
from trayopt.domain.plan import GoalName
from trayopt.domain.said import Said, said

OF_PLACES: frozenset[GoalName] = frozenset({"trays", "leg_length_mm", "irregular"})
"""Goals that depend on the places of legs: relaxations count all of them in the same way."""
ZERO = "zero"
"""The author of a bound that needs no proof: no goal is below 0."""
SEARCH = "search"
"""The author of a bound that the solver proved on a model; the model has every plan for which the bound holds."""

AUTHORS: Mapping[str, str] = {
    ZERO: "nothing being less than 0",
    SEARCH: "search",
    "tray_room": "counting the room of all trays",
    "rings": "counting what a ring of subunits leaves out",
    "stack_counts": "counting legs by stack",
    "placed_patterns": "choosing the groups of legs that are placed",
    "outline": "counting ways and stacks",
    "division": "counting divisions",
    "segments": "counting splices by tray",
    "settled_segments": "counting segments by tray",
    "set_partition": "counting closed patterns of legs",
    "pattern_counts": "counting trays",
    "round_counts": "counting subunits round by round",
    "place_counts": "counting legs by tray",
    "opposite_orders": "counting pairs in opposite orders",
    "strand_places": "placing legs in the orders that are left",
}
"""Every author of bounds, in words for the user: a goal is "proven by" them. Relaxations have the names of the registry."""


def proven_by(author: str | None) -> Said:
    """Say of a goal that meets its bound by whom it is proven; an author of a later version is called by its name."""
    if author is None or author == ZERO:
        return said("proven")
    return said("proven by {author}", author=said(AUTHORS[author]) if author in AUTHORS else author)


@dataclass(frozen=True)
class Given:
    """What a bound takes for granted of a plan: an upper limit for some of its goals.

    Every splice placed is ``unplaced`` at most 0, every must kept ``broken_must`` at most 0; a rule at prefer is kept where
    ``broken_prefer`` is below its weight.
    """

    at_most: Mapping[GoalName, int] = field(default_factory=dict)

    def met(self, values: Mapping[GoalName, int]) -> bool:
        """Whether a plan of these values meets it; goals that are not named do not."""
        return all(goal in values and values[goal] <= most for goal, most in self.at_most.items())

    def implies(self, other: Given) -> bool:
        """Whether every plan that meets this meets the other."""
        return _implied(self.at_most, other.at_most)

    def tightened(self, at_most: Mapping[GoalName, int]) -> Given:
        """Take more for granted beside."""
        tighter = {goal: min(most, self.at_most.get(goal, most)) for goal, most in at_most.items()}
        return Given({**self.at_most, **tighter})

    def __str__(self) -> str:
        """Say for which plans the bound holds."""
        complete = _implied(self.at_most, COMPLETE.at_most)
        limits = {g: n for g, n in self.at_most.items() if not (complete and g in COMPLETE.at_most)}
        words = ", ".join(f"{goal} at most {most:,}" for goal, most in limits.items())
        return f"{'complete' if complete else 'all'} plans{' with ' if words else ''}{words}"


def _implied(one: Mapping[GoalName, int], other: Mapping[GoalName, int]) -> bool:
    return all(goal in one and one[goal] <= most for goal, most in other.items())


ANY = Given()
"""Nothing is taken for granted: the bound holds of every plan."""
COMPLETE = Given({"unplaced": 0, "broken_must": 0})
"""Every splice is placed and every must kept."""


def up_to(weight: int, legs: int | None = None) -> Given:
    """Take for granted complete plans that break preferences of at most this weight and, if given, have at most so many legs."""
    limits: dict[GoalName, int] = {"broken_prefer": weight}
    return COMPLETE.tightened(limits if legs is None else {**limits, "legs": legs})


@dataclass(frozen=True)
class Bound:
    """A proven lower bound of a goal over all plans that meet what is given."""

    goal: GoalName
    value: int
    by: str
    given: Given = ANY

    def refuted(self, values: Mapping[GoalName, int]) -> bool:
        """Whether a plan of these values shows that the bound is wrong."""
        return values[self.goal] < self.value and self.given.met(values)

    def plain(self) -> dict[str, object]:
        """Return it as plain data."""
        return {"goal": self.goal, "bound": self.value, "by": self.by, "given": dict(self.given.at_most)}


@dataclass(frozen=True)
class Step:
    """One step of the trail: when it was made, and what it was, a bound or the values of a better plan."""

    seconds: float
    bound: Bound | None = None
    values: Mapping[GoalName, int] | None = None
    plan: Assignment | None = field(default=None, compare=False, repr=False)
    """What the better plan decides; it has no part in the trail as it is written."""

    def plain(self) -> dict[str, object]:
        """Return it as plain data."""
        said = {"values": dict(self.values)} if self.values is not None else {}
        return {"seconds": round(self.seconds, 4), **(self.bound.plain() if self.bound else {}), **said}

    def __str__(self) -> str:
        """Write it as a line of the trail."""
        if self.bound is not None:
            b = self.bound
            words = AUTHORS.get(b.by, b.by)
            return f"{self.seconds:7.1f} s  {b.goal:<14}  {b.value:>12,}  at least, by {words}: {b.given}"
        return (
            f"{self.seconds:7.1f} s  plan            {', '.join(f'{g} {n:,}' for g, n in (self.values or {}).items())}"
        )
