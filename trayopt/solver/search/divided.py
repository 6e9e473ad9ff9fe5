"""The divisions of complete plans: those of the fewest legs are tried first, and mostly no others can be better."""

from __future__ import annotations

from trayopt.domain.plan import GoalName
from trayopt.solver.bounds import partition_bounds
from trayopt.solver.heuristics.primal import guided
from trayopt.solver.heuristics.session import LOOK, SOON, Session
from trayopt.solver.model.base import Divisions
from trayopt.solver.model.bound import OF_PLACES, up_to
from trayopt.solver.model.incumbent import FIRST
from trayopt.solver.model.model import Model
from trayopt.solver.search.work import Found, Work

BESIDE = 2.0
"""Most deterministic time for a plan of the divisions that closed patterns choose: where it takes longer, they choose amiss."""


def least_divided(work: Work, effort: float = LOOK, *, guess: bool = True) -> Found | None:
    """Solve with the divisions of least legs, for so much deterministic time; None if they do not meet both bounds.

    ``guess`` tells to look first for a plan that is as good in all goals as counts say; without it, it is asked first whether
    closed patterns leave no other divisions.
    """
    s, divisions, legs, least = work.session, work.divisions, work.legs, work.weight
    if not s.legs_first:
        return None
    model = s.complete_model(divisions, least)
    found = guess and guided(s, model, least)
    if s.divider.only(divisions, legs, alike=s.alike):
        model.given = up_to(least, legs)
        for goal, bound in model.least.items():
            s.know(model, goal, *bound)
    if not found and not model.solution and s.run(model, None, effort=effort).assignment is None:
        return None
    if s.state.value("legs") > legs:
        return None
    only = model.given is not None or (not guess and s.within(legs, least) == divisions)
    if not only and s.on("set_partition") and none_better(work, model):
        return model, s.state.order[len(FIRST) + 1 :]
    return with_legs(s, legs, least, model=model, divisions=divisions)


def divided_by_patterns(work: Work) -> None:
    """Bound legs by closed patterns, and solve with the divisions that these choose, where they are not those of before."""
    s = work.session
    answer = s.first_goals.legs(work.weight, SOON)
    if answer.bound is None:  # plans break more
        return
    before, chosen = (work.legs, work.divisions), answer.divisions
    work.legs = max(work.legs, s.state.record("legs", answer.bound, "set_partition", up_to(work.weight)))
    if chosen is None or answer.bound < work.legs or (work.legs, chosen) == before:
        return
    work.divisions = chosen
    work.found = least_divided(work, BESIDE, guess=False)


def breaks_more(work: Work, weight: int) -> None:
    """Note that complete plans break preferences of this weight: what was known of their legs is of plans that break less."""
    work.weight, work.legs, work.session.alike = weight, 0, work.session.kept_alike(weight)


def none_better(work: Work, model: Model) -> bool:
    """Whether the best plan with the divisions of a model meets the bounds of the set partition for all divisions.

    That most often is so, and it takes no model of all divisions. Only goals that ask at which places legs lie are brought down
    on the model: others take long where they do not meet their bound at once.
    """
    s = work.session
    for goal in s.state.order[len(FIRST) + 1 :]:
        if goal in OF_PLACES and s.state.value(goal) > s.state.least(goal):
            work.descent.descend(model, [goal])
            patterns_bound(s, goal, work.weight, work.legs)
        if s.state.value(goal) > s.state.least(goal) or s.clock.over:
            return False
        work.descent.descend(model, [goal])  # it is met: the model is held to it
    return True


def patterns_bound(s: Session, goal: GoalName, least: int, legs: int) -> None:
    """Bound a goal by the set partition over plans of any divisions that equal the incumbent in the goals before."""
    good = s.as_good(goal)
    length = good.get("leg_length_mm") if goal == "irregular" else None
    found = partition_bounds.placed_bound(
        goal,
        s.divider,
        s.divider.open,
        least,
        legs,
        {"legs": legs, "trays": good.get("trays"), "leg_length_mm": length},
        s.clock,
        divide_at=s.partings(least),
    )
    s.state.record(goal, found.bound, "set_partition", up_to(least, legs).tightened(good))


def with_legs(
    s: Session,
    legs: int,
    least: int,
    *,
    model: Model | None = None,
    divisions: Divisions | None = None,
) -> Found:
    """Go on after the first three goals are proven, with every division that so few legs can be made of.

    A model that was made with these very divisions serves again.
    """
    rest = s.state.order[len(FIRST) + 1 :]
    open_ = s.within(legs, least)
    if model is None or open_ != divisions:
        model = s.complete_model(open_, least, legs=legs)
        model.require(s.expression(model, "legs") <= legs)
    model.given = up_to(least, legs)
    return model, rest
