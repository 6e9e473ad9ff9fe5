"""Why this: for each goal above 0 a least value that holds for every plan, and the legs, pairs or trays that force it.

Each bound is counted here, in plain arithmetic, for plans that place every splice and keep every must. Where it does not reach
the value of the plan, the rest is what the solver proved, and its author is named. What a file says to be proven is a claim,
and holds nothing up.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import accumulate, pairwise
from math import comb

from trayopt.checker.bounds import NOT_AGAIN
from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.cablework import Subunit
from trayopt.domain.explanation import BoundSaid, GoalCost, PreferenceSaid
from trayopt.domain.finding import Group
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.domain.said import said
from trayopt.domain.trunk import Trunk
from trayopt.explainer.pairs import opposite, partners
from trayopt.explainer.words import named
from trayopt.goals.crossings import crossing_pairs
from trayopt.goals.irregular import first_stacks
from trayopt.goals.registry import measure_all
from trayopt.rules.exposed import Exposed
from trayopt.rules.reach import Reach
from trayopt.rules.slack_loops import SlackLoops
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.words import chained, listed, several
from trayopt.solver.bounds.division import Divider
from trayopt.solver.model.bound import proven_by
from trayopt.track.laid import Laid
from trayopt.track.routes import all_ways, routes_of

MOST = 8
"""Most pairs that are named; of the others, only the number is said."""


ONE, EACH = (
    "{trunk}: {subunits} of {fibres}, in at least {legs}",
    "{trunk}: {subunits} of {fibres}, each in at least {legs}",
)
EDGES = "{more:,} more, because legs that are spliced to each other have to end at the same splices"


def bounds(
    job: Job,
    best: Assignment,
    proven: Mapping[GoalName, int | None],
    by: Mapping[GoalName, str | None],
    broken: tuple[PreferenceSaid, ...],
    *,
    claimed: bool = False,
    refuted: GoalCost | None = None,
) -> tuple[BoundSaid, ...]:
    """Say what holds up each goal of the best plan; ``proven`` are bounds, ``by`` their authors; a file only claims them.

    ``refuted`` is the goal on which another plan in hand is better, where one is.
    """
    laid = Laid(job, best)
    counted = {
        "broken_prefer": lambda: _preferences(job, broken),
        "legs": lambda: _legs(job),
        "trays": lambda: least_trays(job),
        "crossings": lambda: _crossings(job, laid),
        "leg_length_mm": lambda: _lengths(job, laid),
        "irregular": lambda: _irregular(job, laid),
    }
    found = []
    for goal, value in measure_all(laid).items():
        if value <= 0 or goal not in counted:
            continue
        least, because = counted[goal]()
        bound = proven.get(goal)
        if claimed:
            if bound is not None and bound > least:
                better = refuted is not None and refuted.goal == goal and refuted.kept < bound
                standing = (
                    said("refuted: a known plan has {kept:,}", kept=refuted.kept)
                    if better and refuted
                    else said(NOT_AGAIN)
                )
                because.append(said("the plan states a bound of {bound:,}: {standing}", bound=bound, standing=standing))
            bound = None
        elif bound is not None and bound > least:
            because.append(said("no plan has less than {bound:,}: {by}", bound=bound, by=proven_by(by.get(goal))))
        found.append(BoundSaid(goal=goal, value=value, at_least=max(least, bound or 0), because=tuple(because)))
    return tuple(found)


def _preferences(job: Job, broken: tuple[PreferenceSaid, ...]) -> tuple[int, list[str]]:
    """Count the weight of the preferences that no plan keeps with every must."""
    never = [item for item in broken if item.possible is False]
    groups = named([Group(item.rule, item.subject) for item in never])
    why: list[str] = [said("{groups}: cannot be kept together with every must", groups=groups)] if never else []
    return sum(job.rules[item.rule].weight for item in never), why


def _legs(job: Job) -> tuple[int, list[str]]:
    """Count the least legs of each subunit by itself, and what joins that cut them ask for beside."""
    divider = Divider(job)
    least = 0
    why: list[str] = []
    alike: Counter[tuple[str, int, int, int]] = Counter()
    for subunit in job.subunits:
        open_ = divider.open.get((subunit.trunk, subunit.number))
        if not open_:
            continue
        legs = min(_legs_in(job, subunit, of) for of in open_)
        whole = subunit.fibres + job.spliced_fibres(subunit.leg(1, 1))
        alike[subunit.trunk, subunit.fibres, whole, legs] += 1
        least += legs
    room = 2 * max(tray.fibres for tray in job.enclosure.trays)
    for (trunk, fibres, whole, legs), count in alike.items():
        form = EACH if count > 1 else ONE
        facts = {"trunk": trunk, "subunits": several(count, "subunit"), "fibres": fibres, "legs": several(legs, "leg")}
        if legs > 1 and whole > room:
            form += ": undivided it would bring {ends:,} fibre ends to a tray that takes {room:,}"
            facts |= {"ends": whole, "room": room}
        elif legs > 1:
            form += ": undivided it fits no tray"
        why.append(said(form, **facts))
    settled = divider.settle()
    if settled is not None and settled.legs > least:
        why.append(said(EDGES, more=settled.legs - least))
        least = settled.legs
    return least, why


def _legs_in(job: Job, subunit: Subunit, of: int) -> int:
    """Return the fewest legs that lie in trays where a subunit is divided by k."""
    return min(len(job.legs_in(subunit, of, at)) for at in job.trunk_by_id[subunit.trunk].divide_at)


def least_trays(job: Job) -> tuple[int, list[str]]:
    """Count the trays that all fibre ends fill if the largest trays come first and each subunit has its fewest ends."""
    if job.rules[TrayFibres.id].level != "must":
        return 0, []
    ends = sum(min(_ends_in(job, subunit, of) for of in open_) for subunit, open_ in _open(job))
    takes = sorted((2 * job.enclosure.tray_at(place).fibres for place in job.enclosure.places), reverse=True)
    least = next((n for n, total in enumerate(accumulate(takes, initial=0)) if total >= ends), len(takes))
    form = "at least {ends:,} fibre ends lie in trays that take {most:,} each: {trays}"
    if takes[0] != takes[least - 1]:
        form = "at least {ends:,} fibre ends lie in trays that take {most:,} or less each: {trays}"
    return least, [said(form, ends=ends, most=takes[0], trays=several(least, "tray"))]


def _open(job: Job) -> list[tuple[Subunit, tuple[int, ...]]]:
    """Return the spliced subunits with the divisions that are of use."""
    open_ = Divider(job).open
    return [(s, of) for s in job.subunits if (of := open_.get((s.trunk, s.number)))]


def _ends_in(job: Job, subunit: Subunit, of: int) -> int:
    """Return the fewest fibre ends that a subunit brings into trays where it is divided by k."""
    return _legs_in(job, subunit, of) * (subunit.fibres // of)


def _crossings(job: Job, laid: Laid) -> tuple[int, list[str]]:
    """Count the subunits that two trunks see in opposite orders: each such pair crosses unless both lie level."""
    least = 0
    why: list[str] = []
    for a, b in job.joined_pairs:
        order = partners(job, a, b)
        against = opposite(order)
        if not against:
            continue
        strands = {i: order[i] for pair in against for i in pair}
        level = _level_pairs(job, a, b, strands)
        forced = max(0, len(against) - level)
        least += forced
        why.append(
            said(
                "{a} and {b} see {pairs} of {number} joined subunits in opposite orders; at most {level} can lie level, so "
                "any plan crosses {forced}",
                a=a, b=b, pairs=several(len(against), "pair"), number=len(strands), level=several(level, "pair"),
                forced=several(forced, "pair"),
            )
        )  # fmt: skip
    crossed = crossing_pairs(laid)
    named = [said("{u} crosses over {v}", u=u, v=v) for u, v in crossed[:MOST]]
    more = [said("{n:,} more", n=len(crossed) - MOST)] if len(crossed) > MOST else []
    why.append(said("in this plan {what}", what=chained([listed(named), *more], "{first} and {then}")))
    return least, why


def _level_pairs(job: Job, a: str, b: str, strands: Mapping[int, int]) -> int:
    """Return the most pairs of joined subunits that can have their first legs at one position.

    Each has there a leg of either trunk in one tray, which takes so many fibre ends.
    """
    if job.rules[TrayFibres.id].level != "must":
        return comb(len(strands), 2)
    smallest = min(_smallest(job, a, mine) + _smallest(job, b, its) for mine, its in strands.items())
    together = sum(2 * max(tray.fibres for tray in stack.kinds) // max(1, smallest) for stack in job.enclosure.stacks)
    if together == 0:
        return 0
    groups, rest = divmod(len(strands), together)
    return groups * comb(together, 2) + comb(rest, 2)


def _smallest(job: Job, trunk: str, number: int) -> int:
    """Return the fibres of the smallest leg that a subunit can have."""
    return min(job.subunit_of_leg[trunk, number].fibres // of for of in Divider(job).open[trunk, number] or (1,))


def _lengths(job: Job, laid: Laid) -> tuple[int, list[str]]:
    """Count the shortest cut that a leg of each trunk can have in any tray, for its least legs."""
    settled = Divider(job).settle()
    least = 0
    why: list[str] = []
    for trunk in laid.trunks():
        shortest = min(least_cuts(job, trunk), default=None)
        legs = len(laid.legs[trunk.id])
        if shortest is None or not legs:
            continue
        length, way, place = shortest
        least += length * legs
        why.append(
            said(
                "{trunk}: {legs} cut to at least {length:,} mm; the shortest way is by {port}, {travel}, with {loops}, to "
                "{place}",
                trunk=trunk.id, legs=several(legs, "leg"), length=length, port=way.port, travel=said(way.travel),
                loops=several(way.loops, "loop"), place=place,
            )
        )  # fmt: skip
    if settled is None or settled.legs != sum(len(legs) for legs in laid.legs.values()):
        return 0, why
    return least, why


def least_cuts(job: Job, trunk: Trunk) -> Iterator[tuple[int, Way, str]]:
    """Yield every length to which a leg of a trunk can be cut under the musts about loops and the bench."""
    routes, lengths = routes_of(job), Exposed().parameters(job)
    loops = SlackLoops().parameters(job)
    bench = Reach().parameters(job).bench_mm
    for way in all_ways(job, trunk):
        if job.rules[SlackLoops.id].level == "must" and not loops.least <= way.loops <= loops.most:
            continue
        for stack in job.enclosure.stacks:
            for end in stack.ends:
                for place in (p for p in job.enclosure.places if p.stack == stack.id):
                    if job.rules[Reach.id].level == "must" and routes.free_mm(way, place, end.id) < bench:
                        continue
                    route = routes.route_mm(way, place, end.id)
                    yield lengths.cut_mm(trunk.transition_mm, route, way.loops), way, str(place)


def _irregular(job: Job, laid: Laid) -> tuple[int, list[str]]:
    """Name the walks of lead trunks over the stacks that are not in turn, and the heights of the stacks in use."""
    stacks = [stack.id for stack in job.enclosure.stacks]
    why: list[str] = []
    for trunk in laid.trunks():
        walk = first_stacks(laid, trunk) if trunk.id in job.lead_trunks else []
        wrong = sum(stacks.index(after) != (stacks.index(before) + 1) % len(stacks) for before, after in pairwise(walk))
        if wrong:
            why.append(
                said(
                    "this plan begins {subunits} of {trunk} on a stack out of turn",
                    subunits=several(wrong, "subunit"), trunk=trunk.id,
                )
            )  # fmt: skip
    heights = Counter(place.stack for place in laid.trays)
    if len(set(heights.values())) > 1:
        trays = listed(
            [
                said("{trays} on {stack}", trays=several(heights[stack], "tray"), stack=stack)
                for stack in stacks if stack in heights
            ]
        )  # fmt: skip
        why.append(said("this plan uses {what}", what=trays))
    return 0, why
