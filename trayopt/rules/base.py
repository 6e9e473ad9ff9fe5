"""The base class of rules: a statement, its check on plain data, its encoding for the solver, and its words for the crew."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, ClassVar, Generic, NamedTuple, Protocol, TypeAlias, TypeVar
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
    """A function that takes the constraints of a rule: ``post(constraint, subject, when=literals)``.

    The constraint binds unless the subject's group is given up. It applies only if all literals in ``when`` are true.
    """

    def __call__(self, constraint: Constraint, subject: str, when: tuple[Literal, ...] = ()) -> None:
        """Post one constraint for (rule, subject)."""


Agreed = Names["end", "division", "stack"]
"""Properties that legs can have in common."""
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
    """A rule: its demand on a plan, and every fact about the rule that other rooms need.

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
    """The key of a job that came with the rule. Without this key the rule says nothing, and the digest leaves it out."""
    blamed: ClassVar[int] = 100
    """The rank in the order of blame for a conflict: rules that a designer can change most easily come first."""
    asked_for: ClassVar[bool] = False
    """Whether the rule applies only to things that the job names, and so is blamed together with the wishes of the job."""
    cost: ClassVar[str] = ""
    """The name of the cost of giving the rule up; empty means the cost of its kind."""
    helped_by: ClassVar[frozenset[Help]] = frozenset()
    """The kinds of additions to a job that can help to keep the rule."""
    says_all: ClassVar[bool] = False
    """Whether the numbers of ``need`` say everything, so that a plan that breaks the rule adds nothing."""
    shows_all: ClassVar[bool] = False
    """Whether a plan that breaks the rule shows everything, so that ``need`` adds nothing."""
    cells: ClassVar[tuple[str, ...]] = ("position", "tray", "stack", "fibres")
    """Columns that may hold the cell to change; the first column that the table has counts."""
    way_cells: ClassVar[tuple[str, ...]] = ("port", "travel", "loops")
    """Columns for ways of trunks that may hold a cell to change."""
    ways_only: ClassVar[bool] = False
    """Whether the way of a trunk alone decides whether the rule is broken, wherever the legs lie."""
    of_ways: ClassVar[bool] = True
    """Whether the way of a trunk can matter to the rule while every leg stays in its tray."""
    by_travel: ClassVar[bool] = False
    """Whether the way of a trunk matters, although the subjects of the rule are tray places."""
    odd_by: ClassVar[Agreed | None] = None
    """The property in which all legs of a subject must agree; legs that differ from the others are those to change."""
    usual_words: ClassVar[Mapping[str, str]] = {}
    """The words for default parameters that are not fixed figures but follow from something."""
    kept_by_more: ClassVar[bool] = False
    """Whether an incomplete plan that breaks the rule may keep it once more legs are known."""
    of_uncut: ClassVar[bool] = False
    """Whether a tube that passes uncut, a subunit without legs, can break the rule."""
    of_divisions: ClassVar[bool] = False
    """Whether the rule looks at divisions of subunits, which a list of splices tells only once it is complete."""

    @property
    def name(self) -> str:
        """The name of the rule in messages: its id, or words for a rule that always holds."""
        return self.named or self.id

    def usual(self, box: Enclosure | None) -> dict[str, int | float]:
        """Return the default parameters; a default that follows from the box is included only if the box is known."""
        del box
        return {name: field.default for name, field in self.Parameters.model_fields.items()}

    def parameters(self, job: Job) -> P:
        """Return the rule's parameters in this job, which were validated when the job was read."""
        setting = job.rules.get(self.id)
        given = setting.parameters if setting else {}
        return self.Parameters.model_construct(None, **given)  # type: ignore[return-value]

    @abstractmethod
    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Yield every subject that breaks the rule, in the order of the job, from plain data only."""

    @abstractmethod
    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Post the constraints that keep each subject from breaking the rule."""

    @abstractmethod
    def say(self, job: Job, subject: str) -> str:
        """Say in one sentence what a subject needs by this rule, and what the job has."""

    def applies(self, job: Job, subject: str) -> bool:
        """Whether a subject can break the rule in this job at all."""
        del job, subject
        return True

    def need(self, job: Job, subject: str) -> str:
        """Say what a subject needs and what the job has at best, if this is more than ``say`` tells."""
        return self.say(job, subject)

    def short(self, job: Job) -> bool:
        """Whether a count of the whole box alone shows that no plan keeps the rule."""
        del job
        return False

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Tell a reviewer in one sentence what to change in a plan that breaks the rule."""
        del laid
        said = self.say(job, subject).removeprefix(f"{subject}: ")
        return f"change what the plan decides about {subject}, so that: {said}"

    def without(self, job: Job, subject: str) -> Job:
        """Return the job in which the rule is given up for a subject.

        Notes
        -----
        A job file names rules, not their subjects. So a rule that is given up for one subject becomes a preference, and
        the plan breaks it only where it has to.
        """
        del subject
        setting = job.rules[self.id]
        weight = setting.weight if setting.level == "prefer" else max(setting.weight, self.weight)
        prefer = remade(setting, level="prefer", weight=weight)
        return remade(job, rules={**job.rules, self.id: prefer})


AnyRule: TypeAlias = Rule[Any]
"""A rule, whatever its parameters are."""
