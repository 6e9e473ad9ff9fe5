"""Why this: for each goal above 0 a least value that holds for every plan, and the legs, pairs or trays that force it.

Each bound is counted here, in plain arithmetic, for plans that place every splice and keep every must. Where it does not reach
the value of the plan, the rest is what the solver proved, and its author is named. What a file says to be proven is a claim,
and holds nothing up.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import pairwise
from math import comb

from trayopt.checker.bounds import NOT_AGAIN
from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.explanation import BoundSaid, GoalCost, PreferenceSaid
from trayopt.domain.finding import Group
from trayopt.domain.job import Job, Trunk
from trayopt.domain.plan import GoalName
from trayopt.explainer.pairs import crossing_pairs, opposite, partners
from trayopt.explainer.words import named
from trayopt.goals.registry import measure_all
from trayopt.rules.reach import Reach
from trayopt.rules.slack_loops import SlackLoops
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.words import listed, several
from trayopt.solver.bounds.division import Divider
from trayopt.solver.model.bound import proven_by
from trayopt.track.laid import Laid
from trayopt.track.routes import all_ways, routes_of

MOST = 8
"""So many pairs are named; of the others the number is said."""


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
        "crossings": lambda: _crossings(job, laid),
        "leg_length_mm": lambda: _lengths(job, laid),
        "out_of_turn": lambda: _turns(job, laid),
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
                standing = f"refuted, a plan in hand has {refuted.kept:,}" if better and refuted else NOT_AGAIN
                because.append(f"the plan states a bound of {bound:,}: {standing}")
            bound = None
        elif bound is not None and bound > least:
            because.append(f"no plan has less than {bound:,}: {proven_by(by.get(goal))}")
        found.append(BoundSaid(goal=goal, value=value, at_least=max(least, bound or 0), because=tuple(because)))
    return tuple(found)


def _preferences(job: Job, broken: tuple[PreferenceSaid, ...]) -> tuple[int, list[str]]:
    """Count the weight of the preferences that no plan keeps with every must."""
    never = [item for item in broken if item.possible is False]
    said = []
    if never:
        said.append(
            f"{named([Group(item.rule, item.subject) for item in never])}: no plan that keeps every must keeps it"
        )
    return sum(job.rules[item.rule].weight for item in never), said


def _legs(job: Job) -> tuple[int, list[str]]:
    """Count the least legs of each subunit by itself, and what joins that cut them ask for beside."""
    divider = Divider(job)
    least, said = 0, []
    alike: Counter[tuple[str, int, int, int]] = Counter()
    for subunit in job.subunits:
        open_ = divider.open.get((subunit.trunk, subunit.number))
        if not open_:
            continue
        of = min(open_, key=lambda k: len(job.spliced_legs(subunit, k)))
        legs = len(job.spliced_legs(subunit, of))
        alike[subunit.trunk, subunit.fibres, of, legs] += 1
        least += legs
    room = max(stack.tray.fibres for stack in job.enclosure.stacks)
    for (trunk, fibres, _, legs), count in alike.items():
        why = f", as a tray holds {room:,} fibres at most" if legs > 1 and fibres > room else ""
        why = why or (", as whole it fits no tray" if legs > 1 else "")
        each = "at least" if count == 1 else "each at least"
        said.append(f"{trunk}: {several(count, 'subunit')} of {fibres} {each} {several(legs, 'leg')}{why}")
    settled = divider.settle()
    if settled is not None and settled.legs > least:
        said.append(
            f"{settled.legs - least:,} more, as edges of legs that are spliced to each other have to meet on both sides"
        )
        least = settled.legs
    return least, said


def _crossings(job: Job, laid: Laid) -> tuple[int, list[str]]:
    """Count the subunits that two trunks see in opposite orders: each such pair crosses unless both lie level."""
    least, said = 0, []
    for a, b in job.joined_pairs:
        if any(job.trunk_by_id[trunk].divide_at != "tray" for trunk in (a, b)):
            continue
        order = partners(job, a, b)
        against = opposite(order)
        if not against:
            continue
        strands = {i for pair in against for i in pair}
        level = _level_pairs(job, a, strands)
        forced = max(0, len(against) - level)
        legs = _least_divisions(job, a, b)
        least += forced * legs * legs
        said.append(
            f"{a} and {b} see {several(len(against), 'pair')} of {len(strands)} joined subunits in opposite orders; "
            f"at most {several(level, 'pair')} can lie level, so any plan crosses {several(forced, 'pair')}"
            + (f" of at least {legs} by {legs} legs" if legs > 1 and forced else "")
        )
    crossed = crossing_pairs(laid)
    named = listed([f"{g} over {h}" for g, h in crossed[:MOST]])
    more = f" and {len(crossed) - MOST:,} more" if len(crossed) > MOST else ""
    said.append(f"in this plan {named}{more}")
    return least, said


def _level_pairs(job: Job, trunk: str, strands: set[int]) -> int:
    """Give the most pairs of subunits that can have their first legs at one position."""
    if job.rules[TrayFibres.id].level != "must":
        return comb(len(strands), 2)
    smallest = min(
        min(s.fibres // of for of in Divider(job).open[trunk, s.number] or (1,))
        for s in job.trunk_by_id[trunk].subunits
        if s.number in strands
    )
    together = sum(stack.tray.fibres // max(1, smallest) for stack in job.enclosure.stacks)
    if together == 0:
        return 0
    groups, rest = divmod(len(strands), together)
    return groups * comb(together, 2) + comb(rest, 2)


def _least_divisions(job: Job, *trunks: str) -> int:
    open_ = Divider(job).open
    return min(min(options, default=1) for (trunk, _), options in open_.items() if trunk in trunks)


def _lengths(job: Job, laid: Laid) -> tuple[int, list[str]]:
    """Count the shortest way that each trunk has to any tray, for its least legs."""
    settled = Divider(job).settle()
    least, said = 0, []
    for trunk in laid.trunks():
        shortest = min(_routes(job, trunk), default=None)
        if shortest is None:
            continue
        legs = len(laid.legs[trunk.id])
        length, way, place = shortest
        least += length * legs
        loops = several(way.loops, "loop")
        said.append(
            f"{trunk.id}: {several(legs, 'leg')} of at least {length:,} mm, the shortest way being by {way.port}, "
            f"{way.travel}, with {loops} to {place}"
        )
    if settled is None or settled.legs != sum(len(legs) for legs in laid.legs.values()):
        return 0, said
    return least, said


def _routes(job: Job, trunk: Trunk) -> Iterator[tuple[int, Way, str]]:
    """Give every length that a leg of a trunk can have under the musts about loops and the bench."""
    routes = routes_of(job)
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
                    yield routes.route_mm(way, place, end.id), way, str(place)


def _turns(job: Job, laid: Laid) -> tuple[int, list[str]]:
    """Name the steps at which the splicer goes back to a place nearer to the base."""
    rank = job.enclosure.place_rank
    walk = [(piece, place) for piece, place in laid.piece_places if place is not None]
    steps = [
        f"from {before} to {after} at {job.joins[piece.join].name}, {piece.a}"
        for (_, before), (piece, after) in pairwise(walk)
        if rank[after] < rank[before]
    ]
    more = f" and {len(steps) - MOST:,} more" if len(steps) > MOST else ""
    return 0, [f"in this plan back {listed(steps[:MOST])}{more}"]
