"""A search for each set of trunks that stay outside, where not all of them can come in: what loses the fewest splices first.

With the trunks settled, what is left is mostly a job of which every splice is placed, with all that is known of such jobs. Sets
are searched until every other one is proven to lose more than the best plan; mostly one is enough.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass

from trayopt.domain.job import Job
from trayopt.errors import SolverFault
from trayopt.goals.registry import measure_all
from trayopt.solver.bounds.placed_patterns import Placed
from trayopt.solver.bounds.trunks_outside import PATTERNS, Outside, sets_outside
from trayopt.solver.heuristics.session import Session
from trayopt.solver.model.bound import Bound, Step
from trayopt.solver.model.incumbent import State
from trayopt.solver.model.without_trunks import lost_pieces, without_trunks
from trayopt.solver.search.cases import Case, conclude
from trayopt.solver.search.incomplete import nothing_placed, plan_of_patterns
from trayopt.solver.search.work import Again, Work
from trayopt.track.laid import Laid

NAME = "trunks_outside"
FIRST_EFFORT, MORE = 3.0, 4.0
"""Most deterministic time for a set in the first round, and how many times as much in each further one."""


@dataclass
class Set(Case):
    """A set of trunks that stay outside: what is proven of its part of the job holds of plans that place everything else."""

    trunks: frozenset[str] = frozenset()
    search: Again | None = None
    """The search of its part, once it was begun; it goes on where its turn ended."""
    to_end: bool = False
    """Whether its part is searched to the end once it has a complete plan."""

    placed: Placed | None = None
    """What closed patterns place that lose what the set loses at least; None where it is not known, or was tried."""

    @property
    def whole(self) -> bool:
        """Whether a complete plan of its part is known."""
        return self.search is not None and self.search.state.whole

    def lay_out(self, s: Session) -> None:
        """Look once for a plan of what closed patterns place, where the best plan loses more than the set at least."""
        placed, self.placed = self.placed, None
        if placed is not None and not self.whole and most_lost(s) > self.price["unplaced"] and not s.clock.over:
            plan_of_patterns(s, placed)

    def learn(self, bound: Bound) -> None:
        """Take a bound of the part: that it has no complete plan, or a bound over its complete plans."""
        lost = self.price["unplaced"]
        if bound.goal == "unplaced":
            if not bound.given.at_most:
                self.bounds.append(Bound("unplaced", lost + 1, bound.by))
            return
        super().learn(Bound(bound.goal, bound.value, bound.by, bound.given.tightened({"unplaced": 0})))


def trunks_outside(work: Work) -> None:
    """Search the sets of trunks that stay outside, until no other can be better.

    A set of which it is not soon known whether its part has a complete plan is left for the next set, and gone on with in
    the next round, which is longer. One that has such a plan waits for those that lose less.
    """
    s = work.session
    found = sets_outside(s.job, s.clock, s.divider.possible if s.on(PATTERNS) else None, lambda: most_lost(s))
    cases: list[Case] = []
    left, effort = False, FIRST_EFFORT
    while not s.clock.over:
        for case in _in_order(s, cases, found):
            waits = isinstance(case, Set) and case.whole and left
            if isinstance(case, Set) and not waits and not case.excluded(s.state):
                case.to_end = not left
                with s.clock.turn(None if case.to_end and case.whole else effort):
                    search_set(work, case)
                    left |= s.clock.turn_over
                case.lay_out(s)
                if case.excluded(s.state):
                    case.search = None
        if not left:
            break
        left, effort = False, MORE * effort
    work.counted = True
    conclude(cases, s.state)
    work.done = s.state.proven or s.state.by_gap


def _in_order(s: Session, cases: list[Case], found: Generator[Outside]) -> Iterator[Case]:
    """Yield the sets that are known, and then each further one, as long as one can be better than the best plan."""
    yield from list(cases)
    for trunks, least, by, placed in found:
        if trunks is not None and not cases:
            s.state.record("unplaced", least, by)  # no set loses less: this stands, however soon the search is stopped
            nothing_placed(s)
        rest = Case({"unplaced": least}, [Bound("unplaced", least, by)])
        if trunks is None or rest.excluded(s.state) or s.clock.over:
            cases.append(rest)
            found.close()
            return
        lost = sum(piece.count for piece in lost_pieces(s.job, trunks))
        case = Set({"unplaced": max(least, lost)}, trunks=trunks, placed=placed)
        case.bounds.append(Bound("unplaced", case.price["unplaced"], by))
        cases.append(case)
        if not trunks:
            cases.append(rest)
            found.close()
            return
        yield case


def most_lost(s: Session) -> int:
    """Tell how many splices the best plan leaves out; all where there is no plan."""
    return s.job.splices if s.state.best is None else s.state.value("unplaced")


def search_set(work: Work, case: Set) -> None:
    """Search the part of the job without some trunks, as long as all of it can be placed and it can still be best.

    Once it has a complete plan it is searched to its end where that is asked for, or its turn ends: then one that loses less is
    still open.
    """
    s = work.session
    case.search = case.search or begun(work, case)
    if case.search is None:
        return
    case.search.solve()
    s.used |= case.search.used - {NAME}
    case.search.enough(case.search.state)
    s.state.by_gap = s.state.by_gap or case.search.state.by_gap


def begun(work: Work, case: Set) -> Again | None:
    """Begin the search of a set; None where there is no part to search, or it does not lose what the set loses."""
    s = work.session
    part = without_trunks(s.job, case.trunks)
    if part is None or part.price["unplaced"] < case.price["unplaced"]:
        return None
    case.price = part.price

    def watch(step: Step) -> None:
        if case.search is None:
            return
        if step.values is not None:
            take(s, part.job, case, case.search.state)
        if case.whole and s.clock.most_effort is not None:
            s.clock.most_effort = None if case.to_end else s.clock.effort

    return work.again(
        part.job,
        s.state.order,
        s.clock,
        tuning=s.tuning,
        gap=s.gap,
        watch=watch,
        without=s.without | {NAME},
        enough=settled(s, case),
    )


def settled(s: Session, case: Case) -> Callable[[State], bool]:
    """Tell of the search of a case whether nothing can come of it any more: then other cases are better, or more stays out."""

    def enough(state: State) -> bool:
        for step in state.trail[len(told) :]:
            told.append(step)
            if step.bound is not None:
                case.learn(step.bound)
        return state.least("unplaced") > 0 or case.excluded(s.state)

    told: list[Step] = []
    return enough


def take(s: Session, part: Job, case: Case, found: State) -> None:
    """Take over the best plan of a part.

    Raises
    ------
    SolverFault
        Where it is not what the part says that it is.
    """
    plan = found.best
    if plan is None:
        return
    if any(leg.of not in part.subunit(leg).divisions for leg in plan.places):
        raise SolverFault("a plan of a part of the job has a leg that is spliced to what is outside")
    values = measure_all(Laid(s.job, plan))
    if not found.value("unplaced"):
        for goal in found.order:
            if values[goal] != found.value(goal) + case.price.get(goal, 0):
                raise SolverFault(
                    f"the part of the job counts {goal} as {found.value(goal):,}, the job {values[goal]:,}"
                )
    s.state.offer(s.job, plan)
    s.tell()
