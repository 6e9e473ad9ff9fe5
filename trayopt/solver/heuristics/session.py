"""What the tactics of one search share: the job, the clock, the incumbent with its bounds, and the models they ask."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property, partial
from typing import TYPE_CHECKING

from trayopt.domain.assignment import Assignment
from trayopt.domain.finding import Level
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.rules.breakout import Breakout
from trayopt.rules.no_empty_below import NoEmptyBelow
from trayopt.rules.same_division import SameDivision
from trayopt.rules.variables import Expression, Linear
from trayopt.solver.bounds import opposite_orders
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.partings import PartingBounds
from trayopt.solver.bounds.partition_bounds import FirstGoals
from trayopt.solver.bounds.preference_bounds import MustBound, preferences_kept
from trayopt.solver.bounds.ribbon_choices import leave_room
from trayopt.solver.bounds.segments import Segments
from trayopt.solver.bounds.tray_room import without_room
from trayopt.solver.bounds.ways_first import WaysFirst
from trayopt.solver.heuristics.completion import MOST_EFFORT, Likeness, RelaxedModel
from trayopt.solver.heuristics.descent import lexicographic
from trayopt.solver.heuristics.laying import keeps_facts
from trayopt.solver.heuristics.telling import Progress, Telling
from trayopt.solver.model.base import Divisions
from trayopt.solver.model.bound import Given, Step
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.incumbent import FIRST, State, is_kept
from trayopt.solver.model.model import Least, Model
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.model.run import Outcome, Tuning, Watch, complete, hint_last, run, run_each
from trayopt.solver.model.smaller_box import most_places, smaller
from trayopt.solver.model.ways import Partings

if TYPE_CHECKING:
    from trayopt.solver.model.cp_sat import CpModel


TRIAL = 4.0
"""Most deterministic time for working a guess out to a plan; nothing else finds a plan as soon."""
SOME = 3.0
"""The same for each goal of a first plan, which a stopped search can show."""
EVEN = 3.0
"""The same for the preferences of plans with legs of about equal size."""
CROWDED = 0.5
"""The same for a guess that crowds entrances of trays, of which few come out."""
SOON = 1.0
"""Most deterministic time for each of the first goals by closed patterns, before blocks are made."""
LOOK = 8.0
"""The same for a question that another model can answer as well."""


class Session:
    """One search on one job: what it knows, what it may spend, and how it puts questions to the solver.

    Parameters
    ----------
    order
        All goals in the order in which they count.
    clock, tuning, gap
        When to stop, how the solver searches, and with what distance to its bound a goal is good enough.
    start
        A plan to begin with; it is recounted, and left out if it breaks what no plan breaks.
    progress
        Called with seconds, goal, value and bound.
    watch
        Called with every step of the trail.
    without
        Names of relaxations and tactics that are left out.
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
        progress: Progress | None = None,
        watch: Callable[[Step], None] | None = None,
        without: frozenset[str] = frozenset(),
    ) -> None:
        self.job = job
        self.clock = clock
        self.tuning = tuning or Tuning()
        self.gap = gap
        self.without = without
        self.used: set[str] = set()
        """Relaxations and tactics that the search came to."""
        self.state = State(tuple(order), lambda: clock.seconds, watch)
        self.tell = Telling(self.state, clock, progress)
        """Tells the progress of the search."""
        self.divider = Divider(job)
        if self.on("tray_room"):
            self.state.record("unplaced", without_room(job), "tray_room")
        self.alike = False
        """Whether the plans in work keep like subunits divided alike."""
        self.polished: Assignment | None = None
        self.narrow: dict[tuple[int, int], Divisions] = {}
        """The divisions of plans within limits on legs and broken preferences, for the limits that were asked."""
        self.asked: dict[tuple[int, int], Likeness] = {}
        """Questions under way, whether such plans are divided otherwise than the best one."""
        self.parted: PartingBounds | None = None
        """Bounds by where trunks are divided, once they are known."""
        self.musts: MustBound | None = None
        """What is known of plans that place every splice and let musts go, once it was asked."""
        self.denied_by = ""
        """The last relaxation that proved the bound on preferences to be too low."""
        self.empty = False
        """Whether it is proven that the job has no plan at all: only built pins can bring that about."""
        self._unpayable: dict[tuple[object, ...], frozenset[str]] = {}
        """Preferences that complete plans keep, by the weight that they break and where trunks are divided in them."""
        self._in_box: dict[int, Job] = {}
        """The job in smaller boxes, by the used places for which they have room."""
        self._ways_first: dict[tuple[Model, int], WaysFirst] = {}
        """Choices of ways of models, by the weight of the preferences that plans break."""
        if start is not None and keeps_facts(job, start):
            self.state.offer(job, start)
            self.tell()

    @property
    def legs_first(self) -> bool:
        """Whether legs come first of the goals that may change places."""
        return self.state.order[len(FIRST)] == "legs"

    def on(self, name: str) -> bool:
        """Whether a relaxation or a tactic is to be used; what was asked for is noted."""
        self.used.add(name)
        return name not in self.without

    def prefers(self, least: int) -> bool:
        """Whether the best plan keeps every must and meets this bound on preferences."""
        return self.state.whole and self.state.value("broken_prefer") == least

    def meets(self, least: int, legs: int) -> bool:
        """Whether the best plan meets these bounds on preferences and legs."""
        return self.state.whole and (self.state.value("broken_prefer"), self.state.value("legs")) == (least, legs)

    def within(self, legs: int, least: int, effort: float | None = None) -> Divisions:
        """Return every division of plans with so few legs and broken preferences, as far as some effort finds."""
        if (legs, least) not in self.narrow:
            found = self.narrowed(legs, least, effort)
            if effort is not None:
                return found
            self.narrow[legs, least] = found
        return self.narrow[legs, least]

    def narrowed(self, legs: int, least: int, effort: float | None) -> Divisions:
        """Leave out divisions that no solution within these limits has, by the strongest relaxation that there is."""
        settled = self.divider.settle(alike=self.alike)
        if settled is not None and self.divider.only(settled.divisions, legs, alike=self.alike):
            return settled.divisions
        patterns = self.first_goals.legs(least, SOON) if self.on("set_partition") else None
        if patterns is not None and (patterns.bound == legs or not self.layouts.made):
            known = patterns.divisions if patterns.bound == legs else None
            return self.first_goals.narrowed(least, legs, self.divider.open, known)
        if not self.layouts.made:
            return self.divider.within(legs, alike=self.alike)
        blocks = self.layouts.blocks
        known_plan = self.state.best if self.meets(least, legs) else None
        held = (blocks.broken("prefer") <= least, blocks.placed_legs() <= legs)
        return self.layouts.divisions(self.divider.open, known_plan, *held, effort=effort or MOST_EFFORT)

    @cached_property
    def first_goals(self) -> FirstGoals:
        """Closed patterns, asked for the first goals of plans that place every splice and keep every must."""
        return FirstGoals(self.divider, self.divider.open, self.clock)

    @cached_property
    def some_musts(self) -> FirstGoals:
        """Closed patterns, asked for the first goals of plans that place every splice and let musts go."""
        return FirstGoals(self.divider, self.divider.open, self.clock, policy=Policy())

    @cached_property
    def layouts(self) -> RelaxedModel[Segments]:
        """Blocks at places, of plans that place every splice and keep every must."""
        return self.blocked(self.divider.open, all_placed=True)

    def blocked(self, divisions: Divisions, *, all_placed: bool) -> RelaxedModel[Segments]:
        """Return the blocks of plans with these divisions, complete ones alone or any."""
        policy = Policy("hard", "soft") if all_placed else Policy()
        divider = self.divider.within_box(self.boxed(policy, divisions))
        blocks = Segments(divider, divisions, policy, all_placed=all_placed, clock=self.clock)
        return RelaxedModel(blocks, self.clock, use=self.on("segments"))

    def complete_model(
        self, divisions: Divisions, weight: int, *, legs: int | None = None, divide_at: Partings | None = None
    ) -> Model:
        """Make a model of plans that place every splice, keep every must and break preferences of at most this weight.

        They have so many legs at most; ``divide_at`` says where trunks are divided in them.
        """
        divide_at = self.partings(weight) if divide_at is None else divide_at
        policy = Policy("hard", "soft" if weight else "hard", kept=self.unpayable(weight, divide_at))
        job = self.boxed(policy, divisions, divide_at, weight=weight, legs=legs)
        model = build(job, policy, all_placed=True, divisions=divisions, divide_at=divide_at, clock=self.clock)
        leave_room(model)
        if weight:
            model.require(model.broken("prefer") <= weight)
        self.hint(model)
        return model

    def boxed(
        self,
        policy: Policy,
        divisions: Divisions,
        divide_at: Partings | None = None,
        *,
        musts: int | None = None,
        weight: int | None = None,
        legs: int | None = None,
    ) -> Job:
        """Return the job in a box without the outer places that plans of these divisions do not use, which keep a policy.

        They break so many musts, and preferences of this weight, and have so many legs at most; None where nothing is known.
        """
        kept = policy.mode(self.job, NoEmptyBelow()) == "hard" or (
            weight is not None and is_kept(self.job, NoEmptyBelow.id, musts or 0, weight)
        )
        if not kept:
            return self.job
        places = most_places(self.job, divisions, divide_at=divide_at, legs=legs)
        if places not in self._in_box:
            self._in_box[places] = smaller(self.job, places)
        return self._in_box[places]

    def unpayable(self, weight: int, divide_at: Partings) -> frozenset[str]:
        """Name the preferences that complete plans keep for every subject, as the weight pays for others alone."""
        if not weight or not self.on("outline"):
            return frozenset()
        key = weight, tuple(sorted((trunk, tuple(at)) for trunk, at in divide_at.items()))
        if key not in self._unpayable:
            self._unpayable[key] = preferences_kept(
                self.job, self.divider.open, self.clock, weight, divide_at=divide_at
            )
        return self._unpayable[key]

    def partings(self, weight: int) -> Partings:
        """Return where trunks may be divided in complete plans that break preferences of at most this weight."""
        return {**self.at_tray(weight), **(self.parted.partings(weight) if self.parted is not None else {})}

    def at_tray(self, weight: int, musts: int = 0) -> Partings:
        """Narrow trunks to the tray where plans that break so many musts, and preferences of this weight, keep ``breakout``."""
        if not is_kept(self.job, Breakout.id, musts, weight):
            return {}
        return {trunk.id: ("tray",) for trunk in self.job.trunks if "tray" in trunk.divide_at}

    def ways_first(self, model: Model, weight: int) -> WaysFirst:
        """Return the choices of ways of the plans of a complete model that break preferences of at most this weight."""
        key = (model, weight)
        if key not in self._ways_first:
            self._ways_first[key] = WaysFirst(model, weight, self.clock)
        return self._ways_first[key]

    def expression(self, model: Model, goal: GoalName) -> Expression:
        """Encode a goal, once a model; crossings are bounded by the orders that trunks see as soon as they are encoded."""
        known = goal in model.goals
        expression = model.goal(goal)
        if goal == "crossings" and not known and self.on(opposite_orders.NAME):
            self._bound_crossings(model)
        return expression

    def _bound_crossings(self, model: Model) -> None:
        """Record the least crossings of the plans of a model, and hold the model to them."""
        paid = opposite_orders.must_cross(model)
        if paid is None:
            return
        self.know(model, "crossings", paid.crossings, opposite_orders.NAME)
        model.least["crossings"] = Least(paid.crossings, opposite_orders.NAME)
        opposite_orders.hold_orders(model, paid)

    def run(
        self,
        model: Model,
        goal: GoalName | None,
        *,
        trial: CpModel | None = None,
        effort: float | None = None,
        part: float | None = None,
        prove: bool = False,
    ) -> Outcome:
        """Run the solver, and offer what it finds; ``prove`` tells that a good plan is known and the bound is missing.

        ``effort`` is the most deterministic time for it, ``part`` the most of what is left of a limit.
        """
        watch: Watch | None = None
        if self.tell.wanted and goal is not None:
            sure = self.speaks_of_job(model, goal)

            def watch(value: int | None, bound: int | None) -> None:
                if sure:
                    self.tell(goal, value, bound)
                else:
                    self.tell()

        left = self.clock.left
        slice_s = None if part is None or left is None else part * left
        tuning = replace(self.tuning, prove=prove or goal is None, slice_s=slice_s, effort=effort)
        found = partial(self.state.glimpse, self.job) if self.tuning.every_plan else None
        outcome = run(model, self.clock, tuning, watch, found=found, gap=self.gap, trial=trial)
        if outcome.assignment is not None:
            self.state.offer(self.job, outcome.assignment)
        self.tell()
        return outcome

    def run_each(self, model: Model, trials: Sequence[CpModel], effort: float) -> Iterator[Outcome]:
        """Minimise the goal of each of some copies of a model, and offer what is found."""
        for outcome in run_each(model, trials, self.clock, replace(self.tuning, effort=effort)):
            if outcome.assignment is not None:
                self.state.offer(self.job, outcome.assignment)
            self.tell()
            yield outcome

    def speaks_of_job(self, model: Model, goal: GoalName) -> bool:
        """Whether values and bounds of a goal in a model are those of the job: all before are proven, and no plan is left out."""
        state = self.state
        return (
            state.best is not None
            and goal in state.proofs
            and model.given is not None
            and model.given.met(self.as_good(goal))
        )

    def hint(self, model: Model) -> None:
        """Let a model begin with the best plan."""
        if self.state.best is not None:
            complete(model, self.state.best, self.clock)

    def better(self, model: Model, goals: Sequence[GoalName], effort: float = SOME) -> None:
        """Improve the incumbent on a small model for a while, goal after goal; proofs hold for this model alone."""

        def minimise(goal: GoalName, expression: Linear) -> Outcome:
            del expression
            if model.solution:
                hint_last(model)
            return self.run(model, goal, effort=effort)

        def least(goal: GoalName) -> int | None:
            return self.state.least(goal) if model.solution else None

        for _, outcome in lexicographic(model, goals, minimise, self.state.value, least=least, encode=self.expression):
            if outcome.value is None:
                return

    def know(
        self, model: Model, goal: GoalName, value: int, by: str, given: Mapping[GoalName, int] | None = None
    ) -> int:
        """Record a bound over the plans of a model that meet what is given beside; the model may leave out other plans."""
        if model.given is None:
            return value
        return self.state.record(goal, value, by, model.given.tightened(given or {}))

    def held(self, model: Model, goal: GoalName) -> None:
        """Note that a model is held to the best plan's value of a goal, and leave out legs that are then too small."""
        if model.given is not None:
            model.given = model.given.tightened({goal: self.state.value(goal)})
        self.drop_small(model, goal)

    def drop_small(self, model: Model, goal: GoalName) -> None:
        """Leave out legs that are too small for plans with as few legs as are known, once that is."""
        if goal != "legs":
            return
        smallest = self.divider.smallest(self.state.value("legs"), self.state.value("unplaced"))
        for subunit in self.job.subunits:
            for leg in model.all_legs(subunit):
                if self.job.spliced_fibres(leg) < smallest[subunit.trunk]:
                    model.require(model.placed(leg) <= 0)

    def so_far(self, goal: GoalName) -> tuple[int, ...]:
        """Values of the best plan up to a goal: the limits of a question on the goal, and the value to be bettered."""
        return self.state.vector[: self.state.order.index(goal) + 1]

    def as_good(self, goal: GoalName) -> dict[GoalName, int]:
        """Values of the best plan in the goals before one."""
        return dict(zip(self.state.order, self.so_far(goal)[:-1], strict=False))

    def given(self, goals: Sequence[GoalName]) -> Given:
        """Take the best plan's values of some goals for granted."""
        return Given({goal: self.state.value(goal) for goal in goals})

    def keeps(self, rule: str) -> bool:
        """Whether every plan that is no worse than the incumbent keeps a rule for every subject."""
        return is_kept(self.job, rule, self.state.value("broken_must"), self.state.value("broken_prefer"))

    @property
    def levels(self) -> tuple[Level, ...]:
        """Levels whose rules every plan keeps that is as good as the best one."""
        if self.state.value("broken_must"):
            return ()
        return ("must",) if self.state.value("broken_prefer") else ("must", "prefer")

    def holds(self, limits: Mapping[GoalName, int]) -> bool:
        """Whether there is a plan that meets these values."""
        return self.state.best is not None and all(self.state.value(goal) == value for goal, value in limits.items())

    def kept_alike(self, weight: int) -> bool:
        """Whether preferences of this weight cannot pay for like subunits that are not divided alike."""
        return self.alike and is_kept(self.job, SameDivision.id, 0, weight)
