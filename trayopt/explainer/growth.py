"""How much more a box takes: the number of further trunks or subunits, and what stops the next trunk or subunit.

That so many fit is proven by a plan that places every splice and keeps every must, that one more does not by a refutation. Both
are asked of the whole job: what is built stays, everything else may be decided anew.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import islice
from typing import Literal, NamedTuple

from trayopt.domain.assignment import Assignment
from trayopt.domain.base import remade
from trayopt.domain.cable import Cable
from trayopt.domain.cablework import Subunit
from trayopt.domain.explanation import Explanation
from trayopt.domain.job import Job, Join
from trayopt.domain.ranges import Run
from trayopt.domain.trunk import Trunk
from trayopt.explainer.why_not import Wishes, trials_of, why_not
from trayopt.solver.conflict.feasibility import Trials
from trayopt.solver.heuristics.constructive import complete_plans, plans_past_a_port
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question

By = Literal["trunk", "subunit"]
MOST = 256
"""Most additions that are asked for: no box of this kind takes as many."""
WHY_PART = 0.4
"""Part of the time that is kept to say what stops the next addition, as long as a refutation may still come."""
EFFORT_PART = 0.2
"""Part of the limit that ways out may cost, as deterministic time; building their models takes up to three times as long."""
QUICK = 2.0
"""Deterministic time for numbers that only narrow the search down."""


class Addition(NamedTuple):
    """What is added: trunks of one cable, or one by one the subunits of such a trunk.

    They are joined to the spare fibres of the trunk ``to``, or, where it is None, to as many trunks of the same cable, fibre by
    fibre.
    """

    cable: Cable
    to: str | None = None
    by: By = "trunk"


@dataclass(frozen=True)
class Growth:
    """How much more fits: ``fits`` is None where not even the job as it is was proven to fit.

    ``settled`` tells that one more is proven not to fit. ``spare`` are the fibres that the trunk to which is joined has too few
    for one more, None where it is not that. ``job`` is the job with all that fits, ``assignment`` a plan of it; ``why`` says what
    stops the next one.
    """

    addition: Addition
    fits: int | None
    settled: bool
    job: Job
    assignment: Assignment | None
    why: Explanation | None = None
    spare: int | None = None

    @property
    def units(self) -> int:
        """How many subunits the cable has."""
        return sum(group.count for group in self.addition.cable.subunits)


def grow(job: Job, addition: Addition, clock: Clock, wishes: Wishes) -> Growth:
    """Find how much more fits, by doubling and halving, and say what stops the next one.

    Ways out get a part of the limit as their effort, so that the answer is not kept waiting for them.
    """
    if wishes.effort is None and clock.limit_s is not None:
        wishes = replace(wishes, effort=EFFORT_PART * clock.limit_s)
    search = _Search(job, addition, clock)
    least, most = 0, search.most + 1
    if not search.possible(0):
        settled = search.answers.get(0) is False
        why = why_not(trials_of(job, _rest(clock)), wishes) if settled else None
        return Growth(addition, None, settled, job, None, why)
    step = 1
    while least + step < most and search.possible(least + step, QUICK):
        least, step = least + step, 2 * step
    most = min(most, least + step)
    while most - least > 1:
        middle = (least + most) // 2
        if search.possible(middle, QUICK):
            least = middle
        else:
            most = middle
    while least < search.most and search.possible(least + 1):
        least += 1
    if least < search.most and search.answers[least + 1] is None:
        # There is no reason to tell yet: what was kept for it goes into the question.
        search.clock = replace(search.clock, reserve=lambda: 0.0)
        while least < search.most and search.possible(least + 1):
            least += 1
    grown = search.grown(least)
    found = Growth(addition, least, search.answers.get(least + 1) is False, grown, search.plans[least])
    if least >= search.most:
        return replace(found, settled=search.spare_left is not None, spare=search.spare_left)
    if not found.settled:
        return found
    more = search.grown(least + 1)
    known = () if clock.over else plans_past_a_port(more)
    return replace(found, why=why_not(trials_of(more, _rest(clock), known), wishes))


def _rest(clock: Clock) -> Clock:
    """Return the clock for the reason: all that is left."""
    return Clock(clock.limit_s, clock.deterministic, clock.started, clock.effort, clock.interrupted)


class _Search:
    """Asks whether numbers of additions fit."""

    def __init__(self, job: Job, addition: Addition, clock: Clock) -> None:
        self.job, self.addition = job, addition
        limit = clock.limit_s
        self.clock = replace(clock, reserve=lambda: 0.0 if limit is None else WHY_PART * limit)
        self.answers: dict[int, bool | None] = {}
        self.plans: dict[int, Assignment] = {}
        spare = None if addition.to is None else sum(last - first + 1 for first, last in spare_runs(job, addition.to))
        self.spare_left: int | None = None
        """Spare fibres that are left where they are too few for one more."""
        units = [unit.fibres for unit in _named(addition.cable, "new").units]
        sizes = units if addition.by == "subunit" else [sum(units)] * MOST
        self.most = len(sizes)
        if spare is not None:
            sums = [sum(sizes[: n + 1]) for n in range(len(sizes))]
            fitting = sum(total <= spare for total in sums)
            if fitting < len(sizes):
                self.most, self.spare_left = fitting, spare - (sums[fitting - 1] if fitting else 0)

    def grown(self, n: int) -> Job:
        """Return the job with ``n`` more trunks or subunits, as the addition says."""
        return grown(self.job, self.addition, n)

    def possible(self, n: int, effort: float | None = None) -> bool:
        """Whether this number of additions is proven to fit."""
        if self.answers.get(n) is None:
            question = Question(self.grown(n))
            trials, held = Trials(question, self.clock, effort), frozenset(question.groups)
            for plan in () if self.clock.over else complete_plans(question.job):
                trials.offer(plan)
            self.answers[n] = trials.possible(held)
            found = trials.plan(held)
            if found is not None:
                self.plans[n] = found.assignment
        return n in self.plans


def grown(job: Job, addition: Addition, n: int) -> Job:
    """Return a job with so many trunks or subunits more, joined as ``Addition`` says.

    Raises
    ------
    ValueError
        Where the trunk to which is joined has not as many spare fibres.
    """
    if not n:
        return job
    trunks: list[Trunk] = []
    joins: list[Join] = []
    sides = 1 if addition.to is not None else 2
    spare = iter(()) if addition.to is None else iter(_spare_fibres(job, addition.to))
    names = _free_names(job)
    for count in [n] if addition.by == "subunit" else [len(_named(addition.cable, "new").units)] * n:
        new = [_named(addition.cable, next(names)) for _ in range(sides)]
        trunks += new
        fibres = sum(unit.fibres for unit in new[0].units[:count])
        if addition.to is None:
            runs = [(Run(new[0].id, 1, fibres), Run(new[1].id, 1, fibres))]
        else:
            there = list(islice(spare, fibres))
            if len(there) < fibres:
                raise ValueError(f"{addition.to} has no {fibres} spare fibres")
            runs = list(_runs(addition.to, there, new[0].id))
        joins += [Join(a=a, b=b, name=f"{b.trunk} {i}") for i, (a, b) in enumerate(runs, start=1)]
    return remade(job, trunks=(*job.trunks, *trunks), joins=(*job.joins, *joins))


def _named(cable: Cable, name: str) -> Trunk:
    return Trunk.model_validate({"id": name, "cable": cable})


def _free_names(job: Job) -> Iterator[str]:
    number = 0
    while True:
        number += 1
        if f"new{number}" not in job.trunk_by_id:
            yield f"new{number}"


def _runs(trunk: str, fibres: list[int], other: str) -> Iterator[tuple[Run, Run]]:
    """Join fibres of a trunk to those of another from 1 up, as few runs as there are."""
    start = 0
    for i, fibre in enumerate(fibres):
        if i + 1 == len(fibres) or fibres[i + 1] != fibre + 1:
            yield Run(trunk, fibres[start], fibre), Run(other, start + 1, i + 1)
            start = i + 1


def spare_runs(job: Job, trunk: str) -> list[tuple[int, int]]:
    """Return the fibres of a trunk that are in no join, as runs; those of tubes that pass uncut are none of them."""
    found: list[tuple[int, int]] = []
    for unit in job.trunk_by_id[trunk].subunits:
        found += _between(unit, job.spliced[trunk, unit.number])
    return found


def _between(unit: Subunit, spliced: tuple[tuple[int, int], ...]) -> Iterator[tuple[int, int]]:
    at = unit.first
    for first, last in (*spliced, (unit.last + 1, unit.last + 1)):
        if at < first:
            yield at, first - 1
        at = last + 1


def _spare_fibres(job: Job, trunk: str) -> Iterator[int]:
    for first, last in spare_runs(job, trunk):
        yield from range(first, last + 1)
