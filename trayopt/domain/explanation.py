"""The explanation document, schema ``trayopt/explanation/1``: why there is no plan, what helps, and why this plan is best."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, WrapValidator

from trayopt.domain.base import Frozen
from trayopt.domain.plan import GoalName
from trayopt.domain.said import Said

Sentence = Annotated[str, WrapValidator(lambda value, check: value if isinstance(value, Said) else check(value))]
"""A text that keeps its form and values, so that it can be translated, until it is written to a file."""


class GroupSaid(Frozen):
    """A group of a conflict, with a sentence that compares what is needed with what there is."""

    rule: str
    subject: str
    because: Sentence


class ConflictSaid(Frozen):
    """Groups that cannot hold together while every splice is placed.

    ``minimal`` is true only if that was proven by solving. Without groups, ``root`` says which facts of the job exclude a
    plan that places every splice; otherwise ``root`` is empty.
    """

    groups: tuple[GroupSaid, ...]
    minimal: bool
    root: Sentence = ""


class GroupName(Frozen):
    """The name of a group: a rule and its subject."""

    rule: str
    subject: str


class Addition(Frozen):
    """Something added or changed, such as 6 trays on a stack; ``what`` names the unit of ``amount``."""

    what: str
    subject: str
    amount: int | float | str


class GoalValue(Frozen):
    """The value of one goal in the best plan that was found, and its proven lower bound; null if no bound is proven.

    If both are equal, no plan that is as good on the goals before is better on this goal.
    """

    goal: GoalName
    value: int
    bound: int | None = None

    @property
    def proven(self) -> bool:
        """Whether the value is proven to be the lowest."""
        return self.bound == self.value


class WayOut(Frozen):
    """A change of the job after which every splice is placed and every must is kept; a plan of the changed job proves it.

    ``edit`` is YAML: one document for each file, to be merged into that file. A key of the edit replaces the same key of
    the file, entries of lists are matched by their ids, and an entry to be taken out is written as a comment. Ways out are
    sorted by ``cost``. ``least`` is false if the time ran out before it was known whether adding less is enough.
    """

    give_up: tuple[GroupName, ...] = ()
    add: tuple[Addition, ...] = ()
    edit: str
    goals: tuple[GoalValue, ...]
    cost: int = 0
    least: bool = True


class GoalCost(Frozen):
    """A goal in two plans: its ``value`` in the best plan, ``kept`` in the best plan that keeps something the first does not.

    What is kept is a broken preference, or a plan that somebody expected. ``proven`` says that no plan that keeps it, and is as
    good on the goals before, is better on this goal.
    """

    goal: GoalName
    value: int
    kept: int
    proven: bool


class PreferenceSaid(Frozen):
    """A broken preference: what it conflicts with, and what keeping it would cost.

    ``because`` says how the plan breaks the preference, ``reason`` why it has to. ``possible`` says whether some plan keeps
    it together with every must; it is null if the time ran out first. ``cost`` is null if no such plan is known. ``never``
    says that no plan of the job keeps the preference, whatever else is given up: it was never a choice.
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
    """The verdict on an expected plan: whether it is possible, its cost against the best plan, and how the two differ."""

    possible: bool | None
    cost: tuple[GoalCost, ...] | None
    differences: tuple[Sentence, ...]


class BoundSaid(Frozen):
    """A lower bound of a goal, and the reasons that force it."""

    goal: GoalName
    value: int
    at_least: int
    because: tuple[Sentence, ...]


class Explanation(Frozen):
    """The explanation (spec, section 8).

    ``summary`` is one paragraph that can be forwarded. ``preferences``, ``expected`` and ``bounds`` are present only if
    they were asked for: the broken preferences of the best plan, the verdict on an expected plan, and the lower bound of
    each goal. ``optimal`` says whether the best plan is proven to be optimal; it is null if there was no plan to explain.
    ``out_of_time`` says that the time ran out before the search was complete: there may be more ways out, and cheaper ones.
    ``unseen`` names the kinds of ways out that were not looked at to the end within the effort for ways out.
    """

    schema_: Annotated[Literal["trayopt/explanation/1"], Field(alias="schema")] = "trayopt/explanation/1"
    summary: str = ""
    optimal: bool | None = None
    out_of_time: bool = False
    conflicts: tuple[ConflictSaid, ...] = ()
    ways_out: tuple[WayOut, ...] = ()
    unseen: tuple[Sentence, ...] = ()
    preferences: tuple[PreferenceSaid, ...] | None = None
    expected: ExpectedSaid | None = None
    bounds: tuple[BoundSaid, ...] | None = None

    def plain(self) -> dict[str, Any]:
        """Return the explanation as plain data, without what was not asked for."""
        data = self.model_dump(mode="json", by_alias=True)
        for key in ("optimal", "preferences", "expected", "bounds"):
            if data[key] is None:
                del data[key]
        if not self.unseen:
            del data["unseen"]
        for conflict in data["conflicts"]:
            if not conflict["root"]:
                del conflict["root"]
        return data
