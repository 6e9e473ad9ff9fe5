"""The search: goals in order, the strictest wish first, every value recounted, every bound proven or left open.

Three steps, each of which settles most jobs alone:

1. *Outline and division.* The outline (ways and stacks, no trays) bounds the preferences that must be broken, the division
   model bounds the legs. The box is then solved with the divisions of least legs. A plan that meets both bounds has its first
   four goals proven, and only divisions that some choice of so few legs uses can hold a better one.
2. *Deepening.* Where the divisions of least legs do not meet the bound on preferences, plans whose legs are all of about one
   size are looked for, which often do. Then divisions of a few legs more join in, until they meet it or all divisions are
   in and prove that none does.
3. *The ladder.* Where not every must can be kept with every splice placed, musts are let go, and at last splices.

The remaining goals follow one by one on the model that holds; the value of each becomes a bound of the next.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, NamedTuple

from trayopt.domain.assignment import Assignment
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName, Stopped
from trayopt.goals.registry import BY_ID as GOALS
from trayopt.goals.registry import measure_all
from trayopt.rules.registry import BY_ID
from trayopt.solve import spread
from trayopt.solve.build import Policy, build
from trayopt.solve.counts import Guess, count, hold, in_scope
from trayopt.solve.divide import Divider
from trayopt.solve.habit import first_plans, keeps_facts
from trayopt.solve.model import Key, Model
from trayopt.solve.order import hold_order, order_of
from trayopt.solve.outline import preference_bound
from trayopt.solve.run import Outcome, Tuning, Watch, complete, hint_last, run
from trayopt.solve.shortest import length_bound
from trayopt.solve.stop import Clock, OutOfTime
from trayopt.solve.turns import turn_bound
from trayopt.solve.unplaced import least_unplaced, without_room
from trayopt.track.laid import Laid

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
GOAL = Share(None, 0.7)
"""For a goal after which others come: where it cannot be proven, they are bettered too."""
DEEPEN = Share(60.0, 0.5)
"""For all models of a few legs more together."""
FIRST: tuple[GoalName, ...] = ("unplaced", "broken_must", "broken_prefer")


@dataclass(frozen=True)
class Rung:
    """One kind of model: what it takes for granted, and which of the first goals are left to minimise in it."""

    name: str
    all_placed: bool
    open: tuple[GoalName, ...]


RUNGS: tuple[Rung, ...] = (
    Rung("every splice placed", True, ("broken_must", "broken_prefer")),
    Rung("what can be placed", False, FIRST),
)

Divisions = Mapping[Key, Sequence[int]]
Found = tuple[Model, Sequence[GoalName], bool]
"""A model that holds, the goals that are left, and whether the goals before are proven."""


@dataclass
class State:
    """What is known so far: the best plan, and a proven bound for each goal whose earlier goals are all proven."""

    order: tuple[GoalName, ...]
    best: Assignment | None = None
    vector: tuple[int, ...] = ()
    bounds: dict[GoalName, int | None] = field(default_factory=lambda: {"unplaced": 0})
    least: dict[GoalName, int] = field(default_factory=dict)
    """Proven bounds of goals where every splice is placed, every must kept, and the goals between are as good as can be."""
    by_gap: bool = False

    def offer(self, job: Job, assignment: Assignment) -> None:
        """Keep an assignment if it is better, by a recount in plain Python."""
        measured = measure_all(Laid(job, assignment))
        vector = tuple(measured[goal] for goal in self.order)
        if self.best is None or vector < self.vector:
            self.best, self.vector = assignment, vector

    def value(self, goal: GoalName) -> int:
        """Value of a goal in the best plan."""
        return self.vector[self.order.index(goal)]

    def settle(self) -> None:
        """Give the first goals that the solver proved nothing of the bounds that hold all the same."""
        if self.best is None:
            return
        for goal in self.order:
            if self.bounds.get(goal) is None:
                self.bounds[goal] = self.least.get(goal, 0) if self.whole else 0
            if self.bounds[goal] != self.value(goal):
                return

    @property
    def whole(self) -> bool:
        """Whether the best plan places every splice and keeps every must."""
        return self.best is not None and self.value("unplaced") == self.value("broken_must") == 0

    @property
    def proven(self) -> bool:
        """Whether every goal meets its bound."""
        return self.best is not None and all(self.bounds.get(goal) == self.value(goal) for goal in self.order)


class Search:
    """One search on one job.

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
        self.empty = False
        """Whether it is proven that the job has no plan at all: only built pins can bring that about."""
        if start is not None and keeps_facts(job, start):
            self.state.offer(job, start)

    def solve(self) -> tuple[State, Stopped]:
        """Search until everything is proven or the clock stops it."""
        try:
            if not self._place_all():
                self._ladder()
        except KeyboardInterrupt:  # between two runs of the solver, while a model is built
            self.clock.interrupted = True
        except OutOfTime:
            pass
        self.state.settle()
        stopped: Stopped = "proven" if self.state.proven else "gap" if self.state.by_gap else self.clock.why()
        return self.state, stopped

    # -- every splice placed, every must kept ------------------------------------------------------------------------

    def _place_all(self) -> bool:
        """Solve the job among plans that place every splice and keep every must; tells whether there is one."""
        least = None if self.divider.hopeless else preference_bound(self.job, self.divider.open, self.clock)
        if least is None:
            return False
        self.alike = is_kept(self.job, "same_division", 0, least)
        settled = self.divider.settle(alike=self.alike)
        if settled is None and self.alike:
            least, self.alike = max(least, self.job.rules["same_division"].weight), False
            settled = self.divider.settle(alike=False)
        if settled is None:
            return False
        self.state.least = {"broken_prefer": least, "legs": settled.legs}
        found = self._try(settled.divisions, settled.legs, least)
        if found is None:
            self._some(settled.divisions, all_placed=True)
            self._some(settled.divisions, all_placed=False)
        if found is None:
            self._even(least)
            bounds = self._stacked(least)
            if bounds is None:
                return False
            least, legs = bounds
            if not self._meets(least, legs):
                self._aim(legs, least)
            if not self._meets(least, legs):
                self._coarsen()
            if not self._meets(least, legs):
                self._polish()
            if self.state.order[len(FIRST)] == "legs":
                found = self._deepen(legs, least)
        if found is None:
            found = self._open_all(least)
        if found is None:
            return False
        model, goals, sure = found
        self._descend(model, goals, sure=sure)
        return True

    def _try(self, divisions: Divisions, legs: int, least: int) -> Found | None:
        """Solve with the divisions of least legs; None if they do not meet both bounds."""
        if self.state.order[len(FIRST)] != "legs":
            return None
        model = self._kept(divisions, least)
        guided = self._guided(model, least)
        if self.divider.within(legs, alike=self.alike) == divisions:
            self.state.least |= model.least
        if not guided and self._run(model, None, share=LOOK).assignment is None:
            return None
        if self.state.value("legs") > legs:
            return None
        return self._with_legs(legs, least, model=model, divisions=divisions)

    def _some(self, divisions: Divisions, *, all_placed: bool) -> None:
        """Find some plan soon where there is none yet, and better it for a while: what a stopped search has to show."""
        if self.state.best is None:
            for plan in first_plans(self.job):
                if keeps_facts(self.job, plan):
                    self.state.offer(self.job, plan)
                if self.clock.over or (self.state.best is not None and self.state.value("unplaced") == 0):
                    break
        if self.clock.over or (self.state.best is not None and self.state.value("unplaced") == 0):
            return
        policy = Policy("hard" if all_placed else "soft", "soft")
        model = build(self.job, policy, all_placed=all_placed, divisions=divisions, clock=self.clock)
        self._hint(model)
        self._better(model, ("broken_prefer",) if all_placed else FIRST)

    def _stacked(self, least: int) -> tuple[int, int] | None:
        """Bound preferences and legs again, by bunches on stacks; None if not every must can be kept."""
        if not (self.state.whole and self.state.value("broken_prefer") == least):
            weight = spread.weight_bound(self.divider, self.divider.open, least, self.clock)
            if weight is None:
                return None
            if weight > least:
                least, self.alike = weight, is_kept(self.job, "same_division", 0, weight)
        settled = self.divider.settle(alike=self.alike)
        legs = spread.legs_bound(self.divider, self.divider.open, least, self.clock)
        if settled is None or legs is None:
            return None
        self.state.least |= {"broken_prefer": least, "legs": max(legs, settled.legs)}
        return least, max(legs, settled.legs)

    def _even(self, least: int) -> None:
        """Look for plans that break fewer preferences among those whose legs are all of about one size, the largest first.

        Finer legs keep more subunits together, and models of settled divisions are small; mixed divisions are left to others.
        """
        for divisions in self.divider.even():
            if self.clock.over or (self.state.whole and self.state.value("broken_prefer") == least):
                break
            model = build(self.job, Policy("hard", "soft"), all_placed=True, divisions=divisions, clock=self.clock)
            if self.state.whole:
                model.require(model.broken("prefer") < self.state.value("broken_prefer"))
            self._better(model, ("broken_prefer",), EVEN)

    def _meets(self, least: int, legs: int) -> bool:
        """Whether the best plan meets these bounds on preferences and legs."""
        return self.state.whole and (self.state.value("broken_prefer"), self.state.value("legs")) == (least, legs)

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

    def _expression(self, model: Model, goal: GoalName) -> Any:
        """Encode a goal, once a model."""
        if goal not in model.goals:
            model.goals[goal] = GOALS[goal].encode(self.job, model)
        return model.goals[goal]

    def _with_legs(
        self,
        legs: int,
        least: int,
        fewest: int | None = None,
        *,
        model: Model | None = None,
        divisions: Divisions | None = None,
    ) -> Found:
        """Go on after the first three goals are proven, with every division that so few legs can be made of.

        ``fewest`` is the proven bound on legs, where it is not this number. A model that was made with these very divisions
        serves again.
        """
        fewest = legs if fewest is None else fewest
        self.state.bounds.update({"unplaced": 0, "broken_must": 0, "broken_prefer": least, "legs": fewest})
        rest = self.state.order[len(FIRST) + 1 :]
        open_ = self._within(legs, least)
        if model is None or open_ != divisions:
            model = self._kept(open_, least)
            model.require(self._expression(model, "legs") <= legs)
        return model, rest, fewest == legs

    def _within(self, legs: int, least: int) -> Divisions:
        """Give every division that plans of so few legs and preferences broken can have, as far as is known."""
        open_: Divisions = self.divider.within(legs, alike=self.alike)
        if all(len(of) == 1 for of in open_.values()):
            return open_
        if (legs, least) not in self._narrow:
            self._narrow[legs, least] = spread.narrowed(self.divider, open_, least, legs, self.clock)
        return self._narrow[legs, least]

    def _kept(self, divisions: Divisions, weight: int) -> Model:
        """Make a model of plans that place every splice, keep every must and break preferences of at most this weight."""
        policy = Policy("hard", "soft" if weight else "hard")
        model = build(self.job, policy, all_placed=True, divisions=divisions, clock=self.clock)
        if weight:
            model.require(model.broken("prefer") <= weight)
        self._hint(model)
        return model

    def _deepen(self, legs: int, least: int) -> Found | None:
        """Let divisions of a few legs more join in, until the bound on preferences is met or all have joined in.

        Each model holds all plans of at most so many legs and preferences of at most this weight; one without a solution
        proves that such plans have more legs.
        """
        met = self.state.whole and self.state.value("broken_prefer") == least
        most = self.state.value("legs") - 1 if met else self.divider.most_legs
        step, budget, fewer, sure = 1, legs - 1, legs, True
        until = self.clock.spent + (self._slice(DEEPEN) or 0)
        while budget < most and not self.clock.over and self.clock.spent < until:
            budget = min(most, budget + step)
            step *= 2
            model = self._kept(self._within(budget, least), least)
            expression = self._expression(model, "legs")
            model.require(expression <= budget)
            model.require(expression >= fewer)
            model.cp.minimize(expression)
            outcome = self._run(model, "legs", share=Share(until - self.clock.spent, 1))
            if outcome.assignment is None:
                fewer, sure = (budget + 1, sure) if outcome.proven else (fewer, False)
                continue
            self._polish()
            if sure and outcome.proven and self.state.value("legs") == outcome.value:
                return self._with_legs(outcome.value, least)
            proven = max(fewer, outcome.bound or 0)
            self.state.bounds.update({"unplaced": 0, "broken_must": 0, "broken_prefer": least, "legs": proven})
            model.cp.clear_objective()
            model.require(expression <= self.state.value("legs"))
            return model, self.state.order[len(FIRST) + 1 :], False
        return self._with_legs(self.state.value("legs"), least, fewer) if met else None

    def _open_all(self, least: int) -> Found | None:
        """Minimise the weight of broken preferences over all useful divisions; None if not every must can be kept."""
        model = build(self.job, Policy("hard", "soft"), all_placed=True, divisions=self.divider.open, clock=self.clock)
        any_legs = self.divider.settle()
        if any_legs is not None:
            model.bound("legs", any_legs.legs)
        self._hint(model)
        if self.clock.over:
            return None
        if not model.solution and self._run(model, None, share=LOOK).assignment is None:
            return None
        self.state.bounds.update({"unplaced": 0, "broken_must": 0})
        weight = model.broken("prefer")
        if not isinstance(weight, int):
            model.require(weight >= least)
        return model, self.state.order[2:], True

    # -- what cannot be kept -----------------------------------------------------------------------------------------

    def _ladder(self) -> None:
        """Go down to the first model that has a plan, and minimise what is left there."""
        settled = self.divider.settle()
        self._some({} if settled is None else settled.divisions, all_placed=False)
        out = least_unplaced(self.job, self.clock)
        self.state.bounds["unplaced"] = out
        for rung in RUNGS:
            if self.clock.over:
                break
            if rung.all_placed and (self.divider.hopeless or out):
                continue
            divisions = self.divider.open if rung.all_placed else self.divider.possible
            model = build(self.job, Policy(), all_placed=rung.all_placed, divisions=divisions, clock=self.clock)
            model.bound("unplaced", out)
            self._hint(model)
            if not model.solution:
                outcome = self._run(model, None, share=LOOK if rung.all_placed else None)
                if outcome.assignment is None:
                    self.empty = outcome.proven and not rung.all_placed
                    continue
            self.state.bounds.update({goal: 0 for goal in FIRST if goal not in rung.open})
            self._descend(
                model, [goal for goal in self.state.order if goal in rung.open or goal not in FIRST], sure=True
            )
            break

    # -- goal after goal ---------------------------------------------------------------------------------------------

    def _descend(self, model: Model, goals: Sequence[GoalName], *, sure: bool) -> None:
        """Minimise goal after goal on one model; ``sure`` tells that the goals before are proven."""
        for i, goal in enumerate(goals):
            if self.clock.over:
                return
            if sure and not any(self.state.value(left) for left in goals[i:]):
                self.state.bounds.update(dict.fromkeys(goals[i:], 0))  # nothing is less, and nothing comes after
                return
            sure = self._minimise(model, goal, sure=sure) and sure

    def _minimise(self, model: Model, goal: GoalName, *, sure: bool) -> bool:
        """Minimise one goal and hold the model to the value; tells whether the value is proven."""
        expression = self._expression(model, goal)
        if isinstance(expression, int):
            if sure:
                self.state.bounds[goal] = expression
            return True
        least = self._least(model, goal)
        if self.state.value(goal) == least:
            if sure:
                self.state.bounds[goal] = least
            model.require(expression <= least)
            self._drop_small(model, goal)
            return True
        model.require(expression >= least)
        model.cp.minimize(expression)
        if model.solution:
            hint_last(model)
        outcome = self._run(model, goal, share=None if goal == self.state.order[-1] else GOAL)
        value = self.state.value(goal)
        if sure:
            self.state.bounds[goal] = max(least, outcome.bound or 0)
        model.cp.clear_objective()
        model.require(expression <= value)
        self._drop_small(model, goal)
        if self.gap is not None and outcome.bound is not None and 0 < value - outcome.bound <= self.gap * max(1, value):
            self.state.by_gap = True
        return outcome.proven and outcome.value == value

    def _drop_small(self, model: Model, goal: GoalName) -> None:
        """Leave out legs that are too small for plans with as few legs as are known, once that is."""
        if goal != "legs":
            return
        smallest = self.divider.smallest(self.state.value("legs"), self.state.value("unplaced"))
        for subunit in self.job.subunits:
            for leg in model.all_legs(subunit):
                if self.job.spliced_fibres(leg) < smallest[subunit.trunk]:
                    model.require(model.placed(leg) <= 0)

    def _least(self, model: Model, goal: GoalName) -> int:
        """Bound a goal over the plans of a model; where the best plan meets what is known, nothing more is looked for."""
        least = model.least.get(goal, 0)
        if self.state.value(goal) == least:
            return least
        unplaced = self.state.value("unplaced")
        if goal == "legs":
            return max(least, self.divider.least_legs(unplaced))
        if goal == "leg_length_mm":
            least = max(least, length_bound(self.job, unplaced, self.divider.largest, self._keeps))
            if model.all_placed and self.state.value("broken_must") == 0 and not in_scope(model):
                legs, weight = self.state.value("legs"), self.state.value("broken_prefer")
                fewest = self.state.bounds.get("legs") or 0
                divisions = {(s.trunk, s.number): model.divisions(s) for s in self.job.subunits if model.divisions(s)}
                least = max(least, spread.length_bound(self.divider, divisions, weight, fewest, legs, self.clock))
            return least
        if goal == "out_of_turn" and self.state.value("crossings") == 0:
            return turn_bound(model, self.clock)
        return least

    def _keeps(self, rule: str) -> bool:
        """Whether a plan that is no worse than the best one keeps a rule for every subject."""
        return is_kept(self.job, rule, self.state.value("broken_must"), self.state.value("broken_prefer"))

    def _run(
        self,
        model: Model,
        goal: GoalName | None,
        *,
        trial: CpModel | None = None,
        share: Share | None = None,
    ) -> Outcome:
        """Run the solver, and offer what it finds."""
        watch: Watch | None = None
        if self.progress is not None and goal is not None:
            progress = self.progress

            def watch(value: int | None, bound: int | None) -> None:
                progress(self.clock.seconds, goal, value, bound)

        tuning = replace(self.tuning, slice_s=None if share is None else self._slice(share))
        outcome = run(model, self.clock, tuning, watch, gap=self.gap, trial=trial)
        if outcome.assignment is not None:
            self.state.offer(self.job, outcome.assignment)
        return outcome

    def _slice(self, share: Share) -> float | None:
        """Give the most time for one part of the work, in seconds or in deterministic time; None for as long as it takes."""
        left = self.clock.left
        limits = [share.seconds, None if left is None else max(share.least, share.part * left)]
        return min((limit for limit in limits if limit is not None), default=None)

    def _hint(self, model: Model) -> None:
        if self.state.best is not None:
            complete(model, self.state.best, self.clock)


def is_kept(job: Job, rule: str, musts: int, weight: int) -> bool:
    """Whether plans that break so many musts, and preferences of at most this weight, keep a rule for every subject."""
    setting = job.rules[rule]
    if setting.level == "must":
        return musts == 0 or BY_ID[rule].kind == "physical"
    return setting.level == "prefer" and setting.weight > weight
