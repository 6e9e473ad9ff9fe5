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

The remaining goals follow one by one on the model that holds (``descent.py``).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from trayopt.domain.plan import GoalName, Stopped
from trayopt.rules.same_division import SameDivision
from trayopt.solver.bounds import set_partition as spread
from trayopt.solver.bounds.outline import can_be_placed, preference_bound
from trayopt.solver.bounds.segments import Blocks
from trayopt.solver.bounds.unplaced import least_unplaced
from trayopt.solver.heuristics.completion import Layouts
from trayopt.solver.heuristics.primal import LOOK, Share
from trayopt.solver.model.clock import OutOfTime
from trayopt.solver.model.incumbent import FIRST, State, is_kept
from trayopt.solver.model.model import Divisions, Model
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.search.lexicographic import Descent

FIRST_PART = 0.6
"""Most of what is left for the weight of preferences: where it stays open, nothing that comes after is proven."""
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


class Search(Descent):
    """One search on one job, from its first plan to its last proof."""

    def solve(self) -> tuple[State, Stopped]:
        """Search until everything is proven or the clock stops it."""
        try:
            if not self._place_all():
                self._ladder()
        except KeyboardInterrupt:  # between two runs of the solver, while a model is built
            self.clock.interrupted = True
        except OutOfTime:
            pass
        finally:
            self._drop_ahead()
        self.state.settle()
        stopped: Stopped = "proven" if self.state.proven else "gap" if self.state.by_gap else self.clock.why()
        return self.state, stopped

    # -- every splice placed, every must kept ------------------------------------------------------------------------

    def _place_all(self) -> bool:
        """Solve the job among plans that place every splice and keep every must; tells whether there is one."""
        least = None if self.divider.hopeless else preference_bound(self.job, self.divider.open, self.clock)
        if least is None:
            return False
        self.alike = is_kept(self.job, SameDivision.id, 0, least)
        settled = self.divider.settle(alike=self.alike)
        if settled is None and self.alike:
            least, self.alike = max(least, self.job.rules[SameDivision.id].weight), False
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
            bounds = self._bounded(least)
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

    def _bounded(self, least: int) -> tuple[int, int] | None:
        """Bound preferences and legs again, by blocks at places and bunches on stacks; None if not every must can be kept."""
        if self.tuning.workers > 1 and self.state.whole:  # beside the bound on preferences, which the plan likely meets
            self._ask_alone(self.state.value("legs"), self.state.value("broken_prefer"))
        try:
            return self._bound_first(least)
        finally:
            while self._asked:
                self._asked.popitem()[1].drop()

    def _bound_first(self, least: int) -> tuple[int, int] | None:
        weight = self._least_weight(least)
        if weight is None:
            return None
        least = weight
        self.alike = self._kept_alike(least)
        legs = self._least_legs(least)
        if legs is None and spread.legs_bound(self.divider, self.divider.open, None, self.clock) is None:
            return None
        while legs is None and not self.clock.over:  # there are plans, but they break more
            least += 1
            self.alike = self._kept_alike(least)
            legs = self._least_legs(least)
        settled = self.divider.settle(alike=self.alike)
        fewest = max(legs or 0, 0 if settled is None else settled.legs)
        self.state.least |= {"broken_prefer": least, "legs": fewest}
        return least, fewest

    def _kept_alike(self, weight: int) -> bool:
        """Whether preferences of this weight cannot pay for like subunits that are not divided alike."""
        return self.alike and is_kept(self.job, SameDivision.id, 0, weight)

    def _least_weight(self, least: int) -> int | None:
        """Bound the weight of broken preferences over plans that keep every must; None if there are none."""
        if self._prefers(least):
            return least
        if self.layouts.made:
            below = self.state.value("broken_prefer") if self.state.whole else None
            answer = self.layouts.least(
                self.layouts.blocks.broken("prefer"), at_least=least, below=below, part=FIRST_PART
            )
            if answer.bound is None:
                return None
            least = answer.bound
            self._work_out(self.layouts, answer.layout, {"broken_prefer": answer.value or 0})
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
            if below is not None and self._alone(below, least):
                return below
            answer = self.layouts.least(blocks.placed_legs(), blocks.broken("prefer") <= least, below=below)
            if answer.bound is None:
                return None
            fewest = answer.bound
            self._work_out(self.layouts, answer.layout, {"broken_prefer": least})
            if self._meets(least, fewest) or answer.bound == answer.value:
                return fewest
        legs = spread.legs_bound(self.divider, self.divider.open, least, self.clock)
        return None if legs is None else max(fewest, legs)

    def _ask_alone(self, legs: int, weight: int) -> None:
        """Ask whether a plan of at most so many legs and preferences broken is divided otherwise than the best one."""
        if not self.layouts.made or self.state.order[len(FIRST)] != "legs":
            return
        blocks = self.layouts.blocks
        within, placed = self.divider.within(legs, alike=self._kept_alike(weight)), blocks.placed_legs()
        held = (blocks.broken("prefer") <= weight, placed <= legs)
        likeness = self.layouts.like(within, self.state.best, placed < legs, *held)
        if likeness is not None:
            self._asked[legs, weight] = likeness

    def _alone(self, legs: int, least: int) -> bool:
        """Whether no plan of at most so many legs and preferences broken is divided otherwise than the best one."""
        if (legs, least) not in self._asked:
            self._ask_alone(legs, least)
        likeness = self._asked.pop((legs, least), None)
        settled = None if likeness is None else likeness.divisions()
        if settled is not None:
            self._narrow[legs, least] = settled
        return settled is not None

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
        if model is None and any(len(of) > 1 for of in open_.values()):
            self._polish()
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
            model.bound("broken_prefer", least)
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
        hoped: dict[GoalName, int] = {"unplaced": out, "broken_must": 0}
        weight = self._hope(layouts, hoped, goals)
        possible, divisions = self.divider.possible, None
        for goal, value in goals.items():
            least = weight if goal == "broken_prefer" and limits == hoped else self._at_least(goal, out, limits)
            if goal == "legs" and self._holds(limits):
                most = self.state.value("legs")
                likeness = layouts.like(possible, self.state.best, value < most, value <= most, *held)
                divisions = None if likeness is None else likeness.divisions()
                least = least if divisions is None else most
            if not self._holds({**limits, goal: least}):
                below = self.state.value(goal) if self._holds(limits) else None
                answer = layouts.least(value, *held, at_least=least, below=below)
                if answer.bound is None:
                    return False
                least = answer.bound
                self._work_out(layouts, answer.layout, {**limits, goal: answer.value or 0})
            limits[goal] = least
            self.state.bounds[goal] = least
            if not self._holds(limits):
                return False
            held.append(value <= least)
        if divisions is None:
            divisions = layouts.divisions(self._large_enough(possible), self.state.best, *held)
        model = build(self.job, Policy(), all_placed=not limits["unplaced"], divisions=divisions, clock=self.clock)
        for goal, least in limits.items():
            model.require(self._expression(model, goal) <= least)
            self._drop_small(model, goal)
        self._hint(model)
        self._descend(model, self.state.order[len(limits) :], sure=True)
        return True

    def _hope(self, layouts: Layouts[Blocks], hoped: Mapping[GoalName, int], goals: Mapping[GoalName, Any]) -> int:
        """Bound the weight of broken preferences over plans that meet what is known of the goals before, and look for one.

        Where there are such plans, one question settles three goals; where there are none, the bound holds of nothing.
        """
        held = [goals[goal] <= value for goal, value in hoped.items()]
        below = self.state.value("broken_prefer") if self._holds(hoped) else None
        answer = layouts.least(goals["broken_prefer"], *held, below=below)
        self._work_out(layouts, answer.layout, {**hoped, "broken_prefer": answer.value or 0})
        return answer.bound or 0

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
