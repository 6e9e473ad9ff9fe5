"""The explanation document, schema ``trayopt/explanation/1``: why not, what to do, and why this."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, WrapValidator

from trayopt.domain.base import Frozen
from trayopt.domain.plan import GoalName
from trayopt.domain.said import Said

Sentence = Annotated[str, WrapValidator(lambda value, check: value if isinstance(value, Said) else check(value))]
"""A text that still knows what it was made of, as long as it is not written."""


class GroupSaid(Frozen):
    """A group of a conflict, and one sentence with the numbers: what is needed, what there is."""

    rule: str
    subject: str
    because: Sentence


class ConflictSaid(Frozen):
    """Groups that cannot hold together while every splice is placed; minimal only where that was proven by solving.

    Where there are no groups, ``root`` says which facts of the job exclude that every splice is placed; else it is empty.
    """

    groups: tuple[GroupSaid, ...]
    minimal: bool
    root: Sentence = ""


class GroupName(Frozen):
    """A group by its name."""

    rule: str
    subject: str


class Addition(Frozen):
    """Something added or changed, such as 6 trays on a stack; ``amount`` in the unit that ``what`` names."""

    what: str
    subject: str
    amount: int | float | str


class GoalValue(Frozen):
    """The value of one goal in the best plan that was found, and the least that is proven; null where nothing is.

    Where both meet no plan is better on this goal, those before it being equal.
    """

    goal: GoalName
    value: int
    bound: int | None = None

    @property
    def proven(self) -> bool:
        """Whether the value is proven to be the least."""
        return self.bound == self.value


class WayOut(Frozen):
    """A change after which every splice is placed and every must kept: proven by a plan of the changed job.

    ``edit`` is YAML: a document for each file, with what is to be merged into it. A key that it gives replaces the key,
    entries of lists with ids are told by their ids, and an entry that is to be taken out stands as a comment.
    ``cost`` orders ways out. ``least`` is off where it was not settled in time whether adding less would be enough.
    """

    give_up: tuple[GroupName, ...] = ()
    add: tuple[Addition, ...] = ()
    edit: str
    goals: tuple[GoalValue, ...]
    cost: int = 0
    least: bool = True


class GoalCost(Frozen):
    """What a goal becomes: its value in the plan, and where something is kept that the plan does not keep.

    ``proven`` tells that no plan that keeps it is better on this goal, those before it being equal.
    """

    goal: GoalName
    value: int
    kept: int
    proven: bool


class PreferenceSaid(Frozen):
    """A broken preference: what stands against it, and what keeping it would cost.

    ``because`` is how the plan breaks it, ``reason`` why it has to. ``possible`` tells whether a plan keeps it with
    every must; null where that was not settled in time. ``cost`` is null where no such plan is known. ``never`` tells that no
    plan of the job keeps it, whatever else is given up: it was never a choice.
    """

    rule: str
    subject: str
    because: Sentence
    reason: Sentence
    against: tuple[GroupSaid, ...]
    minimal: bool
    possible: bool | None
    cost: tuple[GoalCost, ...] | None
    never: bool = False


class ExpectedSaid(Frozen):
    """What became of an expected plan: whether it is possible, its cost against the best, and what makes the difference."""

    possible: bool | None
    cost: tuple[GoalCost, ...] | None
    differences: tuple[Sentence, ...]


class BoundSaid(Frozen):
    """What holds a goal up: a proven least value, and what forces it."""

    goal: GoalName
    value: int
    at_least: int
    because: tuple[Sentence, ...]


class Explanation(Frozen):
    """The explanation as in spec section 8.

    ``summary`` is one paragraph that can be forwarded. ``preferences``, ``expected`` and ``bounds`` are there only
    where they were asked for: the broken preferences of the best plan, a plan that was expected, and what holds each
    goal up. ``optimal`` tells whether the best plan is proven to be; null where there was none to explain.
    ``out_of_time`` tells that the clock ran out before all was looked for: there may be more, and cheaper, ways out.
    """

    schema_: Annotated[Literal["trayopt/explanation/1"], Field(alias="schema")] = "trayopt/explanation/1"
    summary: str = ""
    optimal: bool | None = None
    out_of_time: bool = False
    conflicts: tuple[ConflictSaid, ...] = ()
    ways_out: tuple[WayOut, ...] = ()
    preferences: tuple[PreferenceSaid, ...] | None = None
    expected: ExpectedSaid | None = None
    bounds: tuple[BoundSaid, ...] | None = None

    def plain(self) -> dict[str, Any]:
        """Give the explanation as plain data, without what was not asked for."""
        data = self.model_dump(mode="json", by_alias=True)
        for key in ("optimal", "preferences", "expected", "bounds"):
            if data[key] is None:
                del data[key]
        for conflict in data["conflicts"]:
            if not conflict["root"]:
                del conflict["root"]
        return data
