"""Primal heuristics: runs of the solver on small models that find good plans soon; what they prove holds of those alone.

They give a search something to show, hints to start from, and plans that meet bounds which other rooms prove.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.plan import GoalName
from trayopt.solver.bounds import round_counts
from trayopt.solver.bounds.pattern_bounds import Counted, count, placed_bound
from trayopt.solver.bounds.pattern_counts import Guess, hold, in_scope
from trayopt.solver.bounds.tray_room import fewest_trays
from trayopt.solver.heuristics.completion import Answer, B, RelaxedModel, RelaxedSolution, add_all
from trayopt.solver.heuristics.constructive import construct_by, first_plans
from trayopt.solver.heuristics.laying import keeps_facts
from trayopt.solver.heuristics.precedence import hold_order, order_of
from trayopt.solver.heuristics.session import CROWDED, EVEN, TRIAL, Session
from trayopt.solver.model.base import Divisions
from trayopt.solver.model.incumbent import FIRST
from trayopt.solver.model.model import Least, Model
from trayopt.solver.model.posting import Policy, build

if TYPE_CHECKING:
    from trayopt.solver.model.cp_sat import CpModel


MANY = 4000
"""Bunches times places of a model from which chains are counted round by round before legs are counted by subunit."""
BESIDE = 1.0
"""Most deterministic time for a guess if a good plan is known already."""


def first_plan(s: Session, divisions: Divisions, *, all_placed: bool) -> None:
    """Find some plan soon where there is none yet: what a stopped search has to show.

    With ``all_placed`` a plan that leaves splices out is not enough: a complete one is looked for, and bettered for a while.
    """
    if s.state.best is None:
        for plan in first_plans(s.job):
            if keeps_facts(s.job, plan):
                s.state.offer(s.job, plan)
                s.tell()
            if s.clock.over or (s.state.best is not None and s.state.value("unplaced") == 0):
                break
    enough = s.state.best is not None and (s.state.value("unplaced") == 0 or not all_placed)
    if s.clock.over or enough:
        return
    policy = Policy("hard" if all_placed else "soft", "soft")
    job = s.boxed(policy, divisions)
    model = build(job, policy, all_placed=all_placed, divisions=divisions, clock=s.clock)
    s.hint(model)
    if not all_placed or s.run(model, None, effort=TRIAL).assignment is not None:
        s.better(model, ("broken_prefer",) if all_placed else FIRST)


def even_legs(s: Session, least: int) -> None:
    """Look for plans that break fewer preferences among those whose legs are all of about one size, the largest first.

    Finer legs keep more subunits together, and models of settled divisions are small; mixed divisions are left to others.
    """
    if s.layouts.made:
        even_layouts(s, least)
        return
    for divisions in s.divider.even():
        if s.clock.over or s.prefers(least):
            break
        below = s.state.value("broken_prefer") if s.state.whole else None
        policy, divide_at = Policy("hard", "soft"), None if below is None else s.partings(below - 1)
        job = s.boxed(policy, divisions, divide_at)
        model = build(job, policy, all_placed=True, divisions=divisions, divide_at=divide_at, clock=s.clock)
        if below is not None:
            model.require(model.broken("prefer") < below)
        s.better(model, ("broken_prefer",), EVEN)


def even_layouts(s: Session, least: int) -> None:
    """Find layouts of such plans by the segment relaxation, and complete the best layout that can be completed."""
    blocks = s.layouts.blocks
    weight = blocks.broken("prefer")
    below = s.state.value("broken_prefer") if s.state.whole else None
    found: list[Answer] = []
    for divisions in s.divider.even():
        if s.clock.over or (below is not None and below <= least):
            break
        divided = (blocks.divided(s.job.subunit_of_leg[key], of) for key, (of,) in divisions.items())
        held = (literal >= 1 for literal in divided if not isinstance(literal, int))
        answer = s.layouts.least(weight, *held, at_least=least, below=below, effort=EVEN)
        if answer.value is not None:
            found.append(answer)
            below = answer.value
    for answer in reversed(found):
        complete_solution(s, s.layouts, answer.layout, {"broken_prefer": answer.value or 0})
        if s.prefers(answer.value or 0):
            break


def complete_solution(
    s: Session,
    layouts: RelaxedModel[B],
    layout: RelaxedSolution | None,
    limits: Mapping[GoalName, int],
    *,
    anywhere: bool = True,
    model: Model | None = None,
) -> None:
    """Work a layout out to a plan that is no worse in some goals: with its splices at their places, or else anywhere.

    Trunks are divided where they are in the layout. A model that was made with its very divisions serves again. Where a layout
    crowds entrances of trays, few of its like have a plan: they are not looked at for long.
    """
    if layout is None or s.clock.over or (model is None and layouts.denied(layout, limits)):
        return
    whole = layouts.whole(layout) if model is None else model
    good = [s.expression(whole, goal) <= most for goal, most in limits.items()]
    effort = CROWDED if layouts.crowded(layout) else TRIAL
    for trial in (layouts.hold(whole, layout), *([whole.cp.clone()] if anywhere else [])):
        trial.clear_objective()
        add_all(trial, good)
        outcome = s.run(whole, None, trial=trial, effort=effort)
        if s.clock.over or outcome.assignment is not None:
            return
    if model is None and anywhere and outcome.infeasible:
        layouts.deny(layout, limits)


def fix_divisions(s: Session) -> None:
    """Improve the incumbent in the goals after its preferences, with its divisions fixed."""
    if s.state.best is None or s.state.best is s.polished:
        return
    divisions = {(leg.trunk, leg.subunit): (leg.of,) for leg in s.state.best.places}
    weight = s.state.value("broken_prefer")
    model = s.complete_model(divisions, weight)
    if not guided(s, model, weight):
        s.better(model, [goal for goal in s.state.order[len(FIRST) :] if goal != "legs"])
    s.polished = s.state.best


def goes_otherwise(s: Session, ways: Mapping[str, Way]) -> None:
    """Offer the best plan with its legs where they lie, and some trunks by other ways."""
    if s.state.best is not None:
        plan = replace(s.state.best, ways={**s.state.best.ways, **ways})
        if keeps_facts(s.job, plan):
            s.state.offer(s.job, plan)


def guided(s: Session, model: Model, least: int) -> bool:
    """Look for a very good plan by the counts and the order of the subunits; return whether it was found.

    Where nothing need cross: without a crossing and of least length, at the counted places, or else anywhere. Where
    something must: in the order that pays least for it, of least length, or else of any. A plan of habit that goes the counted
    ways is often as good as that; where it is not, the model has it to begin with, and the other guesses get less time.
    """
    if len(model.links) * len(model.places) >= MANY and s.on(round_counts.NAME) and _in_rounds(s, model, least):
        return True
    counted = _counted(s, model, least) if s.on("pattern_counts") and in_scope(model) else None
    guess = None if counted is None else counted.guess
    laid = guess is not None and _laid(s, model, guess, least)
    if laid and all(s.state.value(goal) <= known for goal, known in _hoped(s, model).items()):
        return True
    if counted is not None and not laid:
        guess = counted.in_order(s.clock)
    tried = (
        s.run(model, None, trial=trial, effort=BESIDE if laid else TRIAL).assignment is not None
        for trial in trials(s, model, guess)
        if not s.clock.over
    )
    return any(tried)


def _in_rounds(s: Session, model: Model, least: int) -> bool:
    """Count chains round by round, and lay them as counted; return whether that plan is as good in trays and length as counted.

    Where crossings count before lengths, the lengths are those of plans without a crossing.
    """
    if not round_counts.able(model):
        return False
    trays_first, in_order = (s.state.counts_first(goal, "leg_length_mm") for goal in ("trays", "crossings"))
    room = fewest_trays(model, 0) if s.on("tray_room") else 0
    found = round_counts.count(model, least, s.clock, trays=room, trays_first=trays_first, in_order=in_order)
    if found is None:
        return False
    model.least["trays"] = Least(found.trays, "tray_room" if found.trays == room else round_counts.NAME)
    given: dict[GoalName, int] = {"trays": found.trays} if trays_first else {}
    model.least["leg_length_mm"] = Least(
        found.length, round_counts.NAME, {**given, "crossings": 0} if in_order else given
    )
    _offer(s, found.plan)
    if not s.prefers(least) or s.state.value("crossings") or s.state.value("leg_length_mm") > found.length:
        return False
    irregular, plan = round_counts.least_irregular(found, s.clock)
    model.least["irregular"] = Least(
        irregular, round_counts.NAME, {**given, "crossings": 0, "leg_length_mm": found.length}
    )
    _offer(s, plan)
    s.hint(model)
    return True


def _offer(s: Session, plan: Assignment | None) -> None:
    """Offer a plan that was laid by counts, where it breaks nothing that no plan breaks."""
    if plan is not None and keeps_facts(s.job, plan):
        s.state.offer(s.job, plan)
        s.tell()


def _hoped(s: Session, model: Model) -> dict[GoalName, int]:
    """Return the crossings that every plan of a model has, and the counted leg length in mm."""
    s.expression(model, "crossings")
    paid = model.least["crossings"].value if "crossings" in model.least else 0
    return {"crossings": paid, "leg_length_mm": model.least["leg_length_mm"].value}


def _laid(s: Session, model: Model, guess: Guess, least: int) -> bool:
    """Lay plans of habit by a guess; return whether such a plan is in the model and meets the bounds on preferences and legs."""
    job = s.job
    if job.ribbons_open:
        return False
    divisions = {(u.trunk, u.number): of[0] for u in job.subunits if (of := model.divisions(u))}
    for plan in construct_by(job, guess, divisions):
        s.state.offer(job, plan)
    s.tell()
    if s.state.best is None or not s.prefers(least):
        return False
    s.hint(model)
    return bool(model.solution)


def _counted(s: Session, model: Model, least: int) -> Counted | None:
    """Count for a model its least trays and leg length, note both, and give what was counted.

    Where trays count before lengths, the lengths are those of plans with the fewest trays. A box that is full by its room alone
    is not counted for that.
    """
    order = s.state.order
    room = fewest_trays(model, 0) if s.on("tray_room") else 0
    full = room == len(model.places)
    trays = room if full else placed_bound("trays", model, least, {}, s.clock, at_least=room)
    if trays is not None:
        model.least["trays"] = Least(trays, "pattern_counts" if trays > room else "tray_room")
        if order.index("trays") > order.index("leg_length_mm"):
            trays = None
    counted = count(model, least, s.clock, trays=trays, ways=s.ways_first(model, least))
    if counted is None:
        return None
    given: dict[GoalName, int] = {} if trays is None else {"trays": trays}
    model.least["leg_length_mm"] = Least(counted.bound, "pattern_counts", given)
    model.least["irregular"] = Least(counted.irregular, "pattern_counts", {**given, "leg_length_mm": counted.bound})
    return counted


def trials(s: Session, model: Model, guess: Guess | None) -> Iterator[CpModel]:
    """Yield copies of a model that are held to a guess, the best guess first."""
    crossings = s.expression(model, "crossings")
    order = order_of(model)
    if guess is not None:
        shortest = model.literal("legs are as short as can be")
        model.require(s.expression(model, "leg_length_mm") <= model.least["leg_length_mm"].value, shortest)
        fewest = model.literal("no more crosses than must")
        paid = _hoped(s, model)["crossings"]
        model.require(crossings <= paid, fewest)
        regular = model.literal("as regular as can be")
        model.require(s.expression(model, "irregular") <= model.least["irregular"].value, regular)
        if order:
            yield hold_order(order, hold(model, guess, shortest, fewest, regular, places=False))
            yield hold_order(order, hold(model, guess, shortest, fewest, places=False))
        if not paid:
            yield hold(model, guess, shortest, fewest, places=True)
            yield hold(model, guess, shortest, fewest, places=False)
        elif order:
            yield hold_order(order, hold(model, guess, shortest, places=False))
    if order:
        yield hold_order(order, model.cp.clone())
