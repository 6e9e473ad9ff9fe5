"""Attempts: runs of the solver on small models that find good plans soon; what they prove is proven of those models alone.

They give a search something to show, hints to start from, and plans that meet bounds which other rooms prove.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

from trayopt.domain.assignment import Assignment
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.goals.registry import BY_ID as GOALS
from trayopt.solver.bounds import set_partition as spread
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.pattern_counts import Guess, count, hold, in_scope
from trayopt.solver.bounds.segments import Blocks
from trayopt.solver.bounds.unplaced import without_room
from trayopt.solver.heuristics.completion import Answer, Layout, Layouts, Likeness, add_all
from trayopt.solver.heuristics.constructive import first_plans, keeps_facts
from trayopt.solver.heuristics.precedence import hold_order, order_of
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.incumbent import FIRST, State
from trayopt.solver.model.model import Divisions, Model
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.run import Outcome, Tuning, Watch, complete, hint_last, run

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import CpModel


class Share(NamedTuple):
    """Most time for one part of the work: seconds, and where there is a limit a part of what is left, but at least so much."""

    seconds: float | None
    part: float
    least: float = 0.0


TRIAL = Share(20.0, 0.15, 2.0)
"""For working a guess out to a plan; with less than the least hardly any is, and nothing else finds a plan as soon."""
SOME = Share(4.0, 0.15)
"""For each goal of a first plan that is only there to have one."""
EVEN = Share(10.0, 0.15)
"""For the preferences of plans whose legs are all of about one size."""
LOOK = Share(60.0, 0.3)
"""For a question that another model can answer as well."""


class Attempts:
    """One search on one job: what it knows, and how it comes to plans.

    Parameters
    ----------
    order
        All seven goals in the order in which they count.
    clock, tuning, gap
        When to stop, how the solver searches, and with what distance to its bound a goal is good enough.
    start
        A plan to begin with; it is recounted, and left out if it breaks what no plan breaks.
    progress
        Called with seconds, goal, value and bound.
    """

    def __init__(
        self,
        job: Job,
        order: Sequence[GoalName],
        clock: Clock,
        *,
        tuning: Tuning | None = None,
        gap: float | None = None,
        start: Assignment | None = None,
        progress: Callable[[float, GoalName, int | None, int | None], None] | None = None,
    ) -> None:
        self.job = job
        self.clock = clock
        self.tuning = tuning or Tuning()
        self.gap = gap
        self.state = State(tuple(order))
        self.progress = progress
        self.divider = Divider(job)
        self.state.bounds["unplaced"] = without_room(job)
        self.alike = False
        """Whether the plans in work keep like subunits divided alike."""
        self._polished: Assignment | None = None
        self._narrow: dict[tuple[int, int], Divisions] = {}
        """Divisions that plans of so many legs and preferences broken at most can have, where that was found out."""
        self._asked: dict[tuple[int, int], Likeness] = {}
        """Questions under way, whether such plans are divided otherwise than the best one."""
        self.empty = False
        """Whether it is proven that the job has no plan at all: only built pins can bring that about."""
        self._out_told: tuple[int, int | None] | None = None
        """Splices without a tray, and their bound, as they were told last."""
        if start is not None and keeps_facts(job, start):
            self.state.offer(job, start)
            self._tell()

    def _some(self, divisions: Divisions, *, all_placed: bool) -> None:
        """Find some plan soon where there is none yet, and better it for a while: what a stopped search has to show."""
        if self.state.best is None:
            for plan in first_plans(self.job):
                if keeps_facts(self.job, plan):
                    self.state.offer(self.job, plan)
                    self._tell()
                if self.clock.over or (self.state.best is not None and self.state.value("unplaced") == 0):
                    break
        if self.clock.over or (self.state.best is not None and self.state.value("unplaced") == 0):
            return
        policy = Policy("hard" if all_placed else "soft", "soft")
        model = build(self.job, policy, all_placed=all_placed, divisions=divisions, clock=self.clock)
        self._hint(model)
        self._better(model, ("broken_prefer",) if all_placed else FIRST)

    def _even(self, least: int) -> None:
        """Look for plans that break fewer preferences among those whose legs are all of about one size, the largest first.

        Finer legs keep more subunits together, and models of settled divisions are small; mixed divisions are left to others.
        """
        if self.layouts.made:
            self._even_layouts(least)
            return
        for divisions in self.divider.even():
            if self.clock.over or self._prefers(least):
                break
            model = build(self.job, Policy("hard", "soft"), all_placed=True, divisions=divisions, clock=self.clock)
            if self.state.whole:
                model.require(model.broken("prefer") < self.state.value("broken_prefer"))
            self._better(model, ("broken_prefer",), EVEN)

    def _even_layouts(self, least: int) -> None:
        """Find by blocks how such plans are laid out, and work the best one out that can be."""
        blocks = self.layouts.blocks
        weight = blocks.broken("prefer")
        below = self.state.value("broken_prefer") if self.state.whole else None
        found: list[Answer] = []
        for divisions in self.divider.even():
            if self.clock.over or (below is not None and below <= least):
                break
            divided = (blocks.divided(self.job.subunit_of_leg[key], of) for key, (of,) in divisions.items())
            held = (literal >= 1 for literal in divided if not isinstance(literal, int))
            answer = self.layouts.least(weight, *held, at_least=least, below=below, part=EVEN.part)
            if answer.value is not None:
                found.append(answer)
                below = answer.value
        for answer in reversed(found):
            self._work_out(self.layouts, answer.layout, {"broken_prefer": answer.value or 0})
            if self._prefers(answer.value or 0):
                break

    def _work_out(
        self,
        layouts: Layouts[Any],
        layout: Layout | None,
        limits: Mapping[GoalName, int],
        *,
        anywhere: bool = True,
        model: Model | None = None,
    ) -> None:
        """Work a layout out to a plan that is no worse in some goals: with its splices at their places, or else anywhere.

        A model that was made with its very divisions serves again.
        """
        if layout is None or self.clock.over:
            return
        blocks = layouts.blocks
        if model is None:
            placed = blocks.all_placed
            model = build(self.job, blocks.policy, all_placed=placed, divisions=layout.divisions, clock=self.clock)
        good = [self._expression(model, goal) <= most for goal, most in limits.items()]
        for trial in (layouts.hold(model, layout), *([model.cp.clone()] if anywhere else [])):
            trial.clear_objective()
            add_all(trial, good)
            if self.clock.over or self._run(model, None, trial=trial, share=TRIAL).assignment is not None:
                break

    def _aim(self, legs: int, least: int) -> None:
        """Look for a plan that meets these bounds on legs and preferences, with the divisions that such plans can have."""
        if self.state.order[len(FIRST)] != "legs" or self.clock.over:
            return
        model = self._kept(self._within(legs, least), least)
        model.require(self._expression(model, "legs") <= legs)
        self._run(model, None, share=EVEN)

    def _coarsen(self) -> None:
        """Look for fewer legs at the preferences of the best plan: every subunit may stay as it is divided or be divided less."""
        if self.state.best is None or self.state.order[len(FIRST)] != "legs" or self.clock.over:
            return
        divisions = {
            (leg.trunk, leg.subunit): tuple(of for of in self.divider.open[leg.trunk, leg.subunit] if of <= leg.of)
            for leg in self.state.best.places
        }
        self._better(self._kept(divisions, self.state.value("broken_prefer")), ("legs",), EVEN)

    def _polish(self) -> None:
        """Better the best plan in what comes after its preferences, with the divisions that it has."""
        if self.state.best is None or self.state.best is self._polished:
            return
        divisions = {(leg.trunk, leg.subunit): (leg.of,) for leg in self.state.best.places}
        weight = self.state.value("broken_prefer")
        model = self._kept(divisions, weight)
        if not self._guided(model, weight):
            self._better(model, [goal for goal in self.state.order[len(FIRST) :] if goal != "legs"])
        self._polished = self.state.best

    def _better(self, model: Model, goals: Sequence[GoalName], share: Share = SOME) -> None:
        """Better the best plan on a small model for a while, goal after goal; what is proven is proven of this model alone."""
        for goal in goals:
            expression = self._expression(model, goal)
            if isinstance(expression, int):
                continue
            if model.solution and self.state.value(goal) == (self.state.bounds.get(goal) or 0):
                model.require(expression <= self.state.value(goal))
                continue
            model.cp.minimize(expression)
            if model.solution:
                hint_last(model)
            if self._run(model, goal, share=share).assignment is None:
                return
            model.cp.clear_objective()
            model.require(expression <= self.state.value(goal))

    def _guided(self, model: Model, least: int) -> bool:
        """Look for a plan where counts and the order of the subunits say that a very good one is; tells whether it is there.

        Where nothing need cross: without a crossing and of least length, at the counted places, or else anywhere. Where
        something must: in the order that pays least for it, of least length, or else of any.
        """
        counted = count(model, least, self.clock) if in_scope(model) else None
        if counted is not None:
            model.bound("leg_length_mm", counted.bound)
        guess = None if counted is None else counted.guess
        return any(
            self._run(model, None, trial=trial, share=TRIAL).assignment is not None
            for trial in self._trials(model, guess)
            if not self.clock.over
        )

    def _trials(self, model: Model, guess: Guess | None) -> Iterator[CpModel]:
        """Yield copies of a model that are held to a guess, the best guess first."""
        crossings = self._expression(model, "crossings")
        order = order_of(model)
        if guess is not None:
            shortest = model.literal("legs are as short as can be")
            model.require(self._expression(model, "leg_length_mm") <= model.least["leg_length_mm"], shortest)
            fewest = model.literal("no more crosses than must")
            model.require(crossings <= model.least.get("crossings", 0), fewest)
            if order:
                yield hold_order(order, hold(model, guess, shortest, fewest, places=False))
            if not model.least.get("crossings", 0):
                yield hold(model, guess, shortest, fewest, places=True)
                yield hold(model, guess, shortest, fewest, places=False)
            elif order:
                yield hold_order(order, hold(model, guess, shortest, places=False))
        if order:
            yield hold_order(order, model.cp.clone())

    def _prefers(self, least: int) -> bool:
        """Whether the best plan keeps every must and meets this bound on preferences."""
        return self.state.whole and self.state.value("broken_prefer") == least

    def _meets(self, least: int, legs: int) -> bool:
        """Whether the best plan meets these bounds on preferences and legs."""
        return self.state.whole and (self.state.value("broken_prefer"), self.state.value("legs")) == (least, legs)

    def _within(self, legs: int, least: int) -> Divisions:
        """Give every division that plans of so few legs and preferences broken can have, as far as is known."""
        open_: Divisions = self.divider.within(legs, alike=self.alike)
        if all(len(of) == 1 for of in open_.values()):
            return open_
        if (legs, least) not in self._narrow:
            self._narrow[legs, least] = self._narrowed(open_, legs, least)
        return self._narrow[legs, least]

    def _narrowed(self, open_: Divisions, legs: int, least: int) -> Divisions:
        if self.layouts.made:
            blocks = self.layouts.blocks
            known = self.state.best if self._meets(least, legs) else None
            return self.layouts.divisions(open_, known, blocks.broken("prefer") <= least, blocks.placed_legs() <= legs)
        return spread.narrowed(self.divider, open_, least, legs, self.clock)

    @cached_property
    def layouts(self) -> Layouts[Blocks]:
        """Blocks at places, of plans that place every splice and keep every must."""
        return self._blocked(self.divider.open, all_placed=True)

    def _blocked(self, divisions: Divisions, *, all_placed: bool) -> Layouts[Blocks]:
        policy = Policy("hard", "soft") if all_placed else Policy()
        blocks = Blocks(self.divider, divisions, policy, all_placed=all_placed, clock=self.clock)
        return Layouts(blocks, self.clock)

    def _kept(self, divisions: Divisions, weight: int) -> Model:
        """Make a model of plans that place every splice, keep every must and break preferences of at most this weight."""
        policy = Policy("hard", "soft" if weight else "hard")
        model = build(self.job, policy, all_placed=True, divisions=divisions, clock=self.clock)
        if weight:
            model.require(model.broken("prefer") <= weight)
        self._hint(model)
        return model

    def _expression(self, model: Model, goal: GoalName) -> Any:
        """Encode a goal, once a model."""
        if goal not in model.goals:
            model.goals[goal] = GOALS[goal].encode(self.job, model)
        return model.goals[goal]

    def _run(
        self,
        model: Model,
        goal: GoalName | None,
        *,
        trial: CpModel | None = None,
        share: Share | None = None,
        prove: bool = False,
        sure: bool = False,
    ) -> Outcome:
        """Run the solver, and offer what it finds.

        ``prove`` tells that a good plan is known and the bound is missing; ``sure`` that all goals before are proven and that
        the model leaves no plan out, so that its values and bounds are those of the job.
        """
        watch: Watch | None = None
        if self.progress is not None and goal is not None:

            def watch(value: int | None, bound: int | None) -> None:
                if sure:
                    self._tell(goal, value, bound)
                else:
                    self._tell()

        tuning = replace(
            self.tuning, prove=prove or goal is None, slice_s=None if share is None else self._slice(share)
        )
        outcome = run(model, self.clock, tuning, watch, gap=self.gap, trial=trial)
        if outcome.assignment is not None:
            self.state.offer(self.job, outcome.assignment)
        self._tell()
        return outcome

    def _tell(self, goal: GoalName | None = None, value: int | None = None, bound: int | None = None) -> None:
        """Show what is known of the job: the splices without a tray, and the first goal that is not proven.

        ``value`` and ``bound`` are what a run that still goes on knows of that goal.
        """
        state = self.state
        if self.progress is None or not state.vector:
            return
        vector, bounds = dict(zip(state.order, state.vector, strict=True)), dict(state.bounds)
        out = (vector["unplaced"], bounds.get("unplaced"))
        if out != self._out_told:
            self._out_told = out
            self.progress(self.clock.seconds, "unplaced", *out)
        first = next((name for name in state.order if bounds.get(name) != vector[name]), None)
        if first is None or first == "unplaced":
            return
        values = [vector[first], *([value] if goal == first and value is not None else [])]
        known = [found for found in (bounds.get(first), bound if goal == first else None) if found is not None]
        self.progress(self.clock.seconds, first, min(values), max(known, default=None))

    def _slice(self, share: Share) -> float | None:
        """Give the most time for one part of the work, in seconds or in deterministic time; None for as long as it takes."""
        left = self.clock.left
        limits = [share.seconds, None if left is None else max(share.least, share.part * left)]
        return min((limit for limit in limits if limit is not None), default=None)

    def _hint(self, model: Model) -> None:
        if self.state.best is not None:
            complete(model, self.state.best, self.clock)
