"""Why a job cannot be had whole: conflicts, and the ways out of them, the cheapest first."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

from trayopt.domain.assignment import Assignment
from trayopt.domain.base import remade
from trayopt.domain.explanation import Addition, ConflictSaid, Explanation, GroupName, WayOut
from trayopt.domain.job import Job
from trayopt.errors import SolverFault
from trayopt.explainer.adding import additions
from trayopt.explainer.changes import Change, cost_of
from trayopt.explainer.costs import Costs
from trayopt.explainer.edits import edit_text, shared_out
from trayopt.explainer.giving_up import giving_up
from trayopt.explainer.proof import Prover, both
from trayopt.explainer.roots import root
from trayopt.explainer.summary import summary
from trayopt.explainer.trying import Shelf, Trying
from trayopt.explainer.way_words import GIVING_UP, UNSEEN
from trayopt.explainer.words import conflict_said
from trayopt.solver.conflict.feasibility import Trials
from trayopt.solver.conflict.minimal import Conflict, conflicts, corrections
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question

GIVING_UP_PART = 0.4
"""Part of the time that is left for what can be given up: what can be added costs less as a rule, and comes after."""


@dataclass(frozen=True)
class Proven:
    """A way out with the changed jobs, one for each box, and the best plan found of each."""

    way: WayOut
    jobs: tuple[Job, ...]
    plans: tuple[Assignment, ...]


@dataclass(frozen=True)
class Wishes:
    """How much to explain.

    Parameters
    ----------
    conflicts
        Most conflicts that share no group.
    ways_out
        Most sets of groups to give up; what can be added comes beside them. With 0 no ways out are looked for.
    costs, shelf
        What ways out cost, and the trays and tube sets at hand.
    effort
        Most deterministic time for ways out; kinds that are not looked at to the end by then are named. None for no limit.
    proven
        Told each way out that changes the job, with the jobs and plans that proved it.
    """

    conflicts: int = 1
    ways_out: int = 5
    costs: Costs = field(default_factory=Costs)
    shelf: Shelf = field(default_factory=Shelf)
    effort: float | None = None
    proven: Callable[[Proven], None] | None = None


def trials_of(job: Job, clock: Clock, known: Iterable[Assignment] = ()) -> Trials:
    """Begin the trials of a job's musts with plans that are known to place every splice."""
    trials = Trials(Question(job), clock)
    for assignment in known:
        trials.offer(assignment)
    return trials


def why_not(trials: Trials, wishes: Wishes, tell: Callable[[Explanation], None] = lambda _: None) -> Explanation:
    """Explain why not every must can be kept with every splice placed; an explanation without conflicts where it can.

    ``tell`` is told what is known as soon as it is: the conflicts, then each way out.
    """
    job = trials.question.job
    found = conflicts(trials, wishes.conflicts)
    made = Explanation(conflicts=_said(trials, found))
    tell(made)
    ways: list[WayOut] = []
    unseen: list[str] = []
    with trials.clock.turn(wishes.effort):
        for way in ways_out(job, trials, found, wishes, unseen) if found and wishes.ways_out else ():
            ways.append(way)
            made = remade(made, ways_out=tuple(ways))
            tell(made)
    return remade(made, unseen=tuple(UNSEEN[kind] for kind in unseen)) if unseen else made


def short(job: Job, clock: Clock, unplaced: int, broken: int, known: Iterable[Assignment] = ()) -> Explanation:
    """Return the first conflict alone, with its summary."""
    trials = trials_of(job, clock, known)
    found = conflicts(trials, 1)
    made = Explanation(conflicts=_said(trials, found))
    return remade(made, summary=summary(job, made, unplaced=unplaced, broken=broken))


def _said(trials: Trials, found: Iterable[Conflict]) -> tuple[ConflictSaid, ...]:
    said = [conflict_said(trials, one) for one in found]
    return tuple(one if one.groups else remade(one, root=_root(trials)) for one in said)


def _root(trials: Trials) -> str:
    """Say which facts of the job exclude by themselves that every splice is placed."""
    return root(trials, frozenset(), frozenset(), "every splice could be placed")


def ways_out(job: Job, trials: Trials, found: list[Conflict], wishes: Wishes, unseen: list[str]) -> Iterator[WayOut]:
    """Find ways out of conflicts and prove each; the cheapest come first.

    ``unseen`` is told the kinds that were not looked at to the end.
    """
    known = [frozenset(one.groups) for one in found]
    with _part_of_time(trials):
        dropped = corrections(trials, known, wishes.ways_out, lambda group: cost_of(group, wishes.costs))
        if trials.clock.turn_over:
            unseen.append(GIVING_UP)
    everything = frozenset(trials.question.groups)
    prover = Prover(trials.clock)
    prover.plans += [plan.assignment for groups in dropped if (plan := trials.plan(everything - groups)) is not None]
    changes = [giving_up(job, sorted(groups, key=trials.question.groups.index), wishes.costs) for groups in dropped]
    rules = frozenset(group.rule for groups in (*known, *dropped) for group in groups)
    trying = Trying(trials, wishes.shelf, prover, wishes.costs)
    changes += additions(trying, rules)
    unseen += trying.unseen
    ordered = sorted(changes, key=lambda change: (change.cost, len(change.give_up) + len(change.add)))
    yield from (way for change in ordered if (way := _proven(job, change, prover, wishes)) is not None)


def _proven(job: Job, change: Change, prover: Prover, wishes: Wishes) -> WayOut | None:
    """Put a change into words, and pass on the plans that proved it if the caller asked for them."""
    way = way_out(job, change, prover, wishes.shelf)
    if way is not None and wishes.proven is not None:
        jobs = (change.job, *change.others)
        wishes.proven(Proven(way, jobs, tuple(prover.best(changed) for changed in jobs)))
    return way


@contextmanager
def _part_of_time(trials: Trials) -> Iterator[None]:
    """Limit what is done inside to a part of the time and effort that are left, so that what comes after has its share."""
    whole, effort = trials.clock, trials.clock.share(GIVING_UP_PART)
    trials.clock = replace(
        whole,
        limit_s=None if whole.left is None else whole.spent + GIVING_UP_PART * whole.left,
        most_effort=None if effort is None else whole.effort + effort,
    )
    try:
        yield
    finally:
        whole.effort, whole.interrupted = trials.clock.effort, trials.clock.interrupted
        trials.clock = whole


def way_out(job: Job, change: Change, prover: Prover, shelf: Shelf) -> WayOut | None:
    """Put a change into words; None where it could not be proven in time."""
    goals = prover.goals(change.job)
    if goals is None:
        return None
    for other in change.others:
        more = prover.goals(other)
        if more is None:
            return None
        goals = tuple(both(one, another) for one, another in zip(goals, more, strict=True))
    if any(goal.value for goal in goals if goal.goal in {"unplaced", "broken_must"}):
        raise SolverFault("a way out does not lead out: its plan leaves splices unplaced or musts broken")
    return WayOut(
        give_up=tuple(GroupName(rule=group.rule, subject=group.subject) for group in change.give_up),
        add=tuple(Addition(what=item.what, subject=item.subject, amount=item.amount) for item in change.add),
        edit=_edit(job, change, shelf),
        goals=goals,
        cost=change.cost,
        least=change.least,
    )


def _edit(job: Job, change: Change, shelf: Shelf) -> str:
    if change.others:
        return shared_out(job, [change.job, *change.others], shelf.job_file)
    return edit_text(job, change.job, shelf.boxes, shelf.box_file, shelf.job_file)
