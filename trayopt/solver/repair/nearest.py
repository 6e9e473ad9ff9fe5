"""The nearest plan to given decisions that keeps every must; among those, the best by the goals."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain

from trayopt.domain.assignment import Assignment
from trayopt.domain.decision import Decision, GoesBy, RunAt
from trayopt.domain.job import Job
from trayopt.domain.tied import tied
from trayopt.errors import SolverFault
from trayopt.rules.variables import Expression
from trayopt.solver.bounds.division import Divider
from trayopt.solver.model.base import Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.decisions import Changes, Given, Weights, changes, standing
from trayopt.solver.model.in_time import in_time
from trayopt.solver.model.literals import total
from trayopt.solver.model.model import Model
from trayopt.solver.model.run import Outcome, Tuning, hint, run
from trayopt.solver.repair.completing import Found, descend
from trayopt.solver.repair.fixed import divisions_left, kept_model, options_of
from trayopt.solver.repair.least_moves import LeastMoves, least_moves

BOUND_PART = 0.2
"""Most of what is left of a limit for the bound on moved legs."""


@dataclass
class Nearest(Found):
    """The nearest plan; ``weighed`` is the sum of its weighed changes and ``bound`` a proven bound of that sum."""

    changes: Changes = field(default_factory=Changes)
    weighed: int | None = None
    bound: int | None = None

    @property
    def proven(self) -> bool:
        """Whether no plan that keeps every must has fewer weighed changes."""
        return self.weighed is not None and self.weighed == self.bound


def nearest(
    job: Job,
    given: Given,
    fixed: Iterable[Decision] = (),
    *,
    weights: Weights | None = None,
    clock: Clock | None = None,
    tuning: Tuning | None = None,
) -> Nearest:
    """Find the plan that keeps every must and differs least from given decisions; among those, the best by the goals.

    Parameters
    ----------
    job, given
        The job, and the decisions to stay near to.
    fixed
        What is built: no plan is looked at that does not keep it.
    weights
        What each change counts.
    clock, tuning
        When to stop, and how to search; what is found by the limit is given, whatever is under way then.
    """
    weights, clock, tuning, fixed = weights or Weights(), clock or Clock(), tuning or Tuning(), tuple(fixed)
    search = _Search(job, given, fixed, weights, clock, tuning)
    in_time(search.run, clock)
    found = replace(search.found)  # a search that was left behind may still change what it holds
    if found.assignment is not None:
        found.changes = changes(job, given, found.assignment)
        if found.changes.weighed(weights) != found.weighed:
            raise SolverFault("the goals moved the plan away from the nearest one")
    return found


@dataclass(frozen=True)
class _Look:
    """A model of plans with some divisions open, its cost, and the nearest plan that was found in it."""

    model: Model
    cost: Expression
    outcome: Outcome
    weighed: int


def _unproven(look: _Look | None, floor: int) -> _Look | None:
    """Take a plan of some divisions for one of all: only the bound of all holds."""
    return None if look is None else replace(look, outcome=replace(look.outcome, bound=floor, proven=False))


class _Search:
    """Looks for the nearest plan with more and more divisions open.

    First all is held that need not move, and what is new gets its fewest legs: a new trunk is most often fitted in beside what
    lies, and in a large job the search finds no plan soon unless it begins with one. Then every subunit is divided as given.
    Then only subunits of which a relaxation says that they have to move, and those that are spliced to them, are open, with
    every other leg held where it lies, and if that is too much with none held: most of what changes is near to what has to.
    The whole model comes last, with the nearest plan in hand.
    """

    def __init__(
        self, job: Job, given: Given, fixed: Sequence[Decision], weights: Weights, clock: Clock, tuning: Tuning
    ) -> None:
        self.job, self.fixed, self.weights, self.clock, self.tuning = job, fixed, weights, clock, tuning
        self.given, self.inside = given, given.in_job(job)
        self.relaxed = LeastMoves(0, self.inside.runs)
        self.impossible = False
        self.found = Nearest()
        """The nearest plan so far."""

    def run(self) -> None:
        """Look for the nearest plan, and for the best among the nearest."""
        self.relaxed = least_moves(self.job, self.given, self.fixed, self.weights.legs, self.clock, BOUND_PART)
        floor = self.relaxed.bound
        as_given = self.as_given()
        beside = self.beside()
        near = self.look(as_given, 0.5, beside) or _unproven(beside, floor)
        # Where this meets the bound, whoever divides anew changes more: no other division has to be looked at.
        if near is None or near.weighed != floor or self.weights.splits == 0:
            opened = self.opened(as_given)
            held = self.look(opened, 0.4, near, self.relaxed_stays())
            if held is None and opened:
                held = self.look(opened, 0.4, near)
            near = self.look({}, 0.85, held or near) or _unproven(held or near, floor)
        if near is None:
            self.found.impossible = self.impossible
            return
        self.found.bound = max(near.outcome.bound or 0, floor)
        near.model.cp.clear_objective()
        near.model.require(near.cost <= near.weighed)
        descend(self.job, near.model, self.found, self.clock, self.tuning)

    def beside(self) -> _Look | None:
        """Look for a plan in which nothing moves that need not, with what is new beside it in the fewest legs."""
        held: tuple[Decision, ...] = (*self.relaxed_stays(), *self.inside.ways.values())
        settled = Divider(self.job).narrowed(divisions_left(self.job, (*self.fixed, *held))).settle()
        return None if settled is None else self.look(settled.divisions, 0.25, None, held)

    def as_given(self) -> dict[Key, Sequence[int]]:
        """Return the division of every subunit that is given in proper legs."""
        found: dict[Key, Sequence[int]] = {}
        for subunit in self.job.subunits:
            of = self.inside.division(self.job, subunit)
            if of is not None:
                found[subunit.trunk, subunit.number] = (of,)
        return found

    def opened(self, as_given: Mapping[Key, Sequence[int]]) -> dict[Key, Sequence[int]]:
        """Return the same without subunits that have to move, or are spliced to others that have to; none where that is all."""
        pairs = [
            (self.key(piece.a.trunk, piece.a.first), self.key(piece.b.trunk, piece.b.first))
            for piece in self.job.pieces
        ]
        group = tied(chain.from_iterable(pairs), pairs)
        moved = {self.key(run.trunk, run.first) for run in self.relaxed.moved}
        loose = {group[key] for key in moved if key in group}
        return {key: of for key, of in as_given.items() if key not in moved and group.get(key) not in loose}

    def key(self, trunk: str, fibre: int) -> Key:
        return trunk, self.job.trunk_by_id[trunk].subunit_of(fibre).number

    def relaxed_stays(self) -> tuple[RunAt, ...]:
        """Return the runs that stay where the trays are all that counts."""
        moved = set(self.relaxed.moved)
        return tuple(run for run in self.inside.runs if run not in moved)

    def look(
        self,
        divisions: Mapping[Key, Sequence[int]],
        share: float,
        best: _Look | None = None,
        held: Sequence[Decision] = (),
    ) -> _Look | None:
        """Look for a plan no further than the best one, in a share of the time that is left.

        Facts that are ``held`` stand only in this look; a plan that it gives is one of all plans all the same.
        ``impossible`` then tells whether there is none, and so no better one than ``best`` if these are the divisions of all.
        """
        self.impossible = False
        if self.clock.over:
            return None
        model = kept_model(self.job, (*self.fixed, *held), divisions)
        known = None if best is None else best.outcome.assignment
        hint(
            model,
            known
            or Assignment(
                self.given.whole_ways,
                standing(self.job, self.given),
                self.given.ends,
                self.given.partings,
                self.given.ribbons,
            ),
        )
        cost = _cost(model, self.inside, self.weights)
        model.require(cost >= self.relaxed.bound)
        if best is not None:
            model.require(cost <= best.weighed)
        model.minimize(cost)
        left = self.clock.left
        outcome = run(model, self.clock, self.tuning if left is None else replace(self.tuning, slice_s=share * left))
        self.impossible = outcome.infeasible
        if outcome.assignment is None:
            return None
        weighed = changes(self.job, self.given, outcome.assignment).weighed(self.weights)
        if weighed != outcome.value:
            raise SolverFault(f"the solver counts changes of {outcome.value}, the recount {weighed}")
        self.found.assignment, self.found.weighed, self.found.bound = outcome.assignment, weighed, self.relaxed.bound
        return _Look(model, cost, outcome, weighed)


def _cost(model: Model, given: Given, weights: Weights) -> Expression:
    """Sum the weighed changes, exactly as ``changes`` counts them."""
    job = model.job
    parts: list[Expression] = []
    constant = 0
    for item in given.runs:
        options = options_of(model, item) if item.place in job.enclosure.place_rank else {}
        if not options:
            constant += weights.legs
            continue
        stays = model.both(*(model.one_of(*(model.at(leg, item.place) for leg in legs)) for legs in options))
        parts.append(weights.legs * model.no(stays))
    for way in given.ways.values():
        trunk = job.trunk_by_id[way.trunk]
        for weight, wish in (
            (weights.travel, GoesBy(way.trunk, travel=way.travel)),
            (weights.ports, GoesBy(way.trunk, port=way.port)),
            (weights.loops, GoesBy(way.trunk, loops=way.loops)),
        ):
            other = [model.goes(trunk, option) for option in model.ways(trunk) if not wish.admits(option)]
            parts.append(weight * total(other))
        if way.divide_at is not None:
            open_ = way.divide_at in model.divide_options(trunk)
            stays = model.divided_at(trunk, way.divide_at) if open_ else 0
            parts.append(weights.partings * model.both(model.in_box(trunk), model.no(stays)))
        if way.ribbons is not None:
            kept = model.ribboned(trunk, way.ribbons)
            parts.append(weights.ribbons * model.both(model.in_box(trunk), model.no(kept)))
    for stack, end in given.ends.items():
        others = [item.id for item in job.enclosure.stack_by_id[stack].ends if item.id != end]
        used = model.any_of(*(model.used(place) for place in model.places if place.stack == stack))
        parts += [weights.ends * model.both(model.end(stack, other), used) for other in others]
    for subunit in job.subunits:
        if given.divided(subunit) and model.divisions(subunit):
            of = given.division(job, subunit)
            kept = 0 if of is None else model.divided(subunit, of)
            parts.append(weights.splits * model.no(kept))
    return sum(parts) + constant
