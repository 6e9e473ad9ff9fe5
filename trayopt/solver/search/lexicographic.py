"""Lexicographic optimisation on a model with all that bounds it: the value of each goal becomes a limit for the next.

What is known of a goal by counting is asked first; a plan that meets it is proven. Else the model minimises it. A goal that it
does not prove at a glance is put to the blocks of the model, if every goal can be said of them, and then to the model again.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence

from trayopt.domain.plan import GoalName
from trayopt.rules.no_empty_below import NoEmptyBelow
from trayopt.rules.variables import Linear
from trayopt.solver.bounds import partition_bounds, pattern_bounds, place_counts, tray_room
from trayopt.solver.bounds.kind_counts import EFFORT, AtPlaces, Limits
from trayopt.solver.bounds.opposite_orders import settle_orders
from trayopt.solver.bounds.pattern_counts import brought, hold, in_scope
from trayopt.solver.bounds.rings import chained
from trayopt.solver.bounds.settled_segments import SettledSegments
from trayopt.solver.bounds.strand_places import least_irregular
from trayopt.solver.bounds.trunks_outside import trays_by_patterns
from trayopt.solver.bounds.ways_first import settle_ways
from trayopt.solver.heuristics.completion import MOST_EFFORT, Query, RelaxedModel, add_all
from trayopt.solver.heuristics.descent import lexicographic
from trayopt.solver.heuristics.primal import complete_solution, goes_otherwise
from trayopt.solver.heuristics.session import TRIAL, Session
from trayopt.solver.model.bound import OF_PLACES, SEARCH, Given
from trayopt.solver.model.incumbent import FIRST
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import Policy
from trayopt.solver.model.run import Outcome, hint_last, is_within

GOAL_PART = 0.7
"""Most of what is left of a limit for a goal after which others come: where it cannot be proven, they are bettered too."""
GLANCE = 0.5
"""Most deterministic time for a goal that a relaxation can answer as well."""
WAYS = 6.0
"""Most deterministic time for the leg length by one choice of ways."""
FIRST_LOOK = 1.0
"""Most deterministic time for a goal of places by closed patterns, before the model is asked."""
LOOK = 6.0
"""The same by the model, before closed patterns are asked again for longer: they may say less than the model."""
MOST_AT_A_GLANCE = 2000
"""Models with more bunches times places than this are not tried at a glance."""


class Descent:
    """The lexicographic descent of a search: it minimises the goals of a model in their order."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self._of_model: dict[Model, RelaxedModel[SettledSegments] | None] = {}
        self._slow: set[Model] = set()
        """Models that did not prove a goal at a glance: the next goals are put to blocks at once."""
        self._settled_by_patterns: set[tuple[Hashable, ...]] = set()
        """Questions that closed patterns answered to the end, by model, goal and the values before it: asked once is enough."""
        self._ahead: dict[tuple[Hashable, ...], Query[SettledSegments]] = {}
        """A question under way, by its model, its goal, and the values of the best plan up to it when it was asked."""

    def descend(self, model: Model, goals: Sequence[GoalName]) -> None:
        """Minimise goal after goal on a model, after asking for the bounds that counting gives."""
        session = self.session
        state = session.state
        if self._ended():
            return
        for goal, outcome in lexicographic(
            model,
            goals,
            lambda goal, expression: self._minimise(model, goal, expression),
            state.value,
            least=lambda goal: self._least(model, goal),
            encode=session.expression,
        ):
            least = state.least(goal)
            if outcome.bound is not None:
                least = max(least, session.know(model, goal, outcome.bound, SEARCH))
            value = state.value(goal)
            if value > least and is_within(session.gap, value, least):
                state.by_gap = True
            if self._ended():
                break
            session.held(model, goal)
            if goal == "trays":
                self._leave_outer_places(model)
            if goal == "crossings" and session.on("opposite_orders"):
                settle_orders(model, state.value("crossings"))

    def _leave_outer_places(self, model: Model) -> None:
        """Leave out the places that lie farther out than there are used places, where none is empty under a used one.

        Over trays of another kind places may be empty: of a box that has such nothing is left out.
        """
        if self.session.keeps(NoEmptyBelow.id) and not model.job.mixed:
            for place in model.places:
                if place.position > self.session.state.value("trays"):
                    model.require(model.used(place) <= 0)

    def _ended(self) -> bool:
        """Whether nothing is left to do, or no time to do it in."""
        return self.session.clock.over or self.session.state.proven

    def _minimise(self, model: Model, goal: GoalName, expression: Linear) -> Outcome:
        """Minimise one goal: at a glance, then by blocks where all goals can be said of them, then by the model again.

        Where splices stay out, lengths and used places that are not proven at a glance are counted; that often is enough.
        """
        session = self.session
        if model.solution:
            hint_last(model)
        part = None if goal == session.state.order[-1] else GOAL_PART
        by_ways = self._by_ways(model, goal) if goal == "leg_length_mm" else None
        if by_ways is not None:
            return by_ways
        if goal == "irregular" and session.on("strand_places") and self._by_strands(model):
            return Outcome(None, session.state.value(goal), None, proven=True)
        layouts = self._settled(model)
        if layouts is not None and not layouts.blocks.close(goal):
            layouts = None
        counted = goal in OF_PLACES and session.state.value("unplaced") > 0
        if layouts is None and not counted:
            looked = self._look_first(model, goal, expression)
            if looked is not None and (looked.proven or session.clock.over):
                return looked
            return session.run(model, goal, part=part, prove=bool(model.solution))
        outcome = Outcome(None, None, None, proven=False)
        if model not in self._slow and len(model.bunches) * len(model.places) <= MOST_AT_A_GLANCE:
            outcome = session.run(model, goal, effort=GLANCE, prove=bool(model.solution))
        if outcome.proven or session.clock.over:
            return outcome
        self._slow.add(model)
        least = session.state.least(goal)
        if outcome.bound is not None:
            least = max(least, session.know(model, goal, outcome.bound, SEARCH))
        if counted and session.state.value(goal) > least:
            least = max(least, self._least_of_some(goal, session.state.value("unplaced")))
        if layouts is not None and session.state.value(goal) > least:
            least = self._by_layouts(model, layouts, goal, least)
        if session.state.value(goal) == least:
            return Outcome(None, least, None, proven=True)
        model.require(expression >= least)
        return session.run(model, goal, part=part, prove=bool(model.solution))

    def _look_first(self, model: Model, goal: GoalName, expression: Linear) -> Outcome | None:
        """Minimise a goal of places on the model for a while, and bound it by closed patterns; None where these say nothing.

        They were asked at a glance before. Of a small model they take longer than the model itself, and say less.
        """
        session, state = self.session, self.session.state
        if not self._patterned(model, goal):
            return None
        outcome = session.run(model, goal, effort=LOOK, prove=bool(model.solution))
        least = state.least(goal)
        if outcome.bound is not None:
            least = max(least, session.know(model, goal, outcome.bound, SEARCH))
        if outcome.proven or session.clock.over or state.value(goal) == least:
            return outcome
        if (model, goal, *session.so_far(goal)[:-1]) not in self._settled_by_patterns:
            least = max(least, self._least_of_all(model, goal, least, EFFORT))
        if state.value(goal) == least:
            return Outcome(None, least, None, proven=True)
        model.require(expression >= least)
        return outcome

    def _patterned(self, model: Model, goal: GoalName) -> bool:
        """Whether closed patterns bound a goal over the plans of a model, and counts of settled divisions do not."""
        counted = in_scope(model) and self.session.state.whole
        return goal in OF_PLACES and model.all_placed and not counted and self.session.on("set_partition")

    def _by_ways(self, model: Model, goal: GoalName) -> Outcome | None:
        """Minimise the leg length over each choice of ways; None where they are too many, or were not proven one by one.

        The best plan with its legs where they lie goes each of these ways first.
        """
        session, value = self.session, self.session.state.value
        if not (model.all_placed and session.state.whole and in_scope(model) and session.on("pattern_counts")):
            return None
        choices = session.ways_first(model, value("broken_prefer")).within(value(goal))
        if choices is None:
            return None
        before = session.state.best
        for choice in choices:
            goes_otherwise(session, choice.ways)
        for trunk in model.job.trunks:
            for way in model.ways(trunk):
                if choices and all(choice.ways.get(trunk.id, way) != way for choice in choices):
                    model.require(model.goes(trunk, way) <= 0)
        trials = [settle_ways(model, choice.ways) for choice in choices if choice.least < value(goal)]
        outcomes = list(session.run_each(model, trials, WAYS))
        if session.state.best is not before:
            session.hint(model)
        open_ = (outcome for outcome in outcomes if not outcome.infeasible and (outcome.bound or 0) < value(goal))
        if len(outcomes) < len(trials) or any(open_):
            return None
        return Outcome(None, value(goal), value(goal), proven=True)

    def _by_strands(self, model: Model) -> bool:
        """Bound irregularity by the orders that crossings leave, and look for a plan of that layout: whether that proves it."""
        session, state = self.session, self.session.state
        layout = least_irregular(model, state.value("crossings"), session.clock)
        if layout is None:
            return False
        session.know(model, "irregular", layout.bound, "strand_places", session.as_good("irregular"))
        if layout.irregular < state.value("irregular"):
            trial = model.cp.clone()
            trial.add_bool_and([model.at(model.bunches[bunch][0], place) for bunch, place in layout.places.items()])
            session.run(model, None, trial=trial, effort=TRIAL)
        return state.value("irregular") <= state.least("irregular")

    def _settled(self, model: Model) -> RelaxedModel[SettledSegments] | None:
        """Return the blocks of a model, made once, if every goal can be said of them."""
        if model not in self._of_model:
            divisions = {key: model.divisions(model.job.subunit_of_leg[key]) for key in self.session.divider.open}
            self._of_model[model] = None
            if (
                self.session.on("settled_segments")
                and all(len(of) == 1 for of in divisions.values())
                and chained(self.session.job)
            ):
                policy = Policy("hard" if model.keeps(NoEmptyBelow.id) else "soft", "soft")
                divider, clock = self.session.divider.within_box(model.job), self.session.clock
                blocks = SettledSegments(divider, divisions, policy, all_placed=model.all_placed, clock=clock)
                self._of_model[model] = RelaxedModel(blocks, self.session.clock) if blocks.able else None
        return self._of_model[model]

    def _by_layouts(self, model: Model, layouts: RelaxedModel[SettledSegments], goal: GoalName, least: int) -> int:
        """Bound a goal by segments over plans that equal the incumbent in all goals before, and look for such a plan.

        The best layout is worked out as soon as it is likely to stay; then the next goal is asked for beside this one's proof.
        """
        query = self._ahead.pop((model, goal, *self.session.so_far(goal)), None)
        self.drop_ahead()
        query = query or self._ask(layouts, goal, least)
        before = self.session.as_good(goal)
        exact, tried = layouts.blocks.exact(goal), None
        while not query.asked.ended(self.session.clock):
            if query.layout is not tried:
                self.drop_ahead()
            if self.session.tuning.workers == 1 or self._ahead or not query.quiet:
                continue
            if query.layout is not tried:
                tried = query.layout
                complete_solution(
                    self.session, layouts, tried, {**before, goal: query.least or 0}, anywhere=exact, model=model
                )
            self._ask_ahead(model, layouts, goal)
        answer = query.answer()
        if answer.layout is not tried:
            complete_solution(
                self.session, layouts, answer.layout, {**before, goal: answer.value or 0}, anywhere=exact, model=model
            )
        if answer.bound is None:
            return least
        return max(least, self.session.know(model, goal, answer.bound, "settled_segments", before))

    def _ask(self, layouts: RelaxedModel[SettledSegments], goal: GoalName, least: int) -> Query[SettledSegments]:
        """Ask segments for the least value of a goal over plans that equal the incumbent in all goals before."""
        blocks, order = layouts.blocks, self.session.state.order
        held = [blocks.goal(name) <= self.session.state.value(name) for name in order[: order.index(goal)]]
        return layouts.ask(
            blocks.goal(goal), *held, at_least=least, below=self.session.state.value(goal), effort=MOST_EFFORT
        )

    def _ask_ahead(self, model: Model, layouts: RelaxedModel[SettledSegments], goal: GoalName) -> None:
        """Ask for the next goal meanwhile, in case the incumbent's value of this goal stays."""
        later = self.session.state.order[self.session.state.order.index(goal) + 1 :]
        if later and layouts.blocks.close(later[0]) and self.session.state.value(later[0]):
            self._ahead[(model, later[0], *self.session.so_far(later[0]))] = self._ask(layouts, later[0], 0)

    def drop_ahead(self) -> None:
        """Give up the questions that were asked too soon."""
        while self._ahead:
            self._ahead.popitem()[1].drop()

    def _least(self, model: Model, goal: GoalName) -> int:
        """Bound a goal over the plans of a model; where the best plan meets what is known, nothing more is looked for."""
        least = self.session.state.least(goal)
        if goal in model.least:
            known = self.session.know(model, goal, *model.least[goal])
            if Given(model.least[goal].given or {}).met(self.session.as_good(goal)):
                least = max(least, known)
        if self.session.state.value(goal) == least:
            return least
        unplaced = self.session.state.value("unplaced")
        if goal == "legs" and self.session.on("division"):
            fewest = self.session.divider.least_legs(unplaced)
            return max(least, self.session.state.record(goal, fewest, "division", Given({"unplaced": unplaced})))
        if goal == "trays" and self.session.on("tray_room"):
            fewest, by = tray_room.fewest_trays(model, unplaced), "tray_room"
            least = max(least, self.session.know(model, goal, fewest, by, self.session.as_good(goal)))
        if goal == "trays" and unplaced and self.session.state.value(goal) > least:
            least = max(least, self._trays_of_some(unplaced))
        if goal in OF_PLACES and model.all_placed and self.session.state.value(goal) > least:
            least = max(least, self._least_of_all(model, goal, least))
        return least

    def _least_of_all(self, model: Model, goal: GoalName, at_least: int, effort: float = FIRST_LOOK) -> int:
        """Bound a goal of places over the plans of a model that are as good in all goals before, by counting.

        ``at_least`` is a bound that is known, ``effort`` the most deterministic time for closed patterns.
        """
        session = self.session
        good = session.as_good(goal)
        weight = session.state.value("broken_prefer")
        length = good.get("leg_length_mm") if goal == "irregular" else None
        limits: Limits = {"legs": good.get("legs"), "trays": good.get("trays"), "leg_length_mm": length}
        if in_scope(model) and session.state.whole:
            if not session.on("pattern_counts"):
                return 0
            ways = session.ways_first(model, weight)
            most = session.state.value(goal)
            found = pattern_bounds.placed_bound(
                goal, model, weight, limits, session.clock, at_least=at_least, most=most, ways=ways
            )
            return session.know(model, goal, found or 0, "pattern_counts", good)
        if not session.on("set_partition"):
            return 0
        least = partition_bounds.placed_bound(
            goal,
            session.divider.within_box(model.job),
            {(s.trunk, s.number): of for s in session.job.subunits if (of := model.divisions(s))},
            weight,
            session.state.least("legs") if "legs" in good else 0,
            limits,
            session.clock,
            divide_at={trunk.id: model.divide_options(trunk) for trunk in session.job.trunks},
            musts=session.state.value("broken_must"),
            effort=effort,
        )
        bound = session.know(model, goal, least.bound, "set_partition", good)
        if least.best is not None:
            self._settled_by_patterns.add((model, goal, *good.values()))
        if least.best is not None and session.state.value(goal) > least.bound:
            self._lay_out(model, goal, least.bound, least.best)
        return bound

    def _lay_out(self, model: Model, goal: GoalName, bound: int, best: AtPlaces) -> None:
        """Look for a plan of a model that meets a bound with the counts of closed patterns at every place."""
        expression = self.session.expression(model, goal)
        trial = hold(model, best, places=True, alike=brought)
        trial.clear_objective()
        add_all(trial, [expression <= bound])
        self.session.run(model, None, trial=trial, effort=TRIAL)

    def _trays_of_some(self, unplaced: int) -> int:
        """Bound used places over plans that leave splices out by the groups of legs that they place."""
        session = self.session
        good = session.as_good("trays")
        if "legs" not in good or not session.on("placed_patterns"):
            return 0
        open_ = session.divider.possible
        least = trays_by_patterns(session.job, open_, unplaced, good["legs"], session.clock)
        given = Given({"unplaced": unplaced, "legs": good["legs"]})
        return session.state.record("trays", least, "placed_patterns", given)

    def _least_of_some(self, goal: GoalName, unplaced: int) -> int:
        """Bound used places or leg length over plans that leave splices out and are as good in all goals before."""
        session = self.session
        if goal == "irregular" or not session.on("place_counts"):
            return 0
        good = session.as_good(goal)
        names: tuple[GoalName, ...] = ("legs", "trays")
        limits = {name: good[name] for name in names if name in good}
        musts, weight = good["broken_must"], good["broken_prefer"]
        open_ = session.divider.possible
        job = session.boxed(Policy(), open_, musts=musts, weight=weight, legs=good.get("legs"))
        least = place_counts.goal_bound(job, goal, session.levels, unplaced, limits, session.clock)
        return session.state.record(goal, least, "place_counts", session.given((*FIRST, *limits)))
