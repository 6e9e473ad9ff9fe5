"""Goal after goal on one model: the value of each becomes a bound of the next.

What is known of a goal by counting is asked first; a plan that meets it is proven. Else the model minimises it. A goal that it
does not prove at a glance is put to the blocks of the model, if every goal can be said of them, and then to the model again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from trayopt.domain.finding import Level
from trayopt.domain.plan import GoalName
from trayopt.solver.bounds import place_counts as shelves
from trayopt.solver.bounds import set_partition as spread
from trayopt.solver.bounds.nearest_places import length_bound
from trayopt.solver.bounds.pattern_counts import in_scope
from trayopt.solver.bounds.rings import chained
from trayopt.solver.bounds.settled_segments import SettledBlocks
from trayopt.solver.bounds.turns import lead_of_walk, turn_bound
from trayopt.solver.heuristics.completion import Layouts, Query
from trayopt.solver.heuristics.primal import Attempts, Share
from trayopt.solver.model.incumbent import is_kept
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import Policy
from trayopt.solver.model.run import Outcome, hint_last

GOAL = Share(None, 0.7)
"""For a goal after which others come: where it cannot be proven, they are bettered too."""
PROOF_PART = 0.9
"""Most of what is left for a goal that is put to blocks: where it stays open, nothing that comes after is proven."""
GLANCE = Share(0.5, 0.1)
"""For a goal that blocks can answer as well."""
MOST_AT_A_GLANCE = 2000
"""Models with more bunches times places than this are not tried at a glance."""


class Descent(Attempts):
    """A search that can bring the goals down one by one."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._of_model: dict[Model, Layouts[SettledBlocks] | None] = {}
        self._slow: set[Model] = set()
        """Models that did not prove a goal at a glance: the next goals are put to blocks at once."""
        self._ahead: dict[tuple[Any, ...], Query[SettledBlocks]] = {}
        """A question under way, by its model, its goal, and the values of the best plan up to it when it was asked."""

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
        if layouts is not None and not layouts.blocks.close(goal):
            layouts = None
        outcome = Outcome(None, None, None, proven=False)
        if layouts is None or not (model in self._slow or len(model.bunches) * len(model.places) > MOST_AT_A_GLANCE):
            part = share if layouts is None else GLANCE
            outcome = self._run(model, goal, share=part, prove=bool(model.solution), sure=sure)
        if layouts is not None and not outcome.proven and not self.clock.over:
            self._slow.add(model)
            least = self._by_layouts(model, layouts, goal, max(least, outcome.bound or 0))
            if self.state.value(goal) > least:
                model.require(expression >= least)
                outcome = self._run(model, goal, share=share, prove=bool(model.solution), sure=sure)
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
            if all(len(of) == 1 for of in divisions.values()) and chained(self.job):
                policy = Policy("hard" if model.keeps("base_outward") else "soft", "soft")
                blocks = SettledBlocks(self.divider, divisions, policy, all_placed=model.all_placed, clock=self.clock)
                self._of_model[model] = Layouts(blocks, self.clock) if blocks.able else None
        return self._of_model[model]

    def _by_layouts(self, model: Model, layouts: Layouts[SettledBlocks], goal: GoalName, least: int) -> int:
        """Bound a goal by blocks over plans that are as good as the best one in all goals before, and look for one there.

        The best layout is worked out as soon as it is likely to stay; then the next goal is asked for beside this one's proof.
        """
        query = self._ahead.pop((model, goal, *self._so_far(goal)), None)
        self._drop_ahead()
        query = query or self._ask(layouts, goal, least)
        before = dict(zip(self.state.order, self._so_far(goal)[:-1], strict=False))
        exact, tried = layouts.blocks.exact(goal), None
        while not query.asked.ended(self.clock):
            if query.layout is not tried:
                self._drop_ahead()
            if self.tuning.workers == 1 or self._ahead or not query.quiet:
                continue
            if query.layout is not tried:
                tried = query.layout
                self._work_out(layouts, tried, {**before, goal: query.least or 0}, anywhere=exact, model=model)
            self._ask_ahead(model, layouts, goal)
        answer = query.answer()
        if answer.layout is not tried:
            self._work_out(layouts, answer.layout, {**before, goal: answer.value or 0}, anywhere=exact, model=model)
        return least if answer.bound is None else max(least, answer.bound)

    def _so_far(self, goal: GoalName) -> tuple[int, ...]:
        """Values of the best plan up to a goal: what a question on that goal takes for granted, and what is to be bettered."""
        return self.state.vector[: self.state.order.index(goal) + 1]

    def _ask(self, layouts: Layouts[SettledBlocks], goal: GoalName, least: int) -> Query[SettledBlocks]:
        """Ask blocks for the least value of a goal over plans that are as good as the best one in all goals before."""
        blocks, order = layouts.blocks, self.state.order
        held = [blocks.goal(name) <= self.state.value(name) for name in order[: order.index(goal)]]
        return layouts.ask(blocks.goal(goal), *held, at_least=least, below=self.state.value(goal), part=PROOF_PART)

    def _ask_ahead(self, model: Model, layouts: Layouts[SettledBlocks], goal: GoalName) -> None:
        """Ask for the goal after this one, in case this one stays as it is in the best plan."""
        later = self.state.order[self.state.order.index(goal) + 1 :]
        if later and layouts.blocks.close(later[0]) and self.state.value(later[0]):
            self._ahead[(model, later[0], *self._so_far(later[0]))] = self._ask(layouts, later[0], 0)

    def _drop_ahead(self) -> None:
        """Give up the questions that were asked too soon."""
        while self._ahead:
            self._ahead.popitem()[1].drop()

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
