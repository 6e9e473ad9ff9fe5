"""Tactics for jobs without a complete plan: what stays out, and which musts are let go."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from trayopt.domain.assignment import Assignment
from trayopt.domain.plan import GoalName
from trayopt.goals.registry import measure_all
from trayopt.rules.variables import Constraint, Expression
from trayopt.solver.bounds.placed_patterns import Placed
from trayopt.solver.bounds.preference_bounds import MustBound, can_be_placed, must_bound
from trayopt.solver.bounds.segments import Segments
from trayopt.solver.bounds.trunks_outside import out_by_patterns
from trayopt.solver.bounds.unplaced import out_by_stack_counts, out_of_trays
from trayopt.solver.heuristics.completion import EFFORT, RelaxedModel
from trayopt.solver.heuristics.laying import keeps_facts
from trayopt.solver.heuristics.primal import complete_solution, first_plan
from trayopt.solver.heuristics.session import EVEN, LOOK, SOME, SOON, Session
from trayopt.solver.model.base import Divisions
from trayopt.solver.model.bound import ANY, SEARCH, Given
from trayopt.solver.model.incumbent import FIRST
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.search.lexicographic import Descent
from trayopt.solver.search.work import Work
from trayopt.track.laid import Laid

BLIND = 2.0
"""Most deterministic time for a goal of plans of which none is known."""


def any_plan(work: Work) -> None:
    """Have a plan to show, whatever it leaves out."""
    s = work.session
    settled = s.divider.settle()
    first_plan(s, {} if settled is None else settled.divisions, all_placed=False)


def least_unplaced(work: Work) -> None:
    """Bound the splices without a tray over all plans."""
    s = work.session
    least_out(s, counted=work.counted)
    if not s.state.proven and not s.clock.over:
        placed_by_patterns(s)
    work.done = s.state.proven


def placed_by_patterns(s: Session) -> None:
    """Bound the splices without a tray by closed patterns, and look for a plan with the divisions of those that are placed."""
    if s.holds({"unplaced": s.state.least("unplaced")}) or not s.on("placed_patterns"):
        return
    out = out_by_patterns(s.job, s.divider.possible, s.clock)
    if out is None:
        return
    s.state.record("unplaced", out.least, "placed_patterns")
    least = s.state.least("unplaced")
    if out.placed is None or out.least < least or s.clock.over or s.holds({"unplaced": least}):
        return  # no plan places what patterns place where more is known to stay out, by rings perhaps, of which they do not know
    plan_of_patterns(s, out.placed, SOME if out.least else SOON)  # of complete plans all that follows knows more


def plan_of_patterns(s: Session, placed: Placed, effort: float = SOME) -> None:
    """Look for a plan with the divisions and ways of closed patterns that lose few splices, in which these legs stay out."""
    policy = Policy()
    job = s.boxed(policy, placed.divisions)
    model = build(job, policy, all_placed=False, divisions=placed.divisions, ways=placed.ways, clock=s.clock)
    for leg in placed.out:
        model.require(model.placed(leg) <= 0)
    s.better(model, FIRST[:2], effort)


def in_order_by_segments(work: Work) -> None:
    """Prove the first goals and the legs by blocks, splices left out or not, and go on from there."""
    work.done = by_segments(work.session, work.descent, work.session.state.least("unplaced"))


def without_musts(work: Work) -> None:
    """Let musts go, and place every splice."""
    s = work.session
    if can_be_placed(s.job, s.divider.open, s.clock):
        relaxed(work, all_placed=True)


def without_splices(work: Work) -> None:
    """Let musts and splices go: every plan is in this model."""
    relaxed(work, all_placed=False)


def relaxed(work: Work, *, all_placed: bool) -> None:
    """Minimise all goals in a model in which musts may be let go, if it has a plan."""
    s = work.session
    divisions = s.divider.open if all_placed else s.divider.possible
    model = build(s.job, Policy(), all_placed=all_placed, divisions=divisions, clock=s.clock)
    model.given = Given({"unplaced": 0}) if all_placed else ANY
    few_legs(work, all_placed=all_placed)
    s.hint(model)
    if not model.solution:
        outcome = s.run(model, None, effort=LOOK if all_placed else None)
        if outcome.assignment is None:
            s.empty = outcome.proven and not all_placed
            if outcome.proven and all_placed:
                s.state.record("unplaced", 1, SEARCH)
            return
    work.done = True
    goals = [goal for goal in s.state.order if goal != "unplaced" or not all_placed]
    legs = goals.index("legs") + 1
    work.descent.descend(model, goals[:legs])
    if not s.clock.over:
        work.descent.descend(without_small(s, model, goals[:legs]), goals[legs:])


def few_legs(work: Work, *, all_placed: bool) -> None:
    """Better the best plan among those with the divisions of least legs: a small model, where that of all divisions is large."""
    s, settled = work.session, work.session.divider.settle()
    if settled is None or all_placed in work.few_legs:
        return
    work.few_legs.add(all_placed)
    policy = Policy()
    job = s.boxed(policy, settled.divisions)
    model = build(job, policy, all_placed=all_placed, divisions=settled.divisions, clock=s.clock)
    s.hint(model)
    s.better(model, [goal for goal in FIRST if goal != "unplaced" or not all_placed], EVEN)


def nothing_placed(s: Session) -> None:
    """Prove the plan without a leg if no splice can be placed: no plan is then better, and none at all if that breaks a fact."""
    bound = s.state.bound("unplaced")
    if bound.value < s.job.splices or bound.given.at_most:
        return
    empty = Assignment()
    if not keeps_facts(s.job, empty):
        s.empty = True
        return
    s.state.offer(s.job, empty)
    for goal, value in measure_all(Laid(s.job, empty)).items():
        s.state.record(goal, value, bound.by)


def least_out(s: Session, *, counted: bool = False) -> int:
    """Bound the splices without a tray over all plans; ``counted`` tells that ways and stacks were counted before."""
    if s.on("rings"):
        s.state.record("unplaced", out_of_trays(s.job, s.clock), "rings")
    if s.on("stack_counts") and not counted and not s.clock.over:
        s.state.record("unplaced", out_by_stack_counts(s.job, s.clock), "stack_counts")
    nothing_placed(s)
    return s.state.least("unplaced")


def by_segments(s: Session, descent: Descent, out: int) -> bool:
    """Prove the first goals and the legs by blocks, splices left out or not, and go on from there; tells whether it can.

    ``out`` is a bound on the splices without a tray.
    """
    if not s.legs_first:
        return False
    layouts = s.blocked(s.divider.possible, all_placed=False)
    if not layouts.made:
        return False
    blocks = layouts.blocks
    held: list[Constraint] = []
    limits: dict[GoalName, int] = {}
    goals: dict[GoalName, Expression] = {
        "unplaced": blocks.unplaced(),
        "broken_must": blocks.broken("must"),
        "broken_prefer": blocks.broken("prefer"),
        "legs": blocks.placed_legs(),
    }
    outlined = musts_by_outline(s) if not out else MustBound(0, 0)
    hoped: dict[GoalName, int] = {"unplaced": out, "broken_must": outlined.musts}
    weight = hope(s, layouts, hoped, goals, outlined.weight)
    possible, divisions = s.divider.possible, None
    for goal, value in goals.items():
        if goal == "broken_must" and not limits["unplaced"]:
            least = outlined.musts
        else:
            least = weight if goal == "broken_prefer" and limits == hoped else at_least(s, goal, out, limits)
        if goal == "legs" and s.holds(limits):
            most = s.state.value("legs")
            likeness = layouts.like(possible, s.state.best, value < most, value <= most, *held)
            divisions = None if likeness is None else likeness.divisions()
            if divisions is not None:
                least = s.state.record("legs", most, "segments", Given(dict(limits)))
        if not s.holds({**limits, goal: least}):
            below = s.state.value(goal) if s.holds(limits) else None
            while True:
                effort = EFFORT if not limits or s.holds(limits) else BLIND
                answer = layouts.least(value, *held, at_least=least, below=below, effort=effort)
                if answer.bound is None:
                    return False
                least = max(least, s.state.record(goal, answer.bound, "segments", Given(dict(limits))))
                complete_solution(s, layouts, answer.layout, {**limits, goal: answer.value or 0})
                met = s.holds({**limits, goal: least}) or answer.bound != answer.value
                if met or not layouts.follow_more(answer.layout):
                    break
        limits[goal] = least
        if not s.holds(limits) and goal != "broken_must":
            return (
                False  # of the fewest musts the bound on preferences is asked all the same: a plan is often found by it
            )
        held.append(value <= least)
    if divisions is None:
        divisions = layouts.divisions(large_enough(s, possible), s.state.best, *held)
    musts, weight = limits["broken_must"], limits["broken_prefer"]
    divide_at, policy = s.at_tray(weight, musts), Policy("soft" if musts else "hard")
    job = s.boxed(policy, divisions, divide_at, musts=musts, weight=weight, legs=limits["legs"])
    all_placed = not limits["unplaced"]
    model = build(job, policy, all_placed=all_placed, divisions=divisions, divide_at=divide_at, clock=s.clock)
    for goal, least in limits.items():
        model.require(s.expression(model, goal) <= least)
        s.drop_small(model, goal)
    model.given = Given(dict(limits))
    s.hint(model)
    descent.descend(model, s.state.order[len(limits) :])
    return True


def musts_by_outline(s: Session) -> MustBound:
    """Bound by ways and stacks the fewest broken musts of plans that place every splice, and the weight of preferences then.

    What was found by closed patterns beside is given where they were asked before.
    """
    if s.musts is None:
        s.musts = MustBound(0, 0)
        if not s.divider.hopeless and s.on("outline"):
            s.musts = bound = must_bound(s.job, s.divider.open, s.clock)
            s.state.record("broken_must", bound.musts, "outline", Given({"unplaced": 0}))
            s.state.record("broken_prefer", bound.weight, "outline", Given({"unplaced": 0, "broken_must": bound.musts}))
    return s.musts


def hope(
    s: Session,
    layouts: RelaxedModel[Segments],
    hoped: Mapping[GoalName, int],
    goals: Mapping[GoalName, Expression],
    weight: int,
) -> int:
    """Bound the weight of broken preferences over plans that meet all earlier bounds, and look for such a plan.

    ``weight`` is a bound that is known. Where there are such plans, one question settles three goals; where there are none, the
    bound holds of nothing.
    """
    if s.holds({**hoped, "broken_prefer": weight}):
        return weight
    held = [goals[goal] <= value for goal, value in hoped.items()]
    below = s.state.value("broken_prefer") if s.holds(hoped) else None
    answer = layouts.least(goals["broken_prefer"], *held, at_least=weight, below=below)
    complete_solution(s, layouts, answer.layout, {**hoped, "broken_prefer": answer.value or 0})
    if answer.bound is None:
        return 0
    return s.state.record("broken_prefer", answer.bound, "segments", Given(dict(hoped)))


def at_least(s: Session, goal: GoalName, out: int, limits: Mapping[GoalName, int]) -> int:
    """Return the bound on a goal, up to the legs, that is known without a model."""
    if goal == "unplaced":
        return out
    if goal == "legs" and s.on("division"):
        given = Given({"unplaced": limits["unplaced"]})
        return s.state.record("legs", s.divider.least_legs(limits["unplaced"]), "division", given)
    return 0


def without_small(s: Session, model: Model, goals: Sequence[GoalName]) -> Model:
    """Make a model again without divisions whose legs are all too small for the plans in it, if there are any.

    ``goals`` are those that the model is held to.
    """
    divisions = large_enough(s, {(s.trunk, s.number): of for s in s.job.subunits if (of := model.divisions(s))})
    if all(len(model.divisions(s.job.subunit_of_leg[key])) == len(open_) for key, open_ in divisions.items()):
        return model
    divide_at = {trunk.id: model.divide_options(trunk) for trunk in s.job.trunks}
    job = s.boxed(
        Policy(),
        divisions,
        divide_at,
        musts=s.state.value("broken_must"),
        weight=s.state.value("broken_prefer"),
        legs=s.state.value("legs"),
    )
    made = build(job, Policy(), all_placed=model.all_placed, divisions=divisions, divide_at=divide_at, clock=s.clock)
    for goal in goals:
        made.require(s.expression(made, goal) <= s.state.value(goal))
        s.drop_small(made, goal)
    if model.given is not None:
        limits = {goal: s.state.value(goal) for goal in goals}
        made.given = model.given.tightened(limits)
    s.hint(made)
    return made


def large_enough(s: Session, open_: Divisions) -> Divisions:
    """Leave out divisions whose legs are all too small for plans as good as the best one; one k stands for unplaced."""
    smallest = s.divider.smallest(s.state.value("legs"), s.state.value("unplaced"))
    divisions = {}
    for key, of_ in open_.items():
        legs = {of: s.job.spliced_legs(s.job.subunit_of_leg[key], of) for of in of_}
        large = (of for of in of_ if any(s.job.spliced_fibres(leg) >= smallest[key[0]] for leg in legs[of]))
        divisions[key] = tuple(large) or tuple(of_[:1])
    return divisions
