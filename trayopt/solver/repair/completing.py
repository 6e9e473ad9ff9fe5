"""The best plan that keeps what is decided, places every splice and keeps every must."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from trayopt.domain.assignment import Assignment
from trayopt.domain.base import remade
from trayopt.domain.decision import Decision, EntersAt, GoesBy
from trayopt.domain.job import Job
from trayopt.domain.pins import LegPin, TrunkPin
from trayopt.domain.plan import GoalName
from trayopt.errors import InputError
from trayopt.goals.registry import measure_all
from trayopt.rules.bend_radius import BendRadius
from trayopt.rules.exposed import Exposed
from trayopt.rules.guide_fill import GuideFill
from trayopt.rules.judge import judge
from trayopt.rules.same_division import SameDivision
from trayopt.rules.variables import Expression
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.opposite_orders import encoded
from trayopt.solver.heuristics.descent import lexicographic
from trayopt.solver.model.base import Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.decisions import lying_in
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import Policy
from trayopt.solver.model.run import Outcome, Tuning, hint_last, run
from trayopt.solver.repair.fixed import coarsest, divisions_left, kept_model
from trayopt.solver.solve import Options, solve
from trayopt.track.laid import Laid

REST: tuple[GoalName, ...] = ("broken_prefer", "legs", "trays", "crossings", "leg_length_mm", "irregular")
"""Goals that are left where every splice is placed and every must kept."""
FINER_HELPS = frozenset({SameDivision.id, BendRadius.id, Exposed.id, GuideFill.id})
"""Rules that a plan may break less with more legs in the same trays: as many for all subunits, or thinner tubes."""
COARSE = 0.5
"""Plans of the fewest legs are asked for first where that leaves so many of the divisions; else it would take as long as all."""
BETTER = 2.0
"""Deterministic time to make a completion better, once one is known: that it is the best is another question."""
BETTER_S = 10.0
"""Seconds for the same where all that is given is pinned, so that the whole search can look for it."""
PROBE_S = 3.0
"""Seconds for a first look whether facts clash: most clashes show at once, and most plans are found otherwise."""


@dataclass
class Found:
    """What a search near to given decisions came to.

    ``assignment`` is None where no plan was found; ``impossible`` tells that it is proven that none keeps every must
    and what is fixed. ``bounds`` are proven bounds of the goals among the plans that were looked at.
    """

    assignment: Assignment | None = None
    impossible: bool = False
    bounds: dict[GoalName, int | None] = field(default_factory=dict)
    values: dict[GoalName, int] = field(default_factory=dict)


def complete(
    job: Job,
    fixed: Iterable[Decision],
    *,
    clash: Callable[[], bool] = lambda: False,
    clock: Clock | None = None,
    tuning: Tuning | None = None,
) -> Found:
    """Find a plan that keeps every must, places every splice and keeps what is fixed, and make it better for a while.

    Parameters
    ----------
    job, fixed
        The job, and what is fixed.
    clash
        Tells whether it can be shown soon that what is fixed clashes. It is asked before the search that takes longest.
    clock, tuning
        When to stop, and how to search.

    Notes
    -----
    Runs of splices say in which trays fibres lie, and not in which legs: plans of the fewest legs are asked for first.
    """
    clock, tuning, fixed = clock or Clock(), tuning or Tuning(), tuple(fixed)
    pinned = _pinned(job, fixed)
    if pinned is not None:
        divisions = Divider(job).narrowed(divisions_left(job, fixed)).open
        probe = kept_model(job, fixed, divisions, Policy("hard", "free"))
        first = run(probe, clock, replace(tuning, slice_s=PROBE_S)) if fixed else None
        if first is not None and first.infeasible:
            return Found(impossible=True)
        return _solved(job, pinned, clock, tuning, None if first is None else first.assignment)
    open_ = Divider(job).narrowed(divisions_left(job, fixed)).open
    coarse = coarsest(job, fixed, open_)
    few = _best_with(job, fixed, coarse, clock, tuning) if _choices(coarse) <= COARSE * _choices(open_) else Found()
    if few.assignment is not None:
        few.bounds = {goal: bound for goal, bound in few.bounds.items() if goal in {"unplaced", "broken_must"}}
        if not FINER_HELPS & {finding.rule for finding in judge(job, Laid(job, few.assignment))}:
            return few
    elif clash():
        return Found(impossible=True)
    with clock.turn(None if few.assignment is None else BETTER):
        found = _best_with(job, fixed, open_, clock, tuning)
    return few if found.assignment is None and few.assignment is not None else found


def _choices(divisions: Mapping[Key, Sequence[int]]) -> int:
    return sum(map(len, divisions.values()))


def _best_with(
    job: Job, fixed: Sequence[Decision], divisions: Mapping[Key, Sequence[int]], clock: Clock, tuning: Tuning
) -> Found:
    """Find a good plan with these divisions."""
    model = kept_model(job, fixed, divisions)
    outcome = run(model, clock, tuning)
    if outcome.assignment is None:
        return Found(impossible=outcome.infeasible)
    found = Found(outcome.assignment)
    with clock.turn(BETTER):
        descend(job, model, found, clock, tuning)
    return found


def _pinned(job: Job, facts: Sequence[Decision]) -> Job | None:
    """Return the job with the facts as built pins; None where they say what no pin says, or where pins stand already."""
    pins: dict[str, LegPin | TrunkPin] = {}
    for fact in facts:
        pin = _pin(job, fact)
        if pin is None:
            return None
        if isinstance(pin, LegPin | TrunkPin) and pins.setdefault(pin.subject, pin) != pin:
            return None
    if any(pin.subject in pins for pin in job.pins):
        return None
    return remade(job, pins=(*job.pins, *pins.values()))


def _pin(job: Job, fact: Decision) -> LegPin | TrunkPin | bool | None:
    """Return the pin that says what a fact does; True where there is nothing to say, None where no pin says it."""
    if isinstance(fact, EntersAt):
        stack = job.enclosure.stack_by_id.get(fact.stack)
        return True if stack is not None and [end.id for end in stack.ends] == [fact.end] else None
    trunk = job.trunk_by_id.get(fact.trunk)
    if trunk is None:
        return None
    if isinstance(fact, GoesBy):
        return TrunkPin(
            trunk=fact.trunk,
            port=fact.port,
            travel=fact.travel,
            loops=fact.loops,
            divide_at=fact.divide_at,
            ribbons=fact.ribbons,
            built=True,
        )
    if not fact.leg or fact.place not in job.enclosure.place_rank or fact.last > trunk.cable.fibres:
        return None
    if not lying_in(job, fact):
        return True
    if trunk.subunit_of(fact.first).leg_of_run(fact.first, fact.last) is None:
        return None
    return LegPin(leg=fact.run, stack=fact.place.stack, position=fact.place.position, built=True)


def _solved(job: Job, pinned: Job, clock: Clock, tuning: Tuning, start: Assignment | None) -> Found:
    """Solve a job with facts as built pins from a plan, if one is known; the answer counts only if it keeps every must."""
    limit_s = clock.left if start is None else min(BETTER_S, clock.left or BETTER_S)
    options = Options(time_limit_s=limit_s, workers=tuning.workers, seed=tuning.seed, start=start)
    try:
        solution = solve(pinned, options)
    except InputError:
        return Found(impossible=True)
    if solution.status == "none":
        return Found(impossible=solution.stopped == "proven")
    values = measure_all(Laid(job, solution.assignment))
    if values["unplaced"] or values["broken_must"]:
        return Found(impossible=bool(solution.bounds.get("unplaced") or solution.bounds.get("broken_must")))
    return Found(solution.assignment, bounds=solution.bounds, values=values)


def descend(job: Job, model: Model, found: Found, clock: Clock, tuning: Tuning) -> None:
    """Minimise the remaining goals in their order, holding the model to each value."""
    found.bounds = {"unplaced": 0, "broken_must": 0}
    best = found.assignment
    assert best is not None
    found.values = values = measure_all(Laid(job, best))

    def minimise(goal: GoalName, expression: Expression) -> Outcome:
        nonlocal best, values
        del goal, expression
        hint_last(model)
        outcome = run(model, clock, tuning)
        if outcome.assignment is not None:
            measured = measure_all(Laid(job, outcome.assignment))
            if list(measured.values()) <= list(values.values()):
                best, values = outcome.assignment, measured
                found.assignment, found.values = best, values
        return outcome

    sure = True
    for goal, outcome in lexicographic(model, REST, minimise, lambda goal: values[goal], encode=encoded):
        found.bounds[goal] = outcome.bound if sure else None
        sure = sure and outcome.proven
        if clock.over:
            break
