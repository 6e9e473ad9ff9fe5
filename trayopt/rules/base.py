"""What a rule is: a statement with three voices, check (plain data), encode (solver) and say (the crew's words)."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator
from typing import TYPE_CHECKING, ClassVar, Generic, NamedTuple, Protocol, TypeVar

from trayopt.domain.base import Frozen
from trayopt.domain.finding import Kind, Level
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


class Rule(ABC, Generic[P]):
    """One row of spec section 5.

    Class attributes: ``id`` (as in job files), ``named`` (in words, where that is not the id), ``kind``, ``level`` and
    ``weight`` (defaults), ``subject`` (what its subjects are), ``statement`` (when it is broken, in one sentence),
    ``why`` and ``source``, and ``Parameters``.
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

    @property
    def name(self) -> str:
        """Its name in messages: the id, or words for the rules that always hold."""
        return self.named or self.id

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
