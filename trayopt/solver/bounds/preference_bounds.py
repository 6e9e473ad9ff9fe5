"""What outlines prove: bounds on broken preferences, preferences that every good plan keeps, that no plan is complete.

Rings of subunits that no tray holds (see ``outline``) are found in the answer of an outline, and forbidden one by one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from trayopt.domain.job import Job
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.variables import Expression
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.outline import Outline
from trayopt.solver.bounds.rings import overfull_rings
from trayopt.solver.bounds.segment_counts import MOST_COUNTS
from trayopt.solver.bounds.segments import Segments
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import Divisions
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.interruptible import FOUND, Asked, one_worker, solve_one, whole_bound
from trayopt.solver.model.literals import linear, lit, total
from trayopt.solver.model.posting import Policy
from trayopt.solver.model.ways import Partings

EFFORT = 2.0
"""Most deterministic time for an outline."""
LOOK = 0.2
"""Most deterministic time for a question whose answer only saves work: whether all other choices cost more, what plans keep."""


def look(cp: cp_sat.CpModel, clock: Clock) -> tuple[cp_sat.CpSolverStatus, cp_sat.CpSolver]:
    """Ask such a question: with a small linear relaxation and no cuts, which take longer to make than most answers do."""
    return solve_one(cp, clock, LOOK, linearization_level=1, cuts=False)


def can_be_placed(job: Job, open_: Divisions, clock: Clock, *, divide_at: Partings | None = None) -> bool:
    """Whether there may be a plan that places every splice, whatever musts and preferences it breaks."""
    outline = Outline(job, open_, Policy("soft", "free"), clock, divide_at)
    return bool(solve_one(outline.cp, clock, EFFORT)[0] != cp_sat.INFEASIBLE)


class MustBound(NamedTuple):
    """Fewest broken musts of plans that place every splice, and the least weight of preferences of those that break so few."""

    musts: int
    weight: int


def must_bound(job: Job, open_: Divisions, clock: Clock) -> MustBound:
    """Bound both by an outline, in which musts and preferences may be broken.

    ``open_`` are the useful divisions of every spliced subunit. The weight is 0 where the fewest musts are not proven in time.
    """
    outline = Outline(job, open_, Policy("soft", "soft"), clock)
    musts, weight = outline.broken("must"), outline.broken("prefer")
    least = _least(outline, musts, clock)
    if least is None:
        return MustBound(0, 0)
    outline.require(musts <= least)
    return MustBound(least, _least(outline, weight, clock) or 0)


def _least(outline: Outline, value: Expression, clock: Clock) -> int | None:
    """Minimise a sum over the outlines of a model; None where that is not proven in time."""
    if isinstance(value, int):
        return value
    outline.minimize(value)
    status, solver = solve_one(outline.cp, clock, EFFORT)
    return whole_bound(solver.best_objective_bound) if status == cp_sat.OPTIMAL else None


def is_hopeless(job: Job, clock: Clock) -> bool:
    """Whether counting, by tray at last, shows that no plan places every splice and keeps every must."""
    divider = Divider(job)
    if divider.hopeless or preference_bound(job, divider.open, clock) is None:
        return True
    stretches = Segments(divider, divider.open, Policy("hard", "free"), all_placed=True, clock=clock)
    if stretches.size > MOST_COUNTS:
        return False
    return bool(solve_one(stretches.cp, clock, LOOK)[0] == cp_sat.INFEASIBLE)


class PreferenceBound:
    """A question under way: the least weight of broken preferences of plans that place every splice and keep every must.

    ``open_`` are the useful divisions of every spliced subunit, ``divide_at`` where trunks may be divided in such plans.
    """

    def __init__(self, job: Job, open_: Divisions, clock: Clock, *, divide_at: Partings | None = None) -> None:
        self._job, self._clock = job, clock
        self._outline = Outline(job, open_, clock=clock, divide_at=divide_at)
        self._weight = self._outline.broken("prefer")
        if not isinstance(self._weight, int):
            self._outline.minimize(self._weight)
        self._asked = self._ask()

    def _ask(self) -> Asked:
        return Asked(one_worker(self._clock, EFFORT), self._outline.cp)

    def answer(self) -> int | None:
        """Wait for the bound; None means that there is no such plan."""
        job, outline, weight, best = self._job, self._outline, self._weight, 0
        room = max(tray.fibres for tray in job.enclosure.trays) if job.rules[TrayFibres.id].level == "must" else None
        while True:
            status, solver = self._asked.wait(self._clock), self._asked.solver
            if status == cp_sat.INFEASIBLE:
                return None
            if status not in FOUND:
                return best
            bound = weight if isinstance(weight, int) else solver.best_objective_bound
            best = max(best, whole_bound(bound))
            whole = {s for s in job.subunits if outline.is_spliced(s) and not solver.value(lit(outline.parted(s)))}
            rings = room and overfull_rings(job, whole.__contains__, room)
            if not rings:
                return best
            for ring in rings:
                outline.require(total(outline.parted(subunit) for subunit in ring.subunits) >= 1)
            self._asked = self._ask()

    def drop(self) -> None:
        """Ask no further."""
        self._asked.drop(self._clock)


def preference_bound(job: Job, open_: Divisions, clock: Clock, *, divide_at: Partings | None = None) -> int | None:
    """Bound the weight of broken preferences as ``PreferenceBound`` does, and wait for the answer."""
    return PreferenceBound(job, open_, clock, divide_at=divide_at).answer()


def costs_more(job: Job, open_: Divisions, clock: Clock, trunks: Sequence[str], ports: int, weight: int) -> bool:
    """Whether it is plain that such plans which divide so many of some trunks at the port, or more, break more than a weight.

    ``open_`` are the useful divisions of every spliced subunit. False says nothing.
    """
    outline = Outline(job, open_, clock=clock)
    outline.require(total(outline.divided_at(job.trunk_by_id[trunk], "port") for trunk in trunks) >= ports)
    outline.require(outline.broken("prefer") <= weight)
    return bool(look(outline.cp, clock)[0] == cp_sat.INFEASIBLE)


def denied_at_once(job: Job, open_: Divisions, clock: Clock) -> bool:
    """Whether it is plain that no plan places every splice and keeps every must, wherever trunks are divided.

    ``open_`` are the useful divisions of every spliced subunit. False says nothing.
    """
    return bool(look(Outline(job, open_, clock=clock).cp, clock)[0] == cp_sat.INFEASIBLE)


def preferences_kept(
    job: Job, open_: Divisions, clock: Clock, weight: int, *, divide_at: Partings | None = None
) -> frozenset[str]:
    """Name preferences that complete plans keep for every subject if they break preferences of at most a weight.

    A plan that breaks a preference pays for it with a part of the weight, and all others are broken for what is left: where no
    outline is so cheap in the others, no plan breaks it. An outline counts no more of any preference than the plan breaks, and
    nothing of those that it cannot say, so that both kinds are asked in the same way.

    Parameters
    ----------
    open_
        Useful divisions of every spliced subunit.
    weight
        Most weight of broken preferences.
    divide_at
        Where trunks may be divided in such plans, by trunk; for one that is missing its own list.

    Returns
    -------
    frozenset[str]
        Ids of rules at prefer; fewer than there are where the answer takes long.
    """
    price = {name: setting.weight for name, setting in job.rules.items() if setting.level == "prefer"}
    open_still = {name for name, paid in price.items() if paid <= weight}
    too_dear = frozenset(price) - open_still
    outline = Outline(job, open_, clock=clock, divide_at=divide_at)
    outline.require(outline.broken("prefer") <= weight)
    pays = {name: outline.literal(f"{name} is paid for") for name in sorted(open_still)}
    others = {name: outline.broken("prefer", without=name) for name in pays}
    for name, literal in pays.items():
        outline.require(others[name] <= weight - price[name], literal)
    while open_still:
        trial = outline.cp.clone()
        trial.add_bool_or([pays[name] for name in sorted(open_still)])
        status, solver = look(trial, clock)
        if status not in FOUND:
            infeasible = status == cp_sat.INFEASIBLE
            return too_dear | open_still if infeasible else too_dear
        open_still -= {name for name in open_still if solver.value(linear(others[name])) <= weight - price[name]}
    return too_dear
