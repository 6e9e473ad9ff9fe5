"""The search: goals in order, the strictest wish first, every value recounted, every bound proven or left open.

Three steps, each of which settles most jobs alone:

1. *Outline and division.* The outline (ways and stacks, no trays) bounds the preferences that must be broken, the division
   model bounds the legs. The box is then solved with the divisions of least legs. A plan that meets both bounds has its first
   four goals proven, and only divisions that some choice of so few legs uses can hold a better one.
2. *Blocks and deepening.* Where the divisions of least legs do not meet the bound on preferences, blocks at places bound both
   anew and lay out plans that do. Where none meets them, divisions of a few legs more join in, until they do or all divisions
   are in and prove that none does.
3. *The ladder.* Where not every must can be kept with every splice placed, blocks prove how much stays out; where they cannot,
   musts are let go in the whole model, and at last splices.

The remaining goals follow one by one on the model that holds; the value of each becomes a bound of the next. A goal that the
model does not prove at a glance is put to its blocks, if it can be said of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from trayopt.domain.finding import Level
from trayopt.domain.plan import GoalName, Stopped
from trayopt.solve import shelves, spread
from trayopt.solve.attempts import LOOK, Attempts, Share
from trayopt.solve.build import Policy, build
from trayopt.solve.counts import in_scope
from trayopt.solve.layout import Layouts
from trayopt.solve.model import Divisions, Model
from trayopt.solve.outline import can_be_placed, preference_bound
from trayopt.solve.run import Outcome, hint_last
from trayopt.solve.settled_blocks import SettledBlocks
from trayopt.solve.shortest import length_bound
from trayopt.solve.state import FIRST, State, is_kept
from trayopt.solve.stop import OutOfTime
from trayopt.solve.turns import lead_of_walk, turn_bound
from trayopt.solve.unplaced import least_unplaced

GOAL = Share(None, 0.7)
"""For a goal after which others come: where it cannot be proven, they are bettered too."""
GLANCE = Share(2.0, 0.1)
"""For a goal that blocks can answer as well."""
MOST_AT_A_GLANCE = 2000
"""Models with more bunches times places than this are not tried at a glance."""
DEEPEN = Share(60.0, 0.5)
"""For all models of a few legs more together."""


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

Found = tuple[Model, Sequence[GoalName], bool]
"""A model that holds, the goals that are left, and whether the goals before are proven."""


class Search(Attempts):
    """One search on one job, from its first plan to its last proof."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._of_model: dict[Model, Layouts[SettledBlocks] | None] = {}
        self._slow: set[Model] = set()
        """Models that did not prove a goal at a glance: the next goals are put to blocks at once."""

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
            if not self.layouts.made:
                self._even(least)
            bounds = self._bounded(least)
            if bounds is None:
                return False
            least, legs = bounds
            if self.layouts.made:
                self._even(least)
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

    def _bounded(self, least: int) -> tuple[int, int] | None:
        """Bound preferences and legs again, by blocks at places and bunches on stacks; None if not every must can be kept."""
        weight = self._least_weight(least)
        if weight is None:
            return None
        least = weight
        legs = self._least_legs(least)
        if legs is None and spread.legs_bound(self.divider, self.divider.open, None, self.clock) is None:
            return None
        while legs is None and not self.clock.over:  # there are plans, but they break more
            least += 1
            legs = self._least_legs(least)
        self.alike = self.alike and is_kept(self.job, "same_division", 0, least)
        settled = self.divider.settle(alike=self.alike)
        fewest = max(legs or 0, 0 if settled is None else settled.legs)
        self.state.least |= {"broken_prefer": least, "legs": fewest}
        return least, fewest

    def _least_weight(self, least: int) -> int | None:
        """Bound the weight of broken preferences over plans that keep every must; None if there are none."""
        if self._prefers(least):
            return least
        if self.layouts.made:
            below = self.state.value("broken_prefer") if self.state.whole else None
            answer = self.layouts.least(self.layouts.blocks.broken("prefer"), at_least=least, below=below)
            if answer.bound is None:
                return None
            least = answer.bound
            self._work_out(self.layouts, answer, {"broken_prefer": answer.value or 0})
            if self._prefers(least) or answer.bound == answer.value:
                return least
        weight = spread.weight_bound(self.divider, self.divider.open, least, self.clock)
        return None if weight is None else max(least, weight)

    def _least_legs(self, least: int) -> int | None:
        """Bound the legs of plans that break preferences of at most this weight; None if there are none."""
        fewest = 0
        if self.layouts.made and self.state.order[len(FIRST)] == "legs":
            blocks = self.layouts.blocks
            below = self.state.value("legs") if self._prefers(least) else None
            answer = self.layouts.least(blocks.placed_legs(), blocks.broken("prefer") <= least, below=below)
            if answer.bound is None:
                return None
            fewest = answer.bound
            self._work_out(self.layouts, answer, {"broken_prefer": least})
            if self._meets(least, fewest) or answer.bound == answer.value:
                return fewest
        legs = spread.legs_bound(self.divider, self.divider.open, least, self.clock)
        return None if legs is None else max(fewest, legs)

    def _prefers(self, least: int) -> bool:
        """Whether the best plan keeps every must and meets this bound on preferences."""
        return self.state.whole and self.state.value("broken_prefer") == least

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
        if not self.clock.over and self._laid_out(out):
            return
        for rung in RUNGS:
            if self.clock.over:
                break
            if rung.all_placed and (
                self.divider.hopeless or out or not can_be_placed(self.job, self.divider.open, self.clock)
            ):
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
            goals = [goal for goal in self.state.order if goal in rung.open or goal not in FIRST]
            legs = goals.index("legs") + 1
            sure = self._descend(model, goals[:legs], sure=True)
            if not self.clock.over:
                self._descend(self._coarse(model, goals[:legs]), goals[legs:], sure=sure)
            break

    def _laid_out(self, out: int) -> bool:
        """Prove the first goals and the legs by blocks, splices left out or not, and go on from there; tells whether it can.

        ``out`` is a bound on the splices without a tray.
        """
        if self.state.order[len(FIRST)] != "legs":
            return False
        layouts = self._blocked(self.divider.possible, all_placed=False)
        if not layouts.made:
            return False
        blocks = layouts.blocks
        held: list[Any] = []
        limits: dict[GoalName, int] = {}
        goals: dict[GoalName, Any] = {
            "unplaced": blocks.unplaced(),
            "broken_must": blocks.broken("must"),
            "broken_prefer": blocks.broken("prefer"),
            "legs": blocks.placed_legs(),
        }
        for goal, value in goals.items():
            least = self._at_least(goal, out, limits)
            if not self._holds({**limits, goal: least}):
                below = self.state.value(goal) if self._holds(limits) else None
                answer = layouts.least(value, *held, at_least=least, below=below)
                if answer.bound is None:
                    return False
                least = answer.bound
                self._work_out(layouts, answer, {**limits, goal: answer.value or 0})
            limits[goal] = least
            self.state.bounds[goal] = least
            if not self._holds(limits):
                return False
            held.append(value <= least)
        divisions = layouts.divisions(self._large_enough(self.divider.possible), self.state.best, *held)
        model = build(self.job, Policy(), all_placed=not limits["unplaced"], divisions=divisions, clock=self.clock)
        for goal, least in limits.items():
            model.require(self._expression(model, goal) <= least)
            self._drop_small(model, goal)
        self._hint(model)
        self._descend(model, self.state.order[len(limits) :], sure=True)
        return True

    def _at_least(self, goal: GoalName, out: int, limits: Mapping[GoalName, int]) -> int:
        """Give what is known of one of the first goals or the legs without a model."""
        if goal == "unplaced":
            return out
        return self.divider.least_legs(limits["unplaced"]) if goal == "legs" else 0

    def _holds(self, limits: Mapping[GoalName, int]) -> bool:
        """Whether there is a plan that meets these values."""
        return self.state.best is not None and all(self.state.value(goal) == value for goal, value in limits.items())

    def _coarse(self, model: Model, goals: Sequence[GoalName]) -> Model:
        """Make a model again without divisions whose legs are all too small for the plans in it, if there are any.

        ``goals`` are those that the model is held to.
        """
        divisions = self._large_enough(
            {(s.trunk, s.number): of for s in self.job.subunits if (of := model.divisions(s))}
        )
        if all(len(model.divisions(self.job.subunit_of_leg[key])) == len(open_) for key, open_ in divisions.items()):
            return model
        made = build(self.job, Policy(), all_placed=model.all_placed, divisions=divisions, clock=self.clock)
        for goal in goals:
            made.require(self._expression(made, goal) <= self.state.value(goal))
            self._drop_small(made, goal)
        self._hint(made)
        return made

    def _large_enough(self, open_: Divisions) -> Divisions:
        """Leave out divisions whose legs are all too small for plans as good as the best one; one k stands for unplaced."""
        smallest = self.divider.smallest(self.state.value("legs"), self.state.value("unplaced"))
        divisions = {}
        for key, of_ in open_.items():
            legs = {of: self.job.spliced_legs(self.job.subunit_of_leg[key], of) for of in of_}
            large = (of for of in of_ if any(self.job.spliced_fibres(leg) >= smallest[key[0]] for leg in legs[of]))
            divisions[key] = tuple(large) or tuple(of_[:1])
        return divisions

    # -- goal after goal ---------------------------------------------------------------------------------------------

    def _descend(self, model: Model, goals: Sequence[GoalName], *, sure: bool) -> bool:
        """Minimise goal after goal on one model; ``sure`` tells that the goals before are proven, the answer that all are."""
        for goal in goals:
            if self.clock.over:
                return False
            left = self.state.order[self.state.order.index(goal) :]
            if sure and not any(map(self.state.value, left)):
                self.state.bounds.update(dict.fromkeys(left, 0))  # nothing is less, and nothing comes after
                return True
            sure = self._minimise(model, goal, sure=sure) and sure
        return sure

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
        share = None if goal == self.state.order[-1] else GOAL
        layouts = self._settled(model)
        outcome = Outcome(None, None, None, proven=False)
        if layouts is None or not (model in self._slow or len(model.bunches) * len(model.places) > MOST_AT_A_GLANCE):
            outcome = self._run(model, goal, share=share if layouts is None else GLANCE)
        if layouts is not None and not outcome.proven and not self.clock.over:
            self._slow.add(model)
            least = self._by_layouts(layouts, goal, max(least, outcome.bound or 0))
            if self.state.value(goal) > least:
                model.require(expression >= least)
                outcome = self._run(model, goal, share=share)
            else:
                outcome = replace(outcome, value=least, bound=least, proven=True)
        value = self.state.value(goal)
        if sure:
            self.state.bounds[goal] = max(least, outcome.bound or 0)
        model.cp.clear_objective()
        model.require(expression <= value)
        self._drop_small(model, goal)
        if self.gap is not None and outcome.bound is not None and 0 < value - outcome.bound <= self.gap * max(1, value):
            self.state.by_gap = True
        return outcome.proven and outcome.value == value

    def _settled(self, model: Model) -> Layouts[SettledBlocks] | None:
        """Give the blocks of a model, made once, if every goal can be said of them."""
        if model not in self._of_model:
            divisions = {(s.trunk, s.number): of for s in self.job.subunits if (of := model.divisions(s))}
            self._of_model[model] = None
            if all(len(of) == 1 for of in divisions.values()):
                policy = Policy("hard" if model.keeps("base_outward") else "soft", "soft")
                blocks = SettledBlocks(self.divider, divisions, policy, all_placed=model.all_placed, clock=self.clock)
                self._of_model[model] = Layouts(blocks, self.clock) if blocks.exact else None
        return self._of_model[model]

    def _by_layouts(self, layouts: Layouts[SettledBlocks], goal: GoalName, least: int) -> int:
        """Bound a goal by blocks over plans that are as good as the best one in all goals before, and look for one there."""
        before = self.state.order[: self.state.order.index(goal)]
        limits = {name: self.state.value(name) for name in before}
        held = [layouts.blocks.goal(name) <= value for name, value in limits.items()]
        below = self.state.value(goal)
        answer = layouts.least(layouts.blocks.goal(goal), *held, at_least=least, below=below, part=GOAL.part)
        self._work_out(layouts, answer, {**limits, goal: answer.value or 0})
        return least if answer.bound is None else answer.bound

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
            elif unplaced:
                least = max(least, self._shelved(unplaced))
            return least
        if goal == "out_of_turn" and self.state.value("crossings") == 0:
            entering = self._entering(unplaced) if unplaced else None
            return turn_bound(model, self._keeps, self.clock, unplaced=unplaced, entering=entering)
        return least

    def _shelved(self, unplaced: int) -> int:
        """Bound the leg length of plans that leave so many splices out and are as good in all goals before."""
        most = self.state.value("legs") if self._before("legs", "leg_length_mm") else None
        return shelves.length_bound(self.job, self._levels, unplaced, most, self.clock)

    def _entering(self, unplaced: int) -> int | None:
        """Bound the subunits of the trunk that leads the walk that have a placed leg, in plans as good in all goals before."""
        trunk = lead_of_walk(self.job)
        if trunk is None:
            return None
        return shelves.most_entering(self.job, self._levels, trunk, unplaced, self.state.value("legs"), self.clock)

    @property
    def _levels(self) -> tuple[Level, ...]:
        """Levels of which plans as good as the best one break no rule."""
        if self.state.value("broken_must"):
            return ()
        return ("must",) if self.state.value("broken_prefer") else ("must", "prefer")

    def _before(self, one: GoalName, other: GoalName) -> bool:
        return self.state.order.index(one) < self.state.order.index(other)

    def _keeps(self, rule: str) -> bool:
        """Whether a plan that is no worse than the best one keeps a rule for every subject."""
        return is_kept(self.job, rule, self.state.value("broken_must"), self.state.value("broken_prefer"))
