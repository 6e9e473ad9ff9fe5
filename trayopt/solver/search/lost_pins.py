"""Pins that no plan keeps which places every splice: the job is searched without them, as a job that keeps every must.

A pin may ask for what the rest of the job leaves no room for: a division that no tray holds, a way through a full seal, a place
that all before it on a chain cannot lie under. Of such a pin nothing is left to decide. Each plan that places every splice breaks
it, so what is proven of such plans without the pin holds with it, at the price of one broken must.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from trayopt.domain.finding import Group
from trayopt.domain.job import Job
from trayopt.rules.pin import Pinned
from trayopt.rules.registry import BY_ID as RULES_BY_ID
from trayopt.solver.bounds.outline import Outline
from trayopt.solver.bounds.preference_bounds import look
from trayopt.solver.bounds.segment_counts import MOST_COUNTS
from trayopt.solver.bounds.segments import Segments
from trayopt.solver.heuristics.session import Session
from trayopt.solver.model import cp_sat
from trayopt.solver.model.bound import Bound, Given, Step
from trayopt.solver.model.posting import Policy
from trayopt.solver.search import outside
from trayopt.solver.search.cases import Case, conclude
from trayopt.solver.search.outside import settled, take
from trayopt.solver.search.work import Again, Work

BY_WAYS, BY_PLACES = "pins_lost_by_ways", "pins_lost_by_places"
"""The tactic before the first goals are bounded, and the one after it is known that no plan is complete."""
FIRST_EFFORT = 4.0
"""Most deterministic time for a search without pins before anything is known of the job, as long as no plan is found in it."""
LET_GO = Policy("soft", "free")
"""Musts may be let go, and preferences do not count."""


def has_pins(work: Work) -> bool:
    """Whether pins are musts that a plan may break."""
    job = work.session.job
    free = any(not pin.built for pin in job.pins)
    return free and job.rules[Pinned.id].level == "must" and not work.done and not work.session.divider.hopeless


def lost_by_ways(work: Work) -> None:
    """Search without the pins that ways, stacks and useful divisions deny."""
    s = work.session
    if s.on("outline"):
        search_without(work, list(denied(s, Outline(s.job, s.divider.open, LET_GO, s.clock))), "outline", FIRST_EFFORT)


def lost_by_places(work: Work) -> None:
    """Search without the pins that splices at places deny."""
    s = work.session
    if s.on("segments"):
        blocks = Segments(s.divider, s.divider.open, LET_GO, all_placed=True, clock=s.clock)
        if blocks.size <= MOST_COUNTS:
            search_without(work, list(denied(s, blocks)), "segments")


def denied(s: Session, relaxed: Outline | Segments) -> Iterator[str]:
    """Name the pins that a relaxation of plans that place every splice does not let be kept, whatever other musts are broken.

    None is named where the relaxation has no plan at all: then splices stay out, and no pin is to blame.
    """
    some = False
    for pin in s.job.pins:
        literal = relaxed.let_go.get(Group(Pinned.id, pin.subject))
        if literal is None or s.clock.over:
            continue
        trial = relaxed.cp.clone()
        trial.add_bool_and([relaxed.no(literal)])
        if look(trial, s.clock)[0] == cp_sat.INFEASIBLE:
            some = some or look(relaxed.cp, s.clock)[0] != cp_sat.INFEASIBLE
            if not some:
                return
            yield pin.subject


def search_without(work: Work, pins: Sequence[str], by: str, effort: float | None = None) -> None:
    """Search the job without some pins, each of which is broken by every plan that places every splice, as ``by`` tells.

    That takes no more than some effort, as long as no such plan is known: it may be that splices stay out.
    """
    s = work.session
    if not pins or s.clock.over:
        return
    job: Job = s.job
    for pin in pins:
        job = RULES_BY_ID[Pinned.id].without(job, pin)
    case = Without({"broken_must": len(pins)}, [Bound("broken_must", len(pins), by, Given({"unplaced": 0}))])
    rest = Case({"unplaced": 1}, [Bound("unplaced", 1, by)])
    s.state.record("broken_must", len(pins), by, Given({"unplaced": 0}))
    search: Again | None = None
    turn, left = s.clock.most_effort, s.clock.share(1.0)

    def watch(step: Step) -> None:
        if search is None:
            return
        if search.state.least("unplaced"):
            s.clock.most_effort = s.clock.effort  # splices stay out: the turn is over
        elif step.values is not None:
            take(s, job, case, search.state)
            if not search.state.value("unplaced"):
                s.clock.most_effort = turn

    enough = settled(s, case)
    search = work.again(
        job,
        s.state.order,
        s.clock,
        tuning=s.tuning,
        gap=s.gap,
        watch=watch,
        without=s.without | {outside.NAME, BY_WAYS} | ({BY_PLACES} if by == "segments" else set()),
        enough=enough,
    )
    with s.clock.turn(left if effort is None else min(effort, left or effort)):
        search.solve()
    enough(search.state)
    s.used |= search.used
    s.state.by_gap = s.state.by_gap or search.state.by_gap
    if s.state.best is not None and not s.state.value("unplaced"):
        conclude([case, rest], s.state)
    work.done = s.state.proven or s.state.by_gap


class Without(Case):
    """The job without some pins: what is proven of its plans that place every splice holds with the pins, at their price."""

    def learn(self, bound: Bound) -> None:
        """Take a bound over plans that place every splice; how many do not is the same with the pins and without."""
        if bound.goal != "unplaced":
            super().learn(Bound(bound.goal, bound.value, bound.by, bound.given.tightened({"unplaced": 0})))
