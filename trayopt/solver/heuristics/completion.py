"""What stretches say of a job: bounds on its first goals, divisions that are left, and layouts to work a plan out from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from time import monotonic
from typing import Generic, TypeVar

from trayopt.domain.assignment import Assignment
from trayopt.domain.hardware import Place
from trayopt.domain.plan import GoalName
from trayopt.rules.variables import Constraint, Expression, Literal
from trayopt.solver.bounds.segment_counts import MOST_COUNTS
from trayopt.solver.bounds.segments import Segments
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import Divisions, Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.interruptible import FOUND, Asked, one_worker, solve_interruptible, whole_bound
from trayopt.solver.model.literals import linear, lit, total
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import build
from trayopt.solver.model.run import hint_all
from trayopt.solver.model.ways import Partings

EFFORT = 12.0
"""Most deterministic time for one answer."""
MOST_EFFORT = 30.0
"""The same for an answer on which all later proofs depend, or which settles several questions at once."""
MANY = 2.0
"""Most deterministic time for a layout with as many new divisions as possible; after that, a single new division is
enough.
"""
QUIET_S = 1.0
"""Seconds without a better layout after which the best one is taken to stay."""


@dataclass(frozen=True)
class Likeness:
    """A question under way, whether any layout is divided otherwise than a plan."""

    asked: Asked
    divisions_of_plan: Divisions
    clock: Clock

    def divisions(self) -> Divisions | None:
        """Return the divisions of the plan if no layout has others; None if some layout has, or if that was not proven."""
        return self.divisions_of_plan if self.asked.wait(self.clock) == cp_sat.INFEASIBLE else None

    def drop(self) -> None:
        """Ask no further."""
        self.asked.drop(self.clock)


B = TypeVar("B", bound=Segments)


@dataclass(frozen=True)
class RelaxedSolution:
    """Divisions, where trunks are divided, and how many fibres of either side of each stretch lie at each place."""

    divisions: Divisions
    divide_at: Partings
    fibres: Mapping[tuple[int, Place], int]

    def like(self, other: RelaxedSolution) -> bool:
        """Whether the same is divided at the same places."""
        return (self.divisions, self.divide_at) == (other.divisions, other.divide_at)


@dataclass(frozen=True)
class Answer:
    """A proven bound on what was asked for, None if there is no such plan; and the best layout that was found, with its value."""

    bound: int | None
    value: int | None = None
    layout: RelaxedSolution | None = None


class RelaxedModel(Generic[B]):
    """What a model of stretches is asked: every question is put to a copy of it with conditions of its own."""

    def __init__(self, blocks: B, clock: Clock, *, use: bool = True) -> None:
        self.blocks = blocks
        self.clock = clock
        self.made = use and self.blocks.size <= MOST_COUNTS
        """Whether blocks could be counted and are to be used; where they are too many, nothing may be asked."""
        self.last: list[int] = []
        """Every variable of the last layout."""
        self._linear = 1
        """The share of the model that its linear relaxation includes (the solver's linearization level)."""
        self._whole: tuple[RelaxedSolution, Model] | None = None
        """The layout that was worked out last, and the whole model of its divisions."""
        self._denied: list[tuple[RelaxedSolution, Mapping[GoalName, int]]] = []
        """Layouts of whose divisions no plan was within some limits."""

    def least(
        self, goal: Expression, *held: Constraint, at_least: int = 0, below: int | None = None, effort: float = EFFORT
    ) -> Answer:
        """Bound a goal from below over layouts that meet some conditions.

        ``at_least`` is a bound that is known; values from ``below`` up are of no use, so it is the bound where there is none
        under it. ``effort`` is the most deterministic time for it.
        """
        return self.ask(goal, *held, at_least=at_least, below=below, effort=effort).answer()

    def ask(
        self, goal: Expression, *held: Constraint, at_least: int = 0, below: int | None = None, effort: float = EFFORT
    ) -> Query[B]:
        """Put the question of ``least``, and leave it under way."""
        cp = self._copy(held)
        if not isinstance(goal, int):
            cp.add(goal >= at_least)
            if below is not None:
                cp.add(goal < below)
            cp.minimize(linear(goal))
        if self.last:
            hint_all(cp, self.last)
        return Query(self, cp, goal, at_least, below, self._solver(effort))

    def crowded(self, layout: RelaxedSolution) -> bool:
        """Whether more legs of a layout enter a tray than can, and this is not asked for yet."""
        return self.blocks.crowds(layout.divisions, layout.fibres)

    def follow_more(self, layout: RelaxedSolution | None) -> bool:
        """Follow legs to places, or else tubes to stacks, in all further questions; says whether that can bound anything more.

        It is for a layout of which no plan comes: legs are followed if they deny it. Areas of tubes add up, which clauses do not
        see: from then on the linear relaxation takes in all that it can.
        """
        if layout is not None and self.crowded(layout):
            self.blocks.count_legs()
            return True
        followed = self.blocks.follow_tubes()
        if followed:
            self._linear = 2
        return followed

    def _copy(self, held: Sequence[Constraint]) -> cp_sat.CpModel:
        """Copy the model with some conditions more; its variables keep their numbers."""
        cp = self.blocks.cp.clone()
        add_all(cp, held)
        return cp

    def _divided(self, open_: Divisions) -> dict[tuple[Key, int], Literal]:
        """Return the literal of each open division."""
        blocks = self.blocks
        return {
            (key, of): blocks.divided(blocks.job.subunit_of_leg[key], of) for key, of_ in open_.items() for of in of_
        }

    def _placed_in(self, open_: Divisions) -> dict[tuple[Key, int], Literal]:
        """Return for each open division the literal that the subunit is placed with it."""
        blocks, divided = self.blocks, self._divided(open_)
        if blocks.all_placed:
            return divided
        placed = {key: blocks.has_placed(blocks.job.subunit_of_leg[key]) for key in open_}
        return {(key, of): blocks.both(literal, placed[key]) for (key, of), literal in divided.items()}

    def _solver(self, effort: float) -> cp_sat.CpSolver:
        """Make a solver for a question: trying out what follows from each literal mostly takes longer than the answer does."""
        return one_worker(self.clock, effort, linearization_level=self._linear, probes=False)

    def like(self, open_: Divisions, known: Assignment | None, fewer: Constraint, *held: Constraint) -> Likeness | None:
        """Ask whether some layout that meets some conditions is divided otherwise than a plan, or has ``fewer`` legs.

        One question settles legs and divisions, where the plan has the least legs and is alone in how it is divided. None where
        the plan does not divide all that is open.
        """
        seen = _divisions_of(known)
        if {key for key, _ in seen} != set(open_):
            return None
        cp = self._copy(held)
        less = cp.new_bool_var("fewer legs")
        if isinstance(fewer, bool):
            cp.add(less == int(fewer))
        else:
            cp.add(fewer).only_enforce_if([less])
        others = [literal for pair, literal in self._divided(open_).items() if pair not in seen]
        cp.add(total([less, *others]) >= 1)
        solver = one_worker(self.clock, MOST_EFFORT, linearization_level=0, probes=False)
        return Likeness(Asked(solver, cp), {key: (of,) for key, of in seen}, self.clock)

    def divisions(
        self, open_: Divisions, known: Assignment | None, *held: Constraint, effort: float = MOST_EFFORT
    ) -> Divisions:
        """Return the divisions of those that are open that some layout has which meets some conditions; all where time is up.

        Of a subunit that no such layout places, that is none. ``known`` is a plan that meets the conditions, where there is one.
        A layout is asked for that has as many of those that no other had as can be, until there is none. After so much ``effort``
        nothing more is asked.
        """
        seen = _divisions_of(known)
        literals = self._placed_in(open_)
        if self.blocks.all_placed and all(len(of_) == 1 for of_ in open_.values()):
            return open_
        most = self.clock.effort + effort
        many = True
        while unseen := [literal for pair, literal in literals.items() if pair not in seen]:
            if self.clock.over or self.clock.effort > most:
                return open_
            cp = self._copy(held)
            cp.add(total(unseen) >= 1)
            if many:
                cp.maximize(linear(total(unseen)))
            solver = self._solver(MANY if many else EFFORT)
            status = solve_interruptible(solver, cp, self.clock)
            if many and status not in {*FOUND, cp_sat.INFEASIBLE}:
                many = False
                continue
            if status == cp_sat.INFEASIBLE:
                break
            if status not in FOUND:
                return open_
            seen |= {pair for pair, literal in literals.items() if solver.boolean_value(lit(literal))}
        return {key: tuple(of for of in of_ if (key, of) in seen) for key, of_ in open_.items()}

    def read(self, solver: cp_sat.CpSolver | cp_sat.SolutionCallback) -> RelaxedSolution:
        """Read a layout that was found."""
        blocks = self.blocks
        return RelaxedSolution(
            {
                key: tuple(of for of in of_ if solver.value(lit(blocks.divided(blocks.job.subunit_of_leg[key], of))))
                for key, of_ in blocks.open.items()
            },
            {
                trunk.id: [at for at in blocks.divide_options(trunk) if solver.value(lit(blocks.divided_at(trunk, at)))]
                for trunk in blocks.job.trunks
            },
            {(i, place): solver.value(linear(fibres)) for (i, place), fibres in blocks.fibres.items()},
        )

    def deny(self, layout: RelaxedSolution, limits: Mapping[GoalName, int]) -> None:
        """Note that no plan of the divisions of a layout is within some limits."""
        self._denied.append((layout, dict(limits)))

    def denied(self, layout: RelaxedSolution, limits: Mapping[GoalName, int]) -> bool:
        """Whether it is known that no plan of the divisions of a layout is within some limits."""
        return any(
            before.like(layout) and all(goal in limits and limits[goal] <= most for goal, most in wider.items())
            for before, wider in self._denied
        )

    def whole(self, layout: RelaxedSolution) -> Model:
        """Return the whole model of the divisions of a layout; that of the last layout serves again where they are the same."""
        if self._whole is not None:
            before, model = self._whole
            if before.like(layout):
                return model
        blocks = self.blocks
        model = build(
            blocks.job,
            blocks.policy,
            all_placed=blocks.all_placed,
            divisions=layout.divisions,
            divide_at=layout.divide_at,
            clock=self.clock,
        )
        self._whole = layout, model
        return model

    def hold(self, model: Model, layout: RelaxedSolution) -> cp_sat.CpModel:
        """Copy a model of settled divisions and hold the copy to a layout; the variables of the copy keep their numbers."""
        trial = model.cp.clone()
        add_all(
            trial, (total(self._weighed(model, i, place)) == fibres for (i, place), fibres in layout.fibres.items())
        )
        return trial

    def _weighed(self, model: Model, i: int, place: Place) -> Sequence[Expression]:
        """Weigh the legs of one side of a stretch at a place by what they hold of it."""
        blocks = self.blocks
        key = blocks.blocks[i].keys[0]
        (of,) = model.divisions(blocks.job.subunit_of_leg[key])
        legs = model.legs(blocks.job.subunit_of_leg[key], of)
        return [part * model.at(leg, place) for leg in legs if (part := blocks.stretches.parts_of(leg).get(i))]


def add_all(cp: cp_sat.CpModel, conditions: Iterable[Constraint]) -> None:
    """Add conditions to a model; for one that always holds the solver would make a variable, and solutions would not fit."""
    for condition in conditions:
        if condition is not True:
            cp.add(condition)


class Query(cp_sat.SolutionCallback, Generic[B]):
    """A question under way for the least value of a goal, and the callback of its own search."""

    def __init__(
        self,
        layouts: RelaxedModel[B],
        cp: cp_sat.CpModel,
        goal: Expression,
        at_least: int,
        below: int | None,
        solver: cp_sat.CpSolver,
    ) -> None:
        super().__init__()
        self._layouts, self._goal, self._at_least, self._below = layouts, goal, at_least, below
        self.least: int | None = None
        """Least value so far."""
        self.layout: RelaxedSolution | None = None
        """The layout that has this value."""
        self._began = self._found = monotonic()
        self.asked = Asked(solver, cp, self)

    def on_solution_callback(self) -> None:
        """Keep a layout that was found."""
        self.layout = self._layouts.read(self)
        self.least = self._goal if isinstance(self._goal, int) else self.value(linear(self._goal))
        self._found = monotonic()

    @property
    def quiet(self) -> bool:
        """Whether no better layout was found for some time, so that the best layout so far is likely to stay."""
        return monotonic() - self._found > max(QUIET_S, self._found - self._began)

    def answer(self) -> Answer:
        """Wait for the answer."""
        layouts, solver = self._layouts, self.asked.solver
        status = self.asked.wait(layouts.clock)
        if status == cp_sat.INFEASIBLE:
            return Answer(self._below)
        if status not in FOUND:
            return Answer(self._at_least)
        layouts.last = list(solver.response_proto.solution)
        bound = self._goal
        if not isinstance(bound, int):
            bound = max(self._at_least, whole_bound(solver.best_objective_bound))
        return Answer(bound, self.least, self.layout)

    def drop(self) -> None:
        """Ask no further."""
        self.asked.drop(self._layouts.clock)


def _divisions_of(known: Assignment | None) -> set[tuple[Key, int]]:
    """Return the divisions of the subunits with a placed leg; none without a plan."""
    return set() if known is None else {((leg.trunk, leg.subunit), leg.of) for leg in known.places}
