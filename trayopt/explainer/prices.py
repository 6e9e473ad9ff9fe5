"""What keeping each preference costs: the best plan beside the best plan of the job without it.

A preference is taken out of the job, and the job is solved again from the plan at hand. What is found is a plan, so that what a
crew would save without the preference is saved at least; it is all that can be saved where both plans are proven.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import floor
from threading import Event

from trayopt.domain.assignment import Assignment
from trayopt.domain.base import remade
from trayopt.domain.cablework import Subunit
from trayopt.domain.job import Job
from trayopt.domain.labour import Labour
from trayopt.domain.plan import PlanJob
from trayopt.domain.prices import PreferencePrice, Prices, PriceTogether, Worth
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
) -> Iterator[Prices]:
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

    Yields
    ------
    Prices
        What is known so far: at first no price, then more each time.
    """
    worth = _worth(job, best.assignment, pace, proven=best.proven)
    rules = [name for name, setting in job.rules.items() if setting.level == "prefer"]
    rules.sort(key=lambda name: not BY_ID[name].of_divisions)  # legs and tubes are what costs most
    least = floor(least_minutes(job, best.assignment, pace))
    made = Prices(job=PlanJob(title=job.title, digest=job.digest), best=worth, least_minutes=least, open=tuple(rules))
    yield made
    if more_than is not None and worth.minutes - least <= more_than:
        return
    freed = _freed(job, rules, best, _share(clock, 1.25 if more_than is not None else len(rules) + 1), stop, pace)
    clock.effort += freed.effort
    least = max(least, floor(least_minutes(job, best.assignment, pace, freed.legs)))
    rules.sort(key=lambda name: name not in freed.given_up)
    priced: dict[str, PreferencePrice] = {}
    settled = set(freed.free)
    if freed.plan is not None and len(freed.given_up) == 1:
        priced[freed.given_up[0]] = _price(job, freed.given_up[0], best, freed.plan, pace, proven=False)

    def dear(price: PreferencePrice) -> bool:
        return more_than is None or price.saved(worth) > more_than

    def known() -> Prices:
        told = [price for price in priced.values() if dear(price)]
        told.sort(key=lambda price: (-price.saved(worth), rules.index(price.rule)))
        left = [rule for rule in rules if rule not in {price.rule for price in told}]
        return remade(
            made,
            least_minutes=least,
            priced=tuple(told),
            free=tuple(rule for rule in left if rule in settled and rule not in priced),
            open=tuple(rule for rule in left if rule not in settled),
            together=freed.together,
        )

    yield known()
    if more_than is not None and worth.minutes - least <= more_than:
        return
    looked = [rule for rule in rules if rule not in freed.free]
    first = len(freed.given_up) if more_than is not None else 0
    all_ = None if freed.together is None else freed.together.without
    if more_than is not None and all_ is not None and all_.proven and worth.minutes - all_.minutes <= more_than:
        looked, first = [rule for rule in looked if BY_ID[rule].of_divisions], 0  # tubes are no goal, and may cost more
    for i, rule in enumerate(looked):
        start = freed.plan if freed.plan is not None and freed.given_up == (rule,) else best.assignment
        parts = (first if i < first else len(looked)) - i
        found = None if clock.over else _solved(without(job, rule), start, _share(clock, parts), stop)
        if found is None:
            continue
        clock.effort += found.solver.deterministic_time
        proven = found.status == "optimal"
        if _better(without(job, rule), found.assignment, best.assignment):
            priced[rule] = _price(job, rule, best, found.assignment, pace, proven=proven)
        if proven and best.proven:
            settled.add(rule)
        yield known()


@dataclass(frozen=True)
class _Freed:
    """What is known once every preference may be broken.

    ``given_up`` are the preferences that the plan breaks more often than the best plan does: it is a plan without these alone.
    ``free`` are those without which no plan is better. No plan has fewer ``legs``, whatever it breaks.
    """

    effort: float = 0.0
    legs: int = 0
    plan: Assignment | None = None
    given_up: tuple[str, ...] = ()
    free: frozenset[str] = frozenset()
    together: PriceTogether | None = None


def _freed(job: Job, rules: Sequence[str], best: Known, clock: Clock, stop: Event | None, pace: Labour) -> _Freed:
    """Solve the job without any preference: that takes less time than to leave out one, and bounds what each can cost.

    If the best plan is the best of this job too, no preference that it keeps costs anything: a plan that is better without such
    a preference is at least as good here.
    """
    if clock.over or not rules:
        return _Freed()
    without_all = without(job, *rules)
    found = _solved(without_all, best.assignment, clock, stop)
    if found is None:
        return _Freed()
    effort, legs = found.solver.deterministic_time, found.bounds.get("legs") or 0
    before, after = (_broken(job, plan) for plan in (best.assignment, found.assignment))
    proven = found.status == "optimal"
    given_up = tuple(rule for rule in rules if after[rule] > before[rule])
    worth = _worth(without(job, *given_up), found.assignment, pace, proven=proven)
    together = PriceTogether(rules=given_up, without=worth)
    if _better(without_all, found.assignment, best.assignment):
        return _Freed(effort, legs, found.assignment, given_up, together=together)
    free = frozenset(rules) - set(before) if proven and best.proven else frozenset()
    return _Freed(effort, legs, free=free, together=together)


def _broken(job: Job, assignment: Assignment) -> Counter[str]:
    """Count the broken subjects of each rule."""
    return Counter(finding.rule for finding in judge(job, Laid(job, assignment)))


def _share(clock: Clock, parts: float) -> Clock:
    """Return a clock of an equal share of what is left; where an effort is limited, of the effort, so that it repeats exactly."""
    effort = clock.share(1 / parts)
    if effort is not None:
        return Clock(effort, deterministic=True, interrupted=clock.interrupted)
    limit = None if clock.left is None else clock.left / parts
    return Clock(limit, deterministic=clock.deterministic, interrupted=clock.interrupted)


def without(job: Job, *rules: str) -> Job:
    """Return a job without some of its preferences."""
    return remade(job, rules={**job.rules, **{rule: remade(job.rules[rule], level="off") for rule in rules}})


def _solved(job: Job, start: Assignment, clock: Clock, stop: Event | None) -> Solution | None:
    """Solve a job from a plan; None where that gave no plan."""
    options = Options(time_limit_s=clock.limit_s, reproducible=clock.deterministic, start=start)
    found = solve(job, options, stop=stop)
    return None if found.status == "none" else found


def _better(job: Job, plan: Assignment, other: Assignment) -> bool:
    return _goals(job, plan) < _goals(job, other)


def _price(job: Job, rule: str, best: Known, plan: Assignment, pace: Labour, *, proven: bool) -> PreferencePrice:
    """Price a preference by a plan that is better without it."""
    return PreferencePrice(
        rule=rule,
        weight=job.rules[rule].weight,
        broken=_broken(job, best.assignment)[rule],
        without=_worth(without(job, rule), plan, pace, proven=proven),
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


def least_minutes(job: Job, assignment: Assignment, pace: Labour, legs_bound: int = 0) -> float:
    """Bound the crew minutes of every plan that places every splice and keeps every must, whatever it breaks beside.

    Counted from the minutes of a plan, less what its legs, trays, tubes and stripped metres are above the least.
    ``legs_bound`` is a number of legs below which no such plan is, as was proven elsewhere.
    """
    laid, lengths = Laid(job, assignment), Exposed().parameters(job)
    minutes = crew_minutes(laid, lengths, pace)
    if len({tray.sleeve_fibres for tray in job.enclosure.trays}) > 1:
        return 0.0
    divider = Divider(job)
    settled = divider.settle()
    trays, _ = least_trays(job)
    legs = sum(map(len, laid.legs.values()))
    least_legs = max(settled.legs if settled else 0, legs_bound)
    minutes -= (pace.mark_min_per_leg + pace.divide_min_per_leg) * (legs - least_legs)
    per_tray = pace.fit_min_per_tray + pace.take_out_min_per_tray + pace.lay_min_per_tray
    minutes -= per_tray * (len(laid.trays) - trays)
    travellers_in_all = 0
    for trunk in laid.trunks():
        spliced = [s for s in trunk.subunits if job.spliced[s.trunk, s.number]]
        idle = len(trunk.subunits) - len(spliced) if trunk.idle == "coiled" else 0
        travellers = sum(_least_tubes(job, divider, subunit) for subunit in spliced)
        travellers_in_all += travellers
        tubes = idle + travellers
        turns = sum(1 + item.loops for item in laid.traffic if item.trunk == trunk.id)
        minutes -= pace.route_min_per_tube_and_turn * (turns - tubes * (1 + min(trunk.loops)))
        if trunk.idle == "cut_back":
            minutes -= pace.cut_back_min_per_tube * (laid.cut_back(trunk) - len(trunk.subunits) + len(spliced))
        minutes -= pace.take_off_min_per_tube * (len(laid.strands(trunk.id)) - travellers)
        cut = min((length for length, *_ in least_cuts(job, trunk)), default=0)
        strip = lengths.strip_mm([cut], min(trunk.loops))
        minutes -= pace.strip_min_per_metre * (lengths.strip_of(laid, trunk.id) - strip) / 1000
    if all(trunk.divide_at == ("port",) for trunk in job.trunks):  # then each leg has a tube of its own
        turns = 1 + min(min(trunk.loops) for trunk in job.trunks)
        tubes = max(0, least_legs - travellers_in_all)
        minutes += (pace.route_min_per_tube_and_turn * turns + pace.take_off_min_per_tube) * tubes
    return minutes


def _least_tubes(job: Job, divider: Divider, subunit: Subunit) -> int:
    """Return the fewest tubes in which the legs of a spliced subunit go round the track: its own, or at the port one a leg."""
    if "tray" in job.trunk_by_id[subunit.trunk].divide_at:
        return 1
    open_ = divider.open.get((subunit.trunk, subunit.number), ())
    return min((len(job.spliced_legs(subunit, of)) for of in open_), default=1)
