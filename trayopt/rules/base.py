"""What a rule is: a statement with three voices, check (plain data), encode (solver) and say (the crew's words)."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, ClassVar, Generic, NamedTuple, Protocol, TypeVar
from typing import Literal as Names

from trayopt.domain.base import Frozen, remade
from trayopt.domain.finding import Kind, Level
from trayopt.domain.hardware import Enclosure
from trayopt.domain.job import Job
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Constraint, Literal, Variables


class NoParameters(Frozen):
    """Parameters of a rule that has none."""


class Breach(NamedTuple):
    """A subject that breaks a rule, and one sentence with the numbers."""

    subject: str
    because: str


P = TypeVar("P", bound=Frozen)


class Post(Protocol):
    """Takes constraints of one rule: ``post(constraint, subject, when=literals)``.

    The constraint holds unless the subject's group is given up; ``when`` are literals that must all be true for it to
    count.
    """

    def __call__(self, constraint: Constraint, subject: str, when: tuple[Literal, ...] = ()) -> None:
        """Post one constraint for (rule, subject)."""


Agreed = Names["end", "division", "stack"]
"""What legs can have in common."""
Help = Names[
    "bench",
    "loops",
    "exposed",
    "slack",
    "seals",
    "trays",
    "tray_types",
    "tubes",
    "divide_at",
    "ribbons",
    "guides",
    "box",
]
"""What can be added to a job: a nearer bench, more loops, more of a trunk exposed, more slack of one that goes through, larger
seals, more or other trays, other tubes, division at the other place, ribbons that are split or made anew, wider guides,
another box."""


class Rule(ABC, Generic[P]):
    """A rule: what it asks of a plan, and all that is said of it elsewhere.

    Class attributes that each rule gives: ``id`` (as in job files), ``named`` (in words, where that is not the id), ``kind``,
    ``level`` and ``weight`` (defaults), ``subject`` (what its subjects are), ``statement`` (when it is broken, in one
    sentence), ``why`` and ``source``, and ``Parameters``. The others have defaults that do where nothing more is to be said.
    """

    id: ClassVar[str]
    named: ClassVar[str | None] = None
    kind: ClassVar[Kind]
    level: ClassVar[Level] = "must"
    weight: ClassVar[int] = 1
    subject: ClassVar[str]
    statement: ClassVar[str]
    why: ClassVar[str]
    source: ClassVar[str] = "common practice, no source"
    Parameters: ClassVar[type[Frozen]] = NoParameters

    speaks_of: ClassVar[str | None] = None
    """Key of a job without which it says nothing, where it came with that key; other jobs keep their digests."""
    blamed: ClassVar[int] = 100
    """Rank in which physical rules are blamed for a conflict: what a designer can change soonest comes first."""
    asked_for: ClassVar[bool] = False
    """Whether it holds only of what a job names itself, so that it is blamed with what the job asks for."""
    cost: ClassVar[str] = ""
    """Name of the cost of giving it up; where empty, that of its kind."""
    helped_by: ClassVar[frozenset[Help]] = frozenset()
    """What can be added to a job so that the rule is kept in it."""
    says_all: ClassVar[bool] = False
    """Whether ``need`` says all with its numbers, so that a plan that breaks the rule shows nothing more."""
    shows_all: ClassVar[bool] = False
    """Whether a plan that breaks the rule shows all, so that ``need`` says nothing more."""
    cells: ClassVar[tuple[str, ...]] = ("position", "tray", "stack", "fibres")
    """Columns of a table in which the cell to change stands, the first that there is."""
    way_cells: ClassVar[tuple[str, ...]] = ("port", "travel", "loops")
    """Columns of the ways of trunks in which a cell to change stands."""
    ways_only: ClassVar[bool] = False
    """Whether it is broken by the way of a trunk alone, wherever its legs lie."""
    of_ways: ClassVar[bool] = True
    """Whether the way of a trunk can matter to it, where every leg stays in its tray."""
    by_travel: ClassVar[bool] = False
    """Whether the way of a trunk decides too, though its subjects are tray places."""
    odd_by: ClassVar[Agreed | None] = None
    """In what the legs of a subject have to agree, so that the odd ones among them are what to change."""
    usual_words: ClassVar[Mapping[str, str]] = {}
    """What its usual parameters follow from, where they are no fixed figures."""
    kept_by_more: ClassVar[bool] = False
    """Whether a plan that seems to break it may keep it once more of its legs are known."""
    of_uncut: ClassVar[bool] = False
    """Whether a tube that passes uncut can break it, a subunit though it has no leg."""
    of_divisions: ClassVar[bool] = False
    """Whether it looks at how subunits are divided, which runs of splices do not tell before all of them are known."""

    @property
    def name(self) -> str:
        """Its name in messages: the id, or words for the rules that always hold."""
        return self.named or self.id

    def usual(self, box: Enclosure | None) -> dict[str, int | float]:
        """Give the parameters that a job has where it says nothing; those that follow from the box, only where it is known."""
        del box
        return {name: field.default for name, field in self.Parameters.model_fields.items()}

    def parameters(self, job: Job) -> P:
        """Give the rule's parameters in this job; they were validated when the job was read."""
        setting = job.rules.get(self.id)
        given = setting.parameters if setting else {}
        return self.Parameters.model_construct(None, **given)  # type: ignore[return-value]

    @abstractmethod
    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Yield every subject that is broken, in the order of the job, from plain data only."""

    @abstractmethod
    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Post what keeps each subject unbroken."""

    @abstractmethod
    def say(self, job: Job, subject: str) -> str:
        """Say in one sentence what the rule asks of a subject in this job: what is needed, what there is."""

    def applies(self, job: Job, subject: str) -> bool:
        """Whether a subject of the rule's kind can break it in this job at all."""
        del job, subject
        return True

    def need(self, job: Job, subject: str) -> str:
        """Say what the rule asks of a subject and what there is at best, where more can be said of that."""
        return self.say(job, subject)

    def short(self, job: Job) -> bool:
        """Whether a count of the whole box says by itself that it cannot be kept."""
        del job
        return False

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say to a reviewer in one sentence what to change in a plan that breaks it."""
        del laid
        said = self.say(job, subject).removeprefix(f"{subject}: ")
        return f"change what the plan decides of {subject} until this holds: {said}"

    def without(self, job: Job, subject: str) -> Job:
        """Give the job in which the rule is given up for a subject.

        Notes
        -----
        A job file knows rules, not their subjects: a rule that is given up for one subject is preferred from then on, so
        that the plan breaks it where it must and nowhere else.
        """
        del subject
        setting = job.rules[self.id]
        weight = setting.weight if setting.level == "prefer" else max(setting.weight, self.weight)
        prefer = remade(setting, level="prefer", weight=weight)
        return remade(job, rules={**job.rules, self.id: prefer})
