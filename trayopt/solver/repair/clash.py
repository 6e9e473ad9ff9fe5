"""Which of several decisions are in each other's way: a minimal set of them that no plan keeps with every must."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import chain

from trayopt.domain.assignment import Assignment
from trayopt.domain.decision import Decision, EntersAt
from trayopt.domain.job import Job
from trayopt.domain.tied import tied
from trayopt.solver.bounds.division import Divider, Settled
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import meets
from trayopt.solver.model.interruptible import FOUND, one_worker, solve_interruptible, solve_one
from trayopt.solver.model.posting import Policy
from trayopt.solver.model.run import read
from trayopt.solver.model.unsatisfiable import Memory, minimal_subset
from trayopt.solver.repair.fixed import divisions_left, fix, kept_model
from trayopt.solver.repair.told import contradiction

GLANCE = 1.0
"""Deterministic time for a look for a plan with settled divisions, and for a first question about suspects."""
SEARCH = 3.0
"""Deterministic time for the whole model in one question: with few divisions open most clashes show in less."""
SMALLER = 2.0
"""Deterministic time to make a known clash smaller and to prove that each part is needed: then it is named as it is."""
SUSPECTS = 0.5
"""Part of it for questions about suspects."""
ALL = 0.5
"""The same where neither a refutation of all nor suspects tell a part from the rest: few questions are then answered."""
FEW = 20
"""So many groups are made fewer in questions that are soon answered."""
CORE = 1.5
"""Deterministic time for the question which groups a refutation of all of them uses."""
PART = 0.25
"""Most of what is left of the limit for one question."""


@dataclass(frozen=True)
class Clash:
    """Groups of facts, by index, that cannot hold together; none where no plan keeps every must without them either.

    ``minimal`` tells that each of them is needed for it, proven by solving.
    """

    groups: tuple[int, ...]
    minimal: bool


def clash(facts: Facts, suspects: Iterable[Iterable[int]] = ()) -> Clash:
    """Find a set of groups of facts that clash: no plan keeps them and every must.

    Parameters
    ----------
    facts
        Groups of facts: it is proven that no plan keeps all of them and every must.
    suspects
        Groups, by index, that may be enough: those that a rule names which they break. They are asked about in this order where
        the solver does not tell which groups it needs to refute all of them.

    Notes
    -----
    Where the clock of the facts runs out the set is larger than it need be, and not called minimal.
    """
    everything = frozenset(range(len(facts.groups)))
    facts.note(everything, False)
    first = tuple(sorted(facts.clashing or everything))
    with facts.clock.turn(SMALLER):
        if len(first) == len(everything):
            first = _among_suspects(facts, suspects) or first
        with facts.clock.turn(ALL if len(first) == len(everything) > FEW else facts.clock.share(1.0)):
            found = minimal_subset(facts, first, most=SEARCH)
    assert found is not None  # all of them are known to clash
    return Clash(found.items, found.minimal)


def _among_suspects(facts: Facts, suspects: Iterable[Iterable[int]]) -> tuple[int, ...] | None:
    """Find the first suspects that clash by themselves."""
    with facts.clock.turn(facts.clock.share(SUSPECTS)):
        for some in dict.fromkeys(tuple(sorted(set(some))) for some in suspects):
            if some and facts.possible(frozenset(some), GLANCE) is False:
                return some
    return None


class Facts(Memory[int]):
    """Says which groups of facts can hold together, by solving; a plan answers for all groups that it keeps.

    Parameters
    ----------
    job, groups
        The job, and groups of facts.
    clock
        When to stop.
    """

    def __init__(self, job: Job, groups: Sequence[Sequence[Decision]], clock: Clock | None = None) -> None:
        super().__init__()
        self.job, self.groups, self.clock = job, groups, clock or Clock()

    @cached_property
    def counted(self) -> frozenset[int] | None:
        """Groups, by index, of which counting shows that they clash; None where it shows nothing."""
        found = contradiction(self.job, self.groups, self._divider.open)
        if found is not None:
            self.note(found, False)
        return found

    @cached_property
    def clashing(self) -> frozenset[int] | None:
        """Groups, by index, that clash by counting or by a refutation of all of them; None where none was found soon."""
        return self._core_of_all() if self.counted is None else self.counted

    def possible(self, held: frozenset[int], most: float | None = None) -> bool | None:
        """Whether a plan that keeps every must keeps these groups."""
        known = self.known(held)
        if known is not None or self.clock.over:
            return known
        facts = [fact for i in sorted(held) for fact in self.groups[i]]
        divider = self._divider.narrowed(divisions_left(self.job, facts))
        settled = divider.settle()
        if settled is None:
            return self.note(held, False)
        plan = None
        for divisions in self._drafts(divider, settled, facts):
            plan, _ = self._look(facts, divisions, GLANCE)
            if plan is not None:
                break
        else:
            plan, none = self._look(facts, divider.open, SEARCH if most is None else most)
            if none:
                return self.note(held, False)
        return None if plan is None else self.note(held | self._kept(plan), True)

    def _core_of_all(self) -> frozenset[int] | None:
        """Ask the solver which groups its refutation of all of them uses; None where it refutes them not soon enough.

        Each group holds under a guard in a model of all divisions, so that those that are given clash by themselves.
        """
        model = kept_model(self.job, (), self._divider.open, Policy("hard", "free"))
        guards = {}
        for i, facts in enumerate(self.groups):
            guard = model.cp.new_bool_var(f"group {i}")
            guards[guard.index] = i
            for fact in facts:
                fix(model, fact, guard)
        model.cp.add_assumptions([model.cp.get_bool_var_from_proto_index(index) for index in guards])
        solver = one_worker(self.clock, CORE, linearization_level=0, part=PART)
        solver.parameters.cp_model_presolve = False  # takes longer than the search: it may not use what is assumed
        if solve_interruptible(solver, model.cp, self.clock) != cp_sat.INFEASIBLE:
            return None
        found = frozenset(guards[i] for i in solver.sufficient_assumptions_for_infeasibility() if i in guards)
        self.note(found, False)
        return found

    def broken(self, held: frozenset[int]) -> frozenset[int] | None:
        """Return the groups that a known plan breaks that keeps these."""
        kept = next((kept for kept in self.kept if held <= kept), None)
        return None if kept is None else frozenset(range(len(self.groups))) - kept

    def _drafts(
        self, divider: Divider, settled: Settled, facts: Sequence[Decision]
    ) -> Iterator[Mapping[Key, Sequence[int]]]:
        """Yield divisions to look for a plan with: of least legs, then finer ones beside what is spliced to divided subunits."""
        yield settled.divisions
        near = {self._tied[key] for key in divisions_left(self.job, facts) if key in self._tied}
        beside = {key: of for key, of in settled.divisions.items() if self._tied[key] in near}
        for even in divider.even():
            draft = {**even, **beside}
            if draft != settled.divisions:
                yield draft

    @cached_property
    def _divider(self) -> Divider:
        return Divider(self.job)

    @cached_property
    def _tied(self) -> Mapping[Key, int]:
        """Number the subunits, with one number for those that splices connect."""
        pairs = [
            (
                (piece.a.trunk, self.job.trunk_by_id[piece.a.trunk].subunit_of(piece.a.first).number),
                (piece.b.trunk, self.job.trunk_by_id[piece.b.trunk].subunit_of(piece.b.first).number),
            )
            for piece in self.job.pieces
        ]
        return tied(chain.from_iterable(pairs), pairs)

    def _look(
        self, facts: Sequence[Decision], divisions: Mapping[Key, Sequence[int]], effort: float
    ) -> tuple[Assignment | None, bool]:
        """Look for a plan with these divisions, and return whether it is proven that there is none."""
        if self.clock.over:
            return None, False
        model = kept_model(self.job, facts, divisions, Policy("hard", "free"))
        status, solver = solve_one(model.cp, self.clock, effort, part=PART)
        return read(model, solver) if status in FOUND else None, status == cp_sat.INFEASIBLE

    def _kept(self, plan: Assignment) -> frozenset[int]:
        """Return the groups that a plan keeps."""
        return frozenset(
            i
            for i, facts in enumerate(self.groups)
            if all(_in_job(self.job, fact) and meets(self.job, fact, plan) for fact in facts)
        )


def _in_job(job: Job, fact: Decision) -> bool:
    """Whether a fact speaks of what the job has."""
    if isinstance(fact, EntersAt):
        return fact.stack in job.enclosure.stack_by_id
    trunk = job.trunk_by_id.get(fact.trunk)
    return trunk is not None and getattr(fact, "last", 1) <= trunk.cable.fibres
