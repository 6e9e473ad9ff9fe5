"""What keeping something would cost: the best of the plans that keep every must and some further groups or facts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from trayopt.domain.assignment import Assignment
from trayopt.domain.finding import Group
from trayopt.domain.plan import GoalName
from trayopt.goals.registry import measure_all
from trayopt.rules.registry import BY_ID
from trayopt.rules.variables import Linear
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.opposite_orders import encoded
from trayopt.solver.heuristics.descent import lexicographic
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import Divisions, Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.groups import Question, merged
from trayopt.solver.model.interruptible import FOUND, solve_one
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.run import Outcome, hint, read
from trayopt.solver.repair.completing import REST
from trayopt.solver.repair.fixed import fix
from trayopt.track.laid import Laid

SMALL = 6000
"""Literals up to which all divisions are left open, so that values can be proven."""


@dataclass
class Price:
    """The best plan found, its goals, and which of them are proven."""

    assignment: Assignment
    values: dict[GoalName, int]
    proven: set[GoalName] = field(default_factory=set)


def price(
    question: Question,
    held: Iterable[Group],
    start: Assignment,
    clock: Clock,
    *,
    beside: Iterable[Assignment] = (),
    effort: float = 1.0,
) -> Price:
    """Find the best plan that keeps every must and these groups of preferences and expectations.

    Parameters
    ----------
    question
        The job, and the facts that its expected groups stand for.
    held
        Groups at prefer, and expected groups, that are kept.
    start
        A plan that does; its goals are the price where nothing better is found.
    clock, effort
        When to stop, and the deterministic time for each goal.
    beside
        Plans whose divisions are open as well where the job is too large to leave all open.
    """
    job, kept = question.job, frozenset(held)
    open_ = Divider(job).open
    found = Price(start, measure_all(Laid(job, start)), {"unplaced", "broken_must"})
    _descend(question, kept, divisions_of((start, *beside)), found, clock, effort, sure=False)
    if sum(of for options in open_.values() for of in options) * len(job.enclosure.places) <= SMALL:
        _descend(question, kept, open_, found, clock, effort, sure=True)
    return found


def _descend(
    question: Question,
    kept: frozenset[Group],
    divisions: Divisions,
    found: Price,
    clock: Clock,
    effort: float,
    *,
    sure: bool,
) -> None:
    """Minimise goal after goal with these divisions; ``sure`` tells that they leave no plan out."""
    job = question.job
    model = build(job, Policy("hard", "soft"), all_placed=True, divisions=divisions)
    for group, literal in model.let_go.items():
        if merged(BY_ID[group.rule], group.subject) in kept:
            model.require(literal <= 0)
    for group, fact in question.expected.items():
        if group in kept:
            fix(model, fact)

    def minimise(goal: GoalName, expression: Linear) -> Outcome:
        model.require(expression <= found.values[goal])
        hint(model, found.assignment)
        status, solver = solve_one(model.cp, clock, effort)
        if status not in FOUND:
            return Outcome(None, None, None, proven=False)
        assignment = read(model, solver)
        values = measure_all(Laid(job, assignment))
        if tuple(values.values()) < tuple(found.values.values()):
            found.assignment, found.values = assignment, values
        return Outcome(assignment, values[goal], None, proven=status == cp_sat.OPTIMAL)

    for goal, outcome in lexicographic(model, REST, minimise, lambda goal: found.values[goal], encode=encoded):
        sure = sure and outcome.proven
        if sure:
            found.proven.add(goal)
        if clock.over:
            break


def divisions_of(assignments: Iterable[Assignment]) -> Mapping[Key, tuple[int, ...]]:
    """Return the divisions that plans use."""
    found: dict[Key, set[int]] = {}
    for assignment in assignments:
        for leg in assignment.places:
            found.setdefault((leg.trunk, leg.subunit), set()).add(leg.of)
    return {key: tuple(sorted(of)) for key, of in found.items()}
