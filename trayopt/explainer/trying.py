"""What every way out that adds something asks for: the job, what is at hand, what things cost, and whether a change is enough."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from trayopt.domain.base import remade
from trayopt.domain.hardware import Enclosure, Tray, TubeSet
from trayopt.domain.job import Job
from trayopt.domain.trunk import Trunk
from trayopt.explainer.changes import Added, Change
from trayopt.explainer.costs import Costs
from trayopt.explainer.proof import Prover
from trayopt.library.soundness import remarks
from trayopt.solver.conflict.feasibility import Trials


@dataclass(frozen=True)
class Shelf:
    """The parts of the library that ways out may use."""

    trays: Sequence[Tray] = ()
    tubes: Sequence[TubeSet] = ()
    boxes: Sequence[Enclosure] = ()
    box_file: str | None = None
    """The file of the job's own box, as the job names it; None where the box has none or is one of the library."""
    job_file: str | None = None
    """The file of the job; None where it has none."""


class Trying:
    """Trials of changes of a job: whether a change is enough."""

    def __init__(self, trials: Trials, shelf: Shelf, prover: Prover, costs: Costs) -> None:
        self.trials, self.job = trials, trials.question.job
        self.shelf, self.prover, self.costs = shelf, prover, costs
        self.unseen: list[str] = []
        """Kinds of ways out whose turn ended before all of them was looked at."""

    def enough(self, make: Callable[[int], Job]) -> Callable[[int], bool]:
        """Return the question whether a change by some amount is proven to be enough."""
        return lambda amount: self.prover.possible(make(amount)) is True

    def is_unsound(self, job: Job) -> bool:
        """Whether a changed box cannot be built as drawn, though the box that the job has can."""
        before = {remark.message for remark in remarks(self.job.enclosure) if remark.level == "error"}
        return any(remark.level == "error" and remark.message not in before for remark in remarks(job.enclosure))

    def spliced(self) -> list[Trunk]:
        """Return the trunks with a spliced fibre, and the other ends of those that go through."""
        spliced = self.job.inside(s.leg(1, 1) for s in self.job.subunits if self.job.spliced[s.trunk, s.number])
        return [trunk for trunk in self.job.trunks if trunk.id in spliced]

    def with_box(self, **parts: Any) -> Job:
        """Return the job with other parts of its box."""
        return remade(self.job, enclosure=remade(self.job.enclosure, **parts))

    def with_trunks(self, trunks: Sequence[Trunk], change: Callable[[Trunk], dict[str, Any]]) -> Job:
        """Return the job with some of its trunks changed."""
        ids = {trunk.id for trunk in trunks}
        return remade(self.job, trunks=tuple(remade(t, **change(t)) if t.id in ids else t for t in self.job.trunks))

    def change_trunks(
        self,
        able: Sequence[Trunk],
        change: Callable[[Trunk], dict[str, Any]],
        added: Callable[[Trunk], Added],
        cost: int,
    ) -> Iterator[Change]:
        """Yield the change of a single trunk if it is enough, else the change of all trunks."""
        found = False
        for trunk in able:
            job = self.with_trunks([trunk], change)
            if self.prover.possible(job):
                found = True
                yield Change(job, cost, add=(added(trunk),))
        if not found and len(able) > 1:
            job = self.with_trunks(able, change)
            if self.prover.possible(job):
                yield Change(job, cost * len(able), add=tuple(added(trunk) for trunk in able))
