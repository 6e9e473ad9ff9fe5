"""One run of the solver on one model: parameters, Ctrl-C, progress, and the solution read back as plain data."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from trayopt.domain.assignment import Assignment
from trayopt.domain.base import DivideAt
from trayopt.rules.variables import Literal
from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.cores import cores
from trayopt.solver.model.decisions import divided_at
from trayopt.solver.model.interruptible import (
    FOUND,
    Asked,
    new_solver,
    one_worker,
    size_effort,
    solve_interruptible,
    whole_bound,
)
from trayopt.solver.model.literals import lit
from trayopt.solver.model.model import Model

Watch = Callable[[int | None, int | None], None]
"""Called with the value and the bound of the goal in work, as they get better."""
Found = Callable[[Assignment], None]
"""Called with each plan that a run finds, while it goes on."""


COMPLETE_EFFORT = 5.0
"""Most deterministic time for working a plan out to every variable of a model."""
PROVERS = ("no_lp", "max_lp", "lb_tree_search", "core", "default_lp", "quick_restart")
"""Kinds of search that close in on a bound, the best first."""
FEW = 12.0
"""Most deterministic time for a proof by as many kinds as there are cores, or two: more kinds slow each other down. What these
do not prove in that time, one of the others often does."""
MANY = 8
"""Cores from which every kind of search has one of its own."""


@dataclass(frozen=True)
class Tuning:
    """How the solver searches."""

    workers: int = 8
    seed: int = 1
    prove: bool = False
    """Whether a good plan is known and the bound is what is missing."""
    slice_s: float | None = None
    """Most time for this run alone, in addition to the limit of the clock."""
    effort: float | None = None
    """Most deterministic time for this run alone: it ends at the same point whatever the machine."""
    every_plan: bool = False
    """Whether who watches is told of better plans as soon as a run finds them, and not only of the last one."""

    def left(self, effort: float, spent: float) -> Tuning | None:
        """Return what is left for a run after a part of it, by deterministic time and by time; None where nothing is left."""
        rest = None if self.effort is None else self.effort - effort
        slice_s = None if self.slice_s is None else self.slice_s - spent
        gone = any(most is not None and most <= 0 for most in (rest, slice_s))
        return None if gone else replace(self, effort=rest, slice_s=slice_s)

    @property
    def at_a_time(self) -> int:
        """How many questions of one worker each may be asked beside each other."""
        return 1 if self.workers == 1 else cores()


def is_within(gap: float | None, value: int, bound: int) -> bool:
    """Whether a bound is no farther from a value than is good enough, as a part of the value; no gap is never good enough."""
    return gap is not None and value - bound <= gap * max(1, value)


@dataclass(frozen=True)
class Outcome:
    """The outcome of a run of the solver.

    ``assignment`` is None where no solution was found; ``proven`` tells that the model has none, or that ``value`` is its
    optimum; ``bound`` is the solver's bound on the goal, None where it has none.
    """

    assignment: Assignment | None
    value: int | None
    bound: int | None
    proven: bool

    @property
    def infeasible(self) -> bool:
        """Whether the model was proven to have no solution."""
        return self.assignment is None and self.proven

    def within(self, gap: float | None) -> bool:
        """Whether the bound is no farther from the value than is good enough."""
        return self.value is not None and self.bound is not None and is_within(gap, self.value, self.bound)

    def after(self, before: Outcome) -> Outcome:
        """Return what is known after an earlier run on the same model, too."""
        if before.value is None:
            return self
        if self.value is None:
            return before
        best = self if self.value <= before.value else before
        bound = max(self.bound or 0, before.bound or 0)
        return Outcome(best.assignment, best.value, bound, best.value == bound)


def run(
    model: Model,
    clock: Clock,
    tuning: Tuning,
    watch: Watch | None = None,
    *,
    found: Found | None = None,
    gap: float | None = None,
    trial: cp_sat.CpModel | None = None,
) -> Outcome:
    """Solve a model as it stands (with or without an objective) inside the clock's limits.

    ``trial`` is a copy of the model with more constraints, to be solved in its place. A model that would take what is left by
    its size alone is not begun.
    """
    cp = trial or model.cp
    if clock.deterministic and clock.left is not None and clock.left <= size_effort(cp):
        clock.effort += size_effort(cp)
        return Outcome(None, None, None, proven=False)
    if not tuning.prove or tuning.workers == 1 or cores() >= MANY:
        return _run(model, cp, clock, tuning, (), watch=watch, found=found, gap=gap)
    begun, kinds = clock.spent, PROVERS[: tuning.workers - 1]
    few = kinds[: max(2, cores())]
    soon = tuning.effort if len(few) == len(kinds) else min(FEW, tuning.effort or FEW)
    first = _run(model, cp, clock, replace(tuning, effort=soon), few, watch=watch, found=found, gap=gap)
    left = None if soon is None else tuning.left(soon, clock.spent - begun)
    if first.proven or first.within(gap) or clock.over or left is None:
        return first
    if first.assignment is not None:
        hint_all(cp, model.solution)
    return _run(model, cp, clock, left, kinds, watch=watch, found=found, gap=gap).after(first)


def _run(
    model: Model,
    cp: cp_sat.CpModel,
    clock: Clock,
    tuning: Tuning,
    kinds: Sequence[str],
    *,
    watch: Watch | None,
    found: Found | None,
    gap: float | None,
) -> Outcome:
    """Run the solver once, with these kinds of search or with all that it has for so many workers.

    Of so many workers it keeps one for searches that only find plans: there is one more than there are kinds.
    """
    solver = new_solver(len(kinds) + 1 if kinds else tuning.workers, tuning.seed)
    p = solver.parameters
    p.symmetry_level = 1 if tuning.workers == 1 else 2
    p.subsolvers.extend(kinds)
    if gap is not None:
        p.relative_gap_limit = gap
    clock.limit(p, tuning.effort, tuning.slice_s)
    has_goal = cp.has_objective()
    seen = _Seen(model, watch if has_goal else None, found)
    if has_goal and watch is not None:
        solver.best_bound_callback = seen.on_bound

    status = solve_interruptible(solver, cp, clock, None if watch is None and found is None else seen)
    if status == cp_sat.MODEL_INVALID:
        raise AssertionError(f"invalid model: {cp.validate()}")
    if status not in FOUND:
        return Outcome(None, None, None, status == cp_sat.INFEASIBLE)
    model.solution = list(solver.response_proto.solution)
    value = round(solver.objective_value) if has_goal else None
    bound = whole_bound(solver.best_objective_bound) if has_goal else None
    return Outcome(read(model, solver), value, bound, status == cp_sat.OPTIMAL and value == bound)


def run_each(model: Model, trials: Sequence[cp_sat.CpModel], clock: Clock, tuning: Tuning) -> Iterator[Outcome]:
    """Minimise the goal of several copies of a model with one worker each, as many at a time as there are cores.

    The worker raises the bound by what cannot stand together: where little is open that is soonest done, and no plan is needed.
    """
    todo = deque(trials)
    begun: deque[Asked] = deque()
    try:
        while todo or begun:
            while todo and len(begun) < tuning.at_a_time and not clock.over:
                solver = one_worker(clock, tuning.effort, linearization_level=0)
                solver.parameters.random_seed = tuning.seed
                solver.parameters.optimize_with_core = True
                begun.append(Asked(solver, todo.popleft()))
            if not begun:
                return
            asked = begun.popleft()
            status = asked.wait(clock)
            infeasible = status == cp_sat.INFEASIBLE
            bound = None if infeasible else whole_bound(asked.solver.best_objective_bound)
            if status not in FOUND:
                yield Outcome(None, None, bound, infeasible)
            else:
                value = round(asked.solver.objective_value)
                yield Outcome(read(model, asked.solver), value, bound, value == bound)
    finally:
        while begun:
            begun.popleft().drop(clock)


class _Seen(cp_sat.SolutionCallback):
    """Passes values, bounds and plans on to the watcher."""

    def __init__(self, model: Model, watch: Watch | None, found: Found | None) -> None:
        super().__init__()
        self._model, self._watch, self._found = model, watch, found

    def on_solution_callback(self) -> None:
        if self._found is not None:
            self._found(read(self._model, self))
        if self._watch is not None:
            self._watch(round(self.objective_value), whole_bound(self.best_objective_bound))

    def on_bound(self, bound: float) -> None:
        if self._watch is not None:
            self._watch(None, whole_bound(bound))


def read(model: Model, solver: cp_sat.CpSolver | cp_sat.SolutionCallback) -> Assignment:
    """Read the decisions of a solution; nothing else of it is trusted."""
    job = model.job
    places = {}
    for bunch, legs in model.bunches.items():
        for rank, literal in enumerate(model.literals(bunch)):
            if solver.boolean_value(lit(literal)):
                places.update({leg: model.places[rank] for leg in legs})
    inside = job.inside(places)
    ways = {
        trunk.id: way
        for trunk in job.trunks
        if trunk.id in inside
        for way in model.ways(trunk)
        if solver.boolean_value(lit(model.goes(trunk, way)))
    }
    ends = {
        stack.id: end.id
        for stack in job.enclosure.stacks
        for end in stack.ends
        if solver.boolean_value(lit(model.end(stack.id, end.id)))
    }
    divide_at: dict[str, DivideAt] = {}
    for trunk in job.trunks:
        if trunk.id in inside:
            options = model.divide_options(trunk)
            at_port = len(options) > 1 and solver.boolean_value(lit(model.divided_at(trunk, "port")))
            divide_at[trunk.id] = "port" if at_port else options[0]
    ribbons = {
        trunk.id: word
        for trunk in job.trunks
        if trunk.id in inside and trunk.may_work_ribbons
        for word in trunk.ribbons
        if solver.boolean_value(lit(model.ribboned(trunk, word)))
    }
    return Assignment(ways, places, ends, divide_at, ribbons)


def hint(model: Model, assignment: Assignment) -> None:
    """Give the solver an assignment to start from; a literal that stands for several legs is named once."""
    job = model.job
    hints: list[tuple[Literal, bool]] = []
    for bunch, legs in model.bunches.items():
        at = assignment.places.get(legs[0])
        hints += [(literal, place == at) for place, literal in zip(model.places, model.literals(bunch), strict=True)]
    for trunk in job.trunks:
        hints += [(model.goes(trunk, way), assignment.ways.get(trunk.id) == way) for way in model.ways(trunk)]
        hints.append((model.divided_at(trunk, "port"), divided_at(job, assignment, trunk.id) == "port"))
        done = assignment.ribbons.get(trunk.id, trunk.ribbons[0])
        hints += [(model.ribboned(trunk, word), word == done) for word in trunk.ribbons]
    for stack in job.enclosure.stacks:
        used = assignment.ends.get(stack.id, stack.ends[0].id)
        hints += [(model.end(stack.id, end.id), end.id == used) for end in stack.ends]
    divided = {(leg.trunk, leg.subunit): leg.of for leg in assignment.places}
    for subunit in job.subunits:
        of = divided.get((subunit.trunk, subunit.number))
        if of is not None:
            hints += [(model.divided(subunit, k), k == of) for k in model.divisions(subunit)]
    model.cp.clear_hints()
    named = set()
    for literal, value in hints:
        if not isinstance(literal, int):
            index = literal.index if literal.index >= 0 else -literal.index - 1
            if index not in named:
                named.add(index)
                model.cp.add_hint(model.cp.get_bool_var_from_proto_index(index), value == (literal.index >= 0))


def complete(model: Model, assignment: Assignment, clock: Clock) -> None:
    """Work an assignment out to every variable of a model, so that a search can start from it whole.

    The decisions are held and the rest follows; where the model does not hold the assignment, it stays a loose hint.
    """
    hint(model, assignment)
    solver = new_solver()
    solver.parameters.fix_variables_to_their_hinted_value = True
    clock.limit(solver.parameters, COMPLETE_EFFORT)
    if solve_interruptible(solver, model.cp, clock) in FOUND:
        model.solution = list(solver.response_proto.solution)


def hint_last(model: Model) -> None:
    """Give the solver the last solution of this same model to start from, every variable of it."""
    hint_all(model.cp, model.solution)


def hint_all(cp: cp_sat.CpModel, solution: Sequence[int]) -> None:
    """Give the solver a value for every variable to start from."""
    cp.clear_hints()
    cp.hint_first(solution)
