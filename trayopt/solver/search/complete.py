"""Tactics for complete plans: those that place every splice and keep every must."""

from __future__ import annotations

from trayopt.rules.same_division import SameDivision
from trayopt.rules.variables import Linear
from trayopt.solver.bounds.partings import parting_bounds
from trayopt.solver.bounds.partition_bounds import WEIGHT_EFFORT
from trayopt.solver.heuristics.completion import MOST_EFFORT, Answer
from trayopt.solver.heuristics.primal import complete_solution, even_legs, first_plan, fix_divisions
from trayopt.solver.heuristics.session import LOOK, SOON, Session
from trayopt.solver.model.bound import COMPLETE, SEARCH, up_to
from trayopt.solver.model.incumbent import FIRST, is_kept
from trayopt.solver.model.literals import linear
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.search.divided import breaks_more, divided_by_patterns, least_divided, with_legs
from trayopt.solver.search.work import Found, Work

DEEPEN = 15.0
"""Most deterministic time for all models of a few legs more together."""
ALL_EFFORT = 5.0
"""Most deterministic time for a question to the model of all divisions before divisions join in one by one."""
MOST_LITERALS = 50_000
"""Of a model of all divisions with more legs times places than this they are not asked: it takes long to make."""
NARROWING = 1.0
"""Most deterministic time for narrowing the divisions of a few legs more: what is left open costs a model less than that."""
FOLLOWED = 10.0
"""Most deterministic time for the weight of preferences once legs are followed to places, and tubes to stacks."""


def first_bounds(work: Work) -> None:
    """Bound preferences by ways and stacks, and legs by the division model; either may tell that no plan is complete."""
    s = work.session
    if s.divider.hopeless and s.on("division"):
        s.state.record("unplaced", 1, "division")
    least = None if s.divider.hopeless else outlined(s)
    if least is None:
        work.complete = False
        return
    s.alike = is_kept(s.job, SameDivision.id, 0, least)
    settled = s.divider.settle(alike=s.alike)
    if settled is None and s.alike:
        unlike = s.state.record("broken_prefer", s.job.rules[SameDivision.id].weight, "division", COMPLETE)
        least, s.alike = max(least, unlike), False
        settled = s.divider.settle(alike=False)
    if settled is None:
        work.complete = False
        return
    work.weight, work.legs, work.divisions = least, divided_legs(s, settled.legs, least), settled.divisions


def least_legs_first(work: Work) -> None:
    """Solve with the divisions of least legs: a plan that meets both bounds has its first four goals proven."""
    work.found = least_divided(work)


def least_by_patterns(work: Work) -> None:
    """Bound preferences and legs by closed patterns, and solve with the divisions that these choose."""
    s = work.session
    if s.first_goals.legs(work.weight, SOON).bound is None:
        weight = s.first_goals.weight(work.weight + 1, SOON)
        if weight is None:
            work.complete = False
            return
        breaks_more(work, s.state.record("broken_prefer", weight, "set_partition", COMPLETE))
    divided_by_patterns(work)


def some_plan(work: Work) -> None:
    """Have a plan to show, and better it for a while: of the divisions of least legs, or else of those of closed patterns.

    Divisions of least legs may have bunches that no tray holds. Closed patterns have none, whatever preferences they break.
    """
    s = work.session
    first_plan(s, work.divisions, all_placed=True)
    if not s.state.whole and s.on("set_partition") and not s.clock.over:
        answer = s.first_goals.legs(None, WEIGHT_EFFORT)
        if answer.bound is None:
            work.complete = False
            return
        if answer.divisions not in (None, work.divisions):
            first_plan(s, answer.divisions, all_placed=True)
    first_plan(s, work.divisions, all_placed=False)


def legs_of_one_size(work: Work) -> None:
    """Look for plans whose legs are all of about one size: some such plan often breaks the fewest preferences of all."""
    even_legs(work.session, work.weight)


def second_bounds(work: Work) -> None:
    """Bound preferences and legs by blocks at places and by closed patterns."""
    bounds = bounded(work)
    if bounds is None:
        work.complete = False
    else:
        work.weight, work.legs = bounds


def may_ask_all(work: Work) -> bool:
    """Whether the bound on preferences is not met, and the model of all divisions is soon made."""
    s = work.session
    legs = sum(of for of_ in s.divider.open.values() for of in of_)
    return not s.prefers(work.weight) and legs * len(s.job.enclosure.places) <= MOST_LITERALS


def fewest_broken(work: Work) -> None:
    """Look for a complete plan of any divisions where none is known, and for the fewest preferences that such plans break."""
    s = work.session
    work.all_open = model = work.all_open or open_model(s)
    if not s.state.whole and s.run(model, None, effort=ALL_EFFORT).infeasible:
        work.complete = False
    weight = model.broken("prefer")
    if not s.state.whole or isinstance(weight, int):
        return
    s.hint(model)
    model.require(weight >= work.weight)
    model.cp.minimize(linear(weight))
    outcome = s.run(model, "broken_prefer", effort=ALL_EFFORT, prove=True)
    model.cp.clear_objective()
    if outcome.bound is not None:
        least = s.state.record("broken_prefer", outcome.bound, SEARCH, COMPLETE)
        if least > work.weight and s.prefers(least):  # the bound on legs was of plans that break less
            work.weight, work.legs = bound_first(work, least) or (least, 0)
        if s.prefers(work.weight):
            least_legs_of_all(work, model, weight)


def least_legs_of_all(work: Work, model: Model, weight: Linear) -> None:
    """Minimise legs on the model of all divisions, where the bound on preferences is met, before divisions join in one by one."""
    s = work.session
    if not s.legs_first or work.found is not None or s.meets(work.weight, work.legs):
        return
    s.hint(model)
    model.require(weight <= work.weight)
    legs = s.expression(model, "legs")
    model.require(legs >= work.legs)
    model.cp.minimize(linear(legs))
    outcome = s.run(model, "legs", effort=ALL_EFFORT, prove=True)
    model.cp.clear_objective()
    if outcome.bound is not None:
        work.legs = max(work.legs, s.state.record("legs", outcome.bound, SEARCH, up_to(work.weight)))
    if s.meets(work.weight, work.legs):
        work.found = with_legs(s, work.legs, work.weight)


def deepening(work: Work) -> None:
    """Let divisions of a few legs more join in, until the bound on preferences is met or all have joined in."""
    work.found = deepen(work.session, work.legs, work.weight)


def all_divisions(work: Work) -> None:
    """Take a model of all useful divisions; without a solution, not every must can be kept."""
    work.found = open_all(work)


def descend(work: Work) -> None:
    """Minimise the remaining goals in their order on the model that holds."""
    if work.found is not None:
        work.descent.descend(*work.found)
        work.done = True


def outlined(s: Session) -> int | None:
    """Bound the weight of broken preferences by ways and stacks; None if not every must can be kept."""
    if not s.on("outline"):
        return 0
    s.parted = parting_bounds(s.job, s.divider.open, s.clock, beside=s.tuning.at_a_time)
    least = s.parted.least
    return None if least is None else s.state.record("broken_prefer", least, "outline", COMPLETE)


def divided_legs(s: Session, legs: int, least: int) -> int:
    """Record the least legs of the division model, which keeps like subunits alike where ``alike`` says that plans do."""
    given = COMPLETE.tightened({"broken_prefer": least}) if s.alike else COMPLETE
    return s.state.record("legs", legs, "division", given) if s.on("division") else legs


def bounded(work: Work) -> tuple[int, int] | None:
    """Bound preferences and legs again, by blocks at places and bunches on stacks; None if not every must can be kept."""
    s = work.session
    if s.tuning.workers > 1 and s.state.whole:  # beside the bound on preferences, which the plan likely meets
        ask_alone(s, s.state.value("legs"), s.state.value("broken_prefer"))
    try:
        return bound_first(work, work.weight)
    finally:
        while s.asked:
            s.asked.popitem()[1].drop()


def bound_first(work: Work, least: int) -> tuple[int, int] | None:
    """Bound preferences, then legs; while no plan breaks so little, the weight is raised by 1."""
    s = work.session
    weight = least_weight(s, least)
    if weight is None:
        return None
    least = weight
    s.alike = s.kept_alike(least)
    legs = least_legs(work, least)
    if legs is None and s.on("set_partition") and denied(s):
        return None
    while legs is None and not s.clock.over:  # there are plans, but they break more
        least = s.state.record("broken_prefer", least + 1, s.denied_by, COMPLETE)
        s.alike = s.kept_alike(least)
        legs = least_legs(work, least)
    settled = s.divider.settle(alike=s.alike)
    fewest = 0 if settled is None else divided_legs(s, settled.legs, least)
    return least, max(legs or 0, fewest)


def denied(s: Session) -> bool:
    """Whether no plan is complete, whatever preferences it breaks."""
    return s.first_goals.legs(None).bound is None


def least_weight(s: Session, least: int) -> int | None:
    """Bound the weight of broken preferences over plans that keep every must; None if there are none."""
    if s.prefers(least):
        return least
    if s.layouts.made:
        answer = lightest_layout(s, least)
        while answer.bound is not None and not s.prefers(answer.bound) and s.layouts.follow_more(answer.layout):
            answer = lightest_layout(s, answer.bound, FOLLOWED)
        if answer.bound is None:
            return None
        least = max(least, answer.bound)
        if s.prefers(least) or answer.bound == answer.value:
            return least
    if not s.on("set_partition"):
        return least
    weight = s.first_goals.weight(least)
    return None if weight is None else s.state.record("broken_prefer", max(least, weight), "set_partition", COMPLETE)


def lightest_layout(s: Session, least: int, effort: float = MOST_EFFORT) -> Answer:
    """Bound the weight of broken preferences by a layout that breaks the fewest, and work a plan out from it."""
    below = s.state.value("broken_prefer") if s.state.whole else None
    answer = s.layouts.least(s.layouts.blocks.broken("prefer"), at_least=least, below=below, effort=effort)
    if answer.bound is not None:
        s.state.record("broken_prefer", answer.bound, "segments", COMPLETE)
        complete_solution(s, s.layouts, answer.layout, {"broken_prefer": answer.value or 0})
    return answer


def least_legs(work: Work, least: int) -> int | None:
    """Bound the legs of plans that break preferences of at most this weight; None if there are none.

    Where preferences weigh more than was known, closed patterns choose divisions anew; that may settle which there are.
    """
    s, fewest = work.session, 0
    if s.layouts.made and s.legs_first:
        blocks = s.layouts.blocks
        below = s.state.value("legs") if s.prefers(least) else None
        if below is not None and alone(s, below, least):
            return s.state.record("legs", below, "segments", up_to(least))
        if least > work.weight and s.on("set_partition"):
            breaks_more(work, least)
            divided_by_patterns(work)
            if work.found is not None:
                return work.legs
        while True:
            answer = s.layouts.least(
                blocks.placed_legs(), blocks.broken("prefer") <= least, at_least=fewest, below=below
            )
            if answer.bound is None:
                s.denied_by = "segments"
                return None
            fewest = s.state.record("legs", answer.bound, "segments", up_to(least))
            complete_solution(s, s.layouts, answer.layout, {"broken_prefer": least})
            if s.meets(least, fewest):
                return fewest
            if answer.bound != answer.value:
                break
            if not s.layouts.follow_more(answer.layout):
                return fewest
    if not s.on("set_partition"):
        return fewest
    legs = s.first_goals.legs(least).bound
    if legs is None:
        s.denied_by = "set_partition"
        return None
    return max(fewest, s.state.record("legs", legs, "set_partition", up_to(least)))


def ask_alone(s: Session, legs: int, weight: int) -> None:
    """Ask whether a plan within these limits on legs and preferences has other divisions than the incumbent."""
    if not s.layouts.made or not s.legs_first:
        return
    blocks = s.layouts.blocks
    placed = blocks.placed_legs()
    held = (blocks.broken("prefer") <= weight, placed <= legs)
    likeness = s.layouts.like(s.divider.open, s.state.best, placed < legs, *held)
    if likeness is not None:
        s.asked[legs, weight] = likeness


def alone(s: Session, legs: int, least: int) -> bool:
    """Whether no plan within these limits on legs and preferences has other divisions than the incumbent."""
    if (legs, least) not in s.asked:
        ask_alone(s, legs, least)
    likeness = s.asked.pop((legs, least), None)
    settled = None if likeness is None else likeness.divisions()
    if settled is not None:
        s.narrow[legs, least] = settled
    return settled is not None


def deepen(s: Session, legs: int, least: int) -> Found | None:
    """Let divisions of a few legs more join in, until the bound on preferences is met or all have joined in.

    Each model holds all plans of at most so many legs and preferences of at most this weight; one without a solution
    proves that such plans have more legs.
    """
    met = s.state.whole and s.state.value("broken_prefer") == least
    most = s.state.value("legs") - 1 if met else s.divider.most_legs
    step, budget, fewer, sure = 1, legs - 1, legs, True
    enough = s.clock.effort + DEEPEN
    while budget < most and not s.clock.over and s.clock.effort < enough:
        budget = min(most, budget + step)
        step *= 2
        model = s.complete_model(s.within(budget, least, NARROWING), least, legs=budget)
        expression = s.expression(model, "legs")
        model.require(expression <= budget)
        model.require(expression >= fewer)
        model.cp.minimize(expression)
        outcome = s.run(model, "legs", effort=enough - s.clock.effort)
        if outcome.assignment is None:
            if outcome.proven:
                fewer = s.state.record("legs", budget + 1, SEARCH, up_to(least))
            else:
                sure = False
            continue
        if outcome.bound is not None:
            s.state.record("legs", outcome.bound, SEARCH, up_to(least))
        fix_divisions(s)
        if sure and outcome.proven and s.state.value("legs") == outcome.value:
            return with_legs(s, outcome.value, least)
        model.cp.clear_objective()
        model.given = up_to(least, budget)
        model.require(expression <= s.state.value("legs"))
        s.held(model, "legs")
        return model, s.state.order[len(FIRST) + 1 :]
    return with_legs(s, s.state.value("legs"), least) if met else None


def open_model(s: Session) -> Model:
    """Make the model of all useful divisions."""
    policy, divisions = Policy("hard", "soft"), s.divider.open
    model = build(s.boxed(policy, divisions), policy, all_placed=True, divisions=divisions, clock=s.clock)
    model.given = COMPLETE
    s.hint(model)
    return model


def open_all(work: Work) -> Found | None:
    """Minimise the weight of broken preferences over all useful divisions; None if not every must can be kept."""
    s = work.session
    model = work.all_open or open_model(s)
    any_legs = s.divider.settle()
    if any_legs is not None and s.on("division"):
        s.state.record("legs", any_legs.legs, "division", COMPLETE)
    if work.all_open is not None:
        s.hint(model)
    if s.clock.over:
        return None
    if not model.solution and s.run(model, None, effort=LOOK).assignment is None:
        return None
    weight = model.broken("prefer")
    if not isinstance(weight, int):
        model.require(weight >= work.weight)
    return model, s.state.order[2:]
