"""What keeping each preference costs: the best plan beside the best plan of the job without it.

A preference is taken out of the job, and the job is solved again from the plan at hand. What is found is a plan, so that what a
crew would save without the preference is saved at least; it is all that can be saved where both plans are proven.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import floor
from threading import Event

from trayopt.domain.assignment import Assignment
from trayopt.domain.base import remade
from trayopt.domain.cablework import Subunit
from trayopt.domain.job import Job
from trayopt.domain.labour import Labour
from trayopt.domain.plan import PlanJob
from trayopt.domain.prices import PreferencePrice, Prices, Worth
from trayopt.explainer.bounds import least_cuts, least_trays
from trayopt.goals.registry import measure_all
from trayopt.rules.exposed import Exposed
from trayopt.rules.judge import judge
from trayopt.rules.registry import BY_ID
from trayopt.solver.bounds.division import Divider
from trayopt.solver.model.clock import Clock
from trayopt.solver.solve import Options, Solution, solve
from trayopt.track.labour import crew_minutes
from trayopt.track.laid import Laid


@dataclass(frozen=True)
class Known:
    """A plan that places every splice and keeps every must, and whether it is proven to be the best."""

    assignment: Assignment
    proven: bool


def prices(
    job: Job, best: Known, clock: Clock, pace: Labour, *, more_than: float | None = None, stop: Event | None = None
) -> Prices:
    """Price every preference of a job against its best plan.

    Parameters
    ----------
    job, best
        The job and its best plan.
    clock
        When to stop; preferences that were not looked at by then are left open.
    pace
        Minutes of each kind of work.
    more_than
        Where it is given, only preferences that may cost more crew minutes are looked at, and only those are priced.
    stop
        Set by somebody else to end the work.
    """
    worth = _worth(job, best.assignment, pace, proven=best.proven)
    rules = [name for name, setting in job.rules.items() if setting.level == "prefer"]
    rules.sort(key=lambda name: not BY_ID[name].of_divisions)  # legs and tubes are what costs most
    least = floor(least_minutes(job, best.assignment, pace))
    made = Prices(job=PlanJob(title=job.title, digest=job.digest), best=worth, least_minutes=least)
    if more_than is not None and worth.minutes - least <= more_than:
        return made
    priced: list[PreferencePrice] = []
    free: list[str] = []
    open_: list[str] = []
    for i, rule in enumerate(rules):
        found = None if clock.over else _without(job, rule, best.assignment, _share(clock, len(rules) - i), stop)
        if found is None:
            open_.append(rule)
            continue
        solution, clock.effort = found, clock.effort + found.solver.deterministic_time
        price = _price(job, rule, best, solution, pace)
        if price is None:
            (free if solution.status == "optimal" and best.proven else open_).append(rule)
        elif more_than is None or price.saved(worth) > more_than:
            priced.append(price)
    priced.sort(key=lambda price: (-price.saved(worth), rules.index(price.rule)))
    return remade(made, priced=tuple(priced), free=tuple(free), open=tuple(open_))


def _share(clock: Clock, parts: int) -> Clock:
    """Return a clock of an equal share of what is left."""
    limit = None if clock.left is None else clock.left / parts
    return Clock(limit, deterministic=clock.deterministic, interrupted=clock.interrupted)


def without(job: Job, rule: str) -> Job:
    """Return a job without one of its preferences."""
    return remade(job, rules={**job.rules, rule: remade(job.rules[rule], level="off")})


def _without(job: Job, rule: str, start: Assignment, clock: Clock, stop: Event | None) -> Solution | None:
    """Solve a job without a preference; None where that gave no plan."""
    options = Options(time_limit_s=clock.limit_s, reproducible=clock.deterministic, start=start)
    found = solve(without(job, rule), options, stop=stop)
    return None if found.status == "none" else found


def _price(job: Job, rule: str, best: Known, solution: Solution, pace: Labour) -> PreferencePrice | None:
    """Price a preference; None where no better plan was found without it."""
    changed = without(job, rule)
    if _goals(changed, solution.assignment) >= _goals(changed, best.assignment):
        return None
    broken = [finding for finding in judge(job, Laid(job, best.assignment)) if finding.rule == rule]
    return PreferencePrice(
        rule=rule,
        weight=job.rules[rule].weight,
        broken=len(broken),
        without=_worth(changed, solution.assignment, pace, proven=solution.status == "optimal"),
    )


def _goals(job: Job, assignment: Assignment) -> tuple[int, ...]:
    return tuple(measure_all(Laid(job, assignment)).values())


def _worth(job: Job, assignment: Assignment, pace: Labour, *, proven: bool) -> Worth:
    laid = Laid(job, assignment)
    goals = measure_all(laid)
    return Worth(
        legs=goals["legs"],
        trays=goals["trays"],
        crossings=goals["crossings"],
        leg_length_mm=goals["leg_length_mm"],
        minutes=round(crew_minutes(laid, Exposed().parameters(job), pace)),
        proven=proven,
        goals=goals,
    )


def least_minutes(job: Job, assignment: Assignment, pace: Labour) -> float:
    """Bound the crew minutes of every plan that places every splice and keeps every must, whatever it breaks beside.

    Counted from the minutes of a plan, less what its legs, trays, tubes and stripped metres are above the least.
    """
    laid, lengths = Laid(job, assignment), Exposed().parameters(job)
    minutes = crew_minutes(laid, lengths, pace)
    if len({tray.sleeve_fibres for tray in job.enclosure.trays}) > 1:
        return 0.0
    divider = Divider(job)
    settled = divider.settle()
    trays, _ = least_trays(job)
    legs = sum(map(len, laid.legs.values()))
    minutes -= (pace.mark_min_per_leg + pace.divide_min_per_leg) * (legs - (settled.legs if settled else 0))
    per_tray = pace.fit_min_per_tray + pace.take_out_min_per_tray + pace.lay_min_per_tray
    minutes -= per_tray * (len(laid.trays) - trays)
    for trunk in laid.trunks():
        spliced = [s for s in trunk.subunits if job.spliced[s.trunk, s.number]]
        idle = len(trunk.subunits) - len(spliced) if trunk.idle == "coiled" else 0
        travellers = sum(_least_tubes(job, divider, subunit) for subunit in spliced)
        tubes = idle + travellers
        turns = sum(1 + item.loops for item in laid.traffic if item.trunk == trunk.id)
        minutes -= pace.route_min_per_tube_and_turn * (turns - tubes * (1 + min(trunk.loops)))
        if trunk.idle == "cut_back":
            minutes -= pace.cut_back_min_per_tube * (laid.cut_back(trunk) - len(trunk.subunits) + len(spliced))
        minutes -= pace.take_off_min_per_tube * (len(laid.strands(trunk.id)) - travellers)
        cut = min((length for length, *_ in least_cuts(job, trunk)), default=0)
        strip = lengths.strip_mm([cut], min(trunk.loops))
        minutes -= pace.strip_min_per_metre * (lengths.strip_of(laid, trunk.id) - strip) / 1000
    return minutes


def _least_tubes(job: Job, divider: Divider, subunit: Subunit) -> int:
    """Return the fewest tubes in which the legs of a spliced subunit go round the track: its own, or at the port one a leg."""
    if "tray" in job.trunk_by_id[subunit.trunk].divide_at:
        return 1
    open_ = divider.open.get((subunit.trunk, subunit.number), ())
    return min((len(job.spliced_legs(subunit, of)) for of in open_), default=1)
