"""A tactic for jobs in which every splice finds a tray, but not every must can be kept: closed patterns bound the first goals."""

from __future__ import annotations

from trayopt.domain.plan import GoalName
from trayopt.solver.bounds.preference_bounds import MustBound
from trayopt.solver.heuristics.session import LOOK, Session
from trayopt.solver.model.base import Divisions
from trayopt.solver.model.bound import Given
from trayopt.solver.model.incumbent import FIRST
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import Policy, build
from trayopt.solver.search.incomplete import musts_by_outline
from trayopt.solver.search.work import Work

NAME = "musts_by_patterns"


def musts_by_patterns(work: Work) -> None:
    """Bound musts, preferences and legs by closed patterns, and solve with the divisions that these choose."""
    s = work.session
    limits = bounded(s)
    if limits is None or s.clock.over or not s.some_musts.weighs:
        return  # plans break more than what is known to be broken
    answer = s.some_musts.legs(limits["broken_prefer"])
    if answer.bound is None or answer.divisions is None:
        return
    limits["legs"] = s.state.record("legs", answer.bound, "set_partition", Given(dict(limits)))
    if not s.holds(limits):
        model = held(s, answer.divisions, limits)
        s.run(model, None, effort=LOOK)
    if not s.holds(limits) or s.clock.over:
        return
    open_ = s.some_musts.narrowed(limits["broken_prefer"], limits["legs"], s.divider.open, answer.divisions)
    model = held(s, open_, limits)
    model.given = Given(dict(limits))
    work.descent.descend(model, s.state.order[len(limits) :])
    work.done = True


def bounded(s: Session) -> dict[GoalName, int] | None:
    """Bound musts and preferences of plans that place every splice by closed patterns; None where there are no such plans.

    They are asked first of plans that break as few musts as ways and stacks allow.
    """
    goals = s.some_musts
    limits: dict[GoalName, int] = {"unplaced": 0}
    musts, least = musts_by_outline(s)
    while not s.clock.over:
        goals.most_musts = musts
        weight = goals.weight(least)
        if weight is not None:
            limits["broken_must"] = musts
            limits["broken_prefer"] = s.state.record("broken_prefer", weight, "set_partition", Given(dict(limits)))
            s.musts = MustBound(musts, weight)
            return limits
        fewest = goals.musts(musts + 1)
        if fewest is None:
            s.state.record("unplaced", 1, "set_partition")
            return None
        musts, least = s.state.record("broken_must", fewest, "set_partition", Given({"unplaced": 0})), 0
    return None


def held(s: Session, divisions: Divisions, limits: dict[GoalName, int]) -> Model:
    """Make a model of plans of some divisions that place every splice and have no more of the first goals and legs."""
    musts, weight = limits["broken_must"], limits["broken_prefer"]
    divide_at, policy = s.at_tray(weight, musts), Policy()
    job = s.boxed(policy, divisions, divide_at, musts=musts, weight=weight, legs=limits["legs"])
    model = build(job, policy, all_placed=True, divisions=divisions, divide_at=divide_at, clock=s.clock)
    for goal in (*FIRST[1:], "legs"):
        model.require(s.expression(model, goal) <= limits[goal])
        if s.holds(limits):
            s.drop_small(model, goal)
    s.hint(model)
    return model
