"""Local search: simulated annealing from the plan of habit, over ways, divisions and tray places, for the same wall time.

Moves: a bunch to another tray, two trays or two bunches swapped, a cluster turned from stack to stack, another way of a trunk, a
finer or coarser division of like subunits, a bunch out or in again. A plan with an overfull tray or a torn subunit is refused at
a glance; all others are measured as the plans of every method are, and what no plan may break costs most and is never offered.
"""

from __future__ import annotations

import math
import random
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from benchmarks.journal import GOAL_ORDER, Journal, hard_faults
from trayopt.domain.assignment import Assignment, Way
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.goals.registry import measure_all
from trayopt.solver.heuristics.bunches import Bunch, Parting, bunches_of, clusters
from trayopt.solver.heuristics.constructive import choose_partings, coarsest, construct
from trayopt.solver.heuristics.laying import Laying
from trayopt.solver.model.base import Key
from trayopt.track.laid import Laid
from trayopt.track.routes import all_ways

HARD = 400.0
WEIGHTS: Mapping[str, float] = {
    "unplaced": 10.0, "broken_must": 100.0, "broken_prefer": 20.0, "legs": 5.0, "trays": 5.0, "crossings": 1.0,
    "leg_length_mm": 0.002, "irregular": 0.05,
}  # fmt: skip
"""What one unit of each goal costs: a smooth stand-in for their order; the plan that is kept is judged by the order itself."""
HOT, COLD = 50.0, 0.02
"""Temperatures at the start and at the end."""


@dataclass(frozen=True)
class State:
    """Decisions: ways, where trunks are divided, divisions, and the place of each bunch in ``bunches`` (None: outside)."""

    ways: dict[str, Way]
    parting: Parting
    divisions: dict[Key, int]
    bunches: Sequence[Bunch]
    at: tuple[Place | None, ...]

    def assignment(self) -> Assignment:
        """Write as a plan's decisions."""
        places = {leg: place for bunch, place in zip(self.bunches, self.at, strict=True) if place for leg in bunch.legs}
        inside = {leg.trunk for leg in places}
        ways = {trunk: way for trunk, way in self.ways.items() if trunk in inside}
        return Assignment(ways, places, divide_at={trunk: at for trunk, at in self.parting.items() if trunk in inside})


def solve(journal: Journal, *, seed: int = 1, workers: int = 1) -> None:
    """Anneal until the time is over."""
    del workers
    chance = random.Random(seed)
    job = journal.job
    state = first_state(job)
    if state is None:
        return
    cost = energy(journal, state)
    while journal.left > 0:
        part = journal.seconds / journal.limit_s
        temperature = HOT * (COLD / HOT) ** part
        candidate = move(job, state, chance)
        if candidate is None:
            continue
        journal.moves += 1
        if not fits(job, candidate):
            continue
        found = energy(journal, candidate)
        if found <= cost or chance.random() < math.exp((cost - found) / temperature):
            state, cost = candidate, found


def energy(journal: Journal, state: State) -> float:
    """Measure a plan and keep it if it is the best so far."""
    laid = Laid(journal.job, state.assignment())
    faults = hard_faults(journal.job, laid)
    measured = measure_all(laid)
    if not faults and (not journal.vector or tuple(measured[goal] for goal in GOAL_ORDER) < journal.vector):
        journal.offer(state.assignment())
    return HARD * faults + sum(WEIGHTS[goal] * measured[goal] for goal in GOAL_ORDER)


def fits(job: Job, state: State) -> bool:
    """See at a glance that no tray is overfull and no subunit divided at the tray is torn: most draws fail here, unmeasured."""
    ends: dict[Place, int] = defaultdict(int)
    sleeves: dict[Place, int] = defaultdict(int)
    rows: dict[Key, list[tuple[int, Place]]] = defaultdict(list)
    for bunch, place in zip(state.bunches, state.at, strict=True):
        if place is None:
            continue
        tray = job.enclosure.tray_at(place)
        ends[place] += bunch.ends
        sleeves[place] += bunch.sleeves[tray.sleeve_fibres]
        if ends[place] > 2 * tray.fibres or sleeves[place] > tray.sleeves:
            return False
        for leg in bunch.legs:
            if leg.of > 1 and state.parting[leg.trunk] == "tray":
                rows[leg.trunk, leg.subunit].append((leg.group, place))
    return all(
        one.stack == other.stack and other.position - one.position in {0, 1}
        for row in rows.values()
        for (_, one), (_, other) in pairwise(sorted(row))
    )


def first_state(job: Job) -> State | None:
    """Start where the habit ends, with the number of loops that places most."""
    best: tuple[int, State] | None = None
    for loops in sorted({n for trunk in job.trunks for n in trunk.loops if n >= 1} or {1}):
        plan = construct(job, loops)
        ways = {trunk.id: plan.ways.get(trunk.id, all_ways(job, trunk)[0]) for trunk in job.trunks}
        parting = choose_partings(job) | dict(plan.divide_at)
        divisions = coarsest(job, parting)
        bunches = bunches_of(job, divisions, parting)
        at = tuple(plan.places.get(bunch.legs[0]) for bunch in bunches)
        state = State(ways, parting, divisions, bunches, at)
        if best is None or sum(place is not None for place in at) > best[0]:
            best = sum(place is not None for place in at), state
    return best[1] if best and best[1].bunches else None


def move(job: Job, state: State, chance: random.Random) -> State | None:
    """Change one thing at random; None where this draw changes nothing."""
    kind = chance.random()
    at = list(state.at)
    i = chance.randrange(len(at))
    if kind < 0.1:
        return _other_way(job, state, chance)
    if kind < 0.15:
        return _other_division(job, state, chance)
    if kind < 0.45:
        at[i] = chance.choice(job.enclosure.places)
    elif kind < 0.65:
        j = chance.randrange(len(at))
        at[i], at[j] = at[j], at[i]
    elif kind < 0.85:
        one, other = chance.choice(job.enclosure.places), chance.choice(job.enclosure.places)
        turned = {one: other, other: one}
        at = [turned.get(place, place) if place else None for place in at]
    elif kind < 0.97:
        _turn(job, state, at, i, chance)
    else:
        at[i] = None
    changed = tuple(at)
    return None if changed == state.at else State(state.ways, state.parting, state.divisions, state.bunches, changed)


def _turn(job: Job, state: State, at: list[Place | None], i: int, chance: random.Random) -> None:
    """Lay all bunches of one subunit on another stack, from a random position on outward."""
    key = state.bunches[i].legs[0][:2]
    members = [j for j, bunch in enumerate(state.bunches) if any(leg[:2] == key for leg in bunch.legs)]
    stack = chance.choice(job.enclosure.stacks)
    if stack.positions < len(members):
        return
    base = chance.randint(1, stack.positions - len(members) + 1)
    for step, j in enumerate(members):
        at[j] = Place(stack.id, base + step)


def _other_way(job: Job, state: State, chance: random.Random) -> State | None:
    trunk = chance.choice(job.trunks)
    way = chance.choice(all_ways(job, trunk))
    if way == state.ways[trunk.id]:
        return None
    return State({**state.ways, trunk.id: way}, state.parting, state.divisions, state.bunches, state.at)


def _other_division(job: Job, state: State, chance: random.Random) -> State | None:
    """Divide the like subunits of a trunk otherwise, or at the other place, and lay everything anew as habit does."""
    key = chance.choice(list(state.divisions))
    own = job.subunit_of_leg[key]
    of = chance.choice(own.divisions)
    divisions = dict(state.divisions)
    for subunit in job.trunk_by_id[key[0]].subunits:
        like = (subunit.ribbons, subunit.ribbon_fibres) == (own.ribbons, own.ribbon_fibres)
        if like and (subunit.trunk, subunit.number) in divisions:
            divisions[subunit.trunk, subunit.number] = of
    parting: Parting = state.parting | {own.trunk: chance.choice(job.trunk_by_id[own.trunk].divide_at)}
    if (divisions, parting) == (state.divisions, state.parting):
        return None
    bunches = bunches_of(job, divisions, parting)
    laying = Laying(job, dict(state.ways), parting, few_ties=False)
    for cluster in clusters(job, bunches):
        laying.lay(cluster)
    return State(state.ways, parting, divisions, bunches, tuple(laying.places.get(bunch.legs[0]) for bunch in bunches))
