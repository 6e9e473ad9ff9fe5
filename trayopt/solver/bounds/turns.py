"""A bound on ``out_of_turn`` where one trunk leads the walk and its subunits do not cross: a shortest path over box profiles.

Scope: the joins list one trunk's fibres in rising order, that trunk has no crossings, its subunits keep together, divisions are
settled, and ``base_outward`` is kept. Then subunits enter the box with lows that do not fall. Where splices stay without a
tray, any legs may stay out that hold no more of them, and a subunit of which none is placed enters nowhere.

* No tray place under the low of the last subunit can be used any more. So a subunit that leaves an unused place under
  itself leaves it for ever, and ``base_outward`` breaks: every subunit starts at most one above the top of its stack.
* What later subunits can meet is therefore the profile: for each stack its height and the loads of its trays from the last
  low outward. A stack that ends more than one place under that low is closed. A profile that leaves later subunits too
  little room leads nowhere.
* Room counts in fibres or in sleeves, whichever are the scarcer: either alone is a relaxation.

The path over profiles with the fewest steps down in place order is a relaxation of every plan in scope (other trunks, guides
and lengths are left out; ``alternate_stacks`` is taken in where it is kept), so its cost is a bound.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import NamedTuple

from trayopt.domain.cablework import Leg
from trayopt.domain.job import Job, Trunk
from trayopt.rules.alternate_stacks import AlternateStacks
from trayopt.rules.base_outward import BaseOutward
from trayopt.rules.subunit_together import SubunitTogether
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.tray_sleeves import TraySleeves
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.model import Model

MOST_PROFILES = 60_000
"""More profiles after one subunit than this, and no bound is given."""
PROFILE_EFFORT = 5e-5
"""Deterministic time for what can follow on a profile."""
MOST_PARTS = 64
"""Of more ways than this to leave legs of a subunit out, and no bound is given."""


class Profile(NamedTuple):
    """What later subunits can meet; stacks in the order of the enclosure."""

    low: int
    last: tuple[int, int]
    """Place of the last leg in place order: position, then index of the stack."""
    tops: tuple[tuple[int, tuple[int, ...]], ...]
    """By stack: height, and the loads of its trays from the last low outward."""
    counts: tuple[int, ...]
    """By stack: first legs of subunits, less the least of them; all 0 where alternation does not count."""


def lead_of_walk(job: Job) -> Trunk | None:
    """Give the trunk whose fibres rise all along the joins, if there is one."""
    for name in (job.joins[0].a.trunk, job.joins[0].b.trunk) if job.joins else ():
        fibres = [side.first for piece in job.pieces for side in (piece.a, piece.b) if side.trunk == name]
        if len(fibres) == len(job.pieces) and all(a < b for a, b in pairwise(fibres)):
            return job.trunk_by_id[name]
    return None


class Left(NamedTuple):
    """What plans may still leave out: splices, and subunits without a placed leg that they must leave out yet."""

    splices: int
    subunits: int


def turn_bound(
    model: Model, kept: Callable[[str], bool], clock: Clock, *, unplaced: int = 0, entering: int | None = None
) -> int:
    """Bound the steps down of any plan of a model, given that nothing in it crosses; 0 where it is out of scope or long.

    ``kept`` tells which rules such plans keep for every subject; at most ``unplaced`` splices stay without a tray, and at
    most ``entering`` subunits of the trunk that leads the walk have a placed leg, where that is known.
    """
    job = model.job
    trunk = lead_of_walk(job)
    if trunk is None or not kept(BaseOutward.id):
        return 0
    if trunk.divide_at == "port" and not kept(SubunitTogether.id):
        return 0
    subunits = [subunit for subunit in trunk.subunits if model.divisions(subunit)]
    if any(len(model.divisions(subunit)) > 1 for subunit in subunits):
        return 0
    legs_of = [model.legs(subunit, model.divisions(subunit)[0]) for subunit in subunits]
    scarce = _scarcest(job, kept, trunk, legs_of)
    if scarce is None:
        return 0
    capacities, loads_of = scarce
    box = _Box(
        capacities,
        positions=tuple(stack.positions for stack in job.enclosure.stacks),
        alternates=trunk.id in job.lead_trunks and kept(AlternateStacks.id),
    )
    none = (0,) * len(box.positions)
    stay = 0 if entering is None else max(0, len(subunits) - entering)
    start = Profile(1, (0, 0), tuple((0, ()) for _ in none), none)
    profiles: dict[tuple[Left, Profile], int] = {(Left(unplaced, stay), start): 0}
    brought = sum(map(sum, loads_of))
    for legs, loads in zip(legs_of, loads_of, strict=True):
        brought -= sum(loads)
        parts = _parts([job.spliced_fibres(leg) for leg in legs], loads, unplaced)
        if parts is None:
            return 0
        after: dict[tuple[Left, Profile], int] = {}
        for (left, profile), cost in profiles.items():
            for out, part in parts:
                if out > left.splices:
                    continue
                left_after = Left(left.splices - out, left.subunits - (not part))
                for step, profile_after in box.enter(profile, part) if part else [(0, profile)]:
                    total = cost + step
                    if not unplaced and box.usable(profile_after) < brought:
                        continue
                    key = left_after, profile_after
                    if after.get(key, total + 1) > total:
                        after[key] = total
        clock.effort += PROFILE_EFFORT * len(profiles) * len(parts)
        profiles = after
        if not profiles or len(profiles) > MOST_PROFILES or clock.over:
            return 0
    return min((cost for (left, _), cost in profiles.items() if left.subunits <= 0), default=0)


def _parts(splices: Sequence[int], loads: Sequence[int], unplaced: int) -> list[tuple[int, list[int]]] | None:
    """Give every part of a subunit that can be placed: the splices left out, and the loads of its legs; None for too many."""
    legs = range(len(loads))
    if not unplaced:
        return [(0, list(loads))]
    if 2 ** len(legs) > MOST_PARTS:
        return None
    found: dict[tuple[int, tuple[int, ...]], None] = {}
    for n in range(len(legs) + 1):
        for placed in combinations(legs, n):
            out = sum(splices[i] for i in legs if i not in placed)
            if out <= unplaced:
                found[out, tuple(loads[i] for i in placed)] = None
    return [(out, list(part)) for out, part in found]


def _scarcest(
    job: Job, kept: Callable[[str], bool], trunk: Trunk, legs_of: Sequence[Sequence[Leg]]
) -> tuple[tuple[int, ...], list[list[int]]] | None:
    """Give what trays of each stack hold and what each leg of each subunit brings, in what is scarcest; None where nothing is.

    A spliced fibre takes one place together with its partner, and a parked one takes one; partners' parked fibres are left
    out, which only relaxes. Sleeves are those of the runs of a leg, none of which goes on into another leg.
    """
    stacks = job.enclosure.stacks
    found = []
    if kept(TrayFibres.id):
        fibres = [[job.subunit(leg).fibres // leg.of for leg in legs] for legs in legs_of]
        found.append((tuple(stack.tray.fibres for stack in stacks), fibres))
    if kept(TraySleeves.id) and len({stack.tray.sleeve_fibres for stack in stacks}) == 1:
        size = stacks[0].tray.sleeve_fibres
        starts: Counter[Leg] = Counter()
        by_fibre = {leg.subunit: (leg.of, job.subunit(leg)) for legs in legs_of for leg in legs}
        for run in job.sleeve_runs:
            first = next(side.first for side in run[:2] if side.trunk == trunk.id)
            of, subunit = by_fibre[trunk.subunit_of(first).number]
            starts[subunit.leg_of_fibre(first, of)] += run.sleeves(size)
        found.append(
            (tuple(stack.tray.sleeves for stack in stacks), [[starts[leg] for leg in legs] for legs in legs_of])
        )
    rooms = tuple(stack.positions for stack in stacks)
    return max(
        found,
        key=lambda scarce: sum(map(sum, scarce[1])) / sum(n * room for n, room in zip(rooms, scarce[0], strict=True)),
        default=None,
    )


@dataclass(frozen=True)
class _Box:
    capacities: tuple[int, ...]
    positions: tuple[int, ...]
    alternates: bool

    def enter(self, profile: Profile, loads: list[int]) -> Iterator[tuple[int, Profile]]:
        """Yield every way in which a subunit can lie on some stack, with 1 where its first leg steps down."""
        for stack, (height, trays) in enumerate(profile.tops):
            counts = profile.counts
            if self.alternates:
                counts = tuple(n + (i == stack) for i, n in enumerate(counts))
                least = min(counts)
                counts = tuple(n - least for n in counts)
                if max(counts) > 1:
                    continue
            for start in range(profile.low, height + 2):
                for end, filled in self._fill(stack, height, trays, profile.low, start, loads):
                    tops = tuple(
                        self._cut(filled if i == stack else top, profile.low, start)
                        for i, top in enumerate(profile.tops)
                    )
                    down = (start, stack) < profile.last
                    yield int(down), Profile(start, (end, stack), tops, counts)

    def usable(self, profile: Profile) -> int:
        """Room that later subunits can use: above the tops of stacks that are not closed, and in trays not under the low."""
        room = 0
        for capacity, positions, (height, trays) in zip(self.capacities, self.positions, profile.tops, strict=True):
            if height >= profile.low - 1:
                room += (positions - height + len(trays)) * capacity - sum(trays)
        return room

    def _fill(
        self, stack: int, height: int, trays: tuple[int, ...], low: int, start: int, loads: list[int]
    ) -> Iterator[tuple[int, tuple[int, tuple[int, ...]]]]:
        """Yield every filling of a stack by legs that stay at a position or rise by one: last position, new top."""
        room = self.capacities[stack]
        reach: dict[tuple[int, tuple[int, tuple[int, ...]]], None] = {(start, (height, trays)): None}
        for i, load in enumerate(loads):
            further: dict[tuple[int, tuple[int, tuple[int, ...]]], None] = {}
            for at, (top, filled) in reach:
                for position in (at,) if i == 0 else (at, at + 1):
                    if position > self.positions[stack] or position > top + 1:
                        continue
                    if position == top + 1:
                        if load <= room:
                            further[position, (position, (*filled, load))] = None
                    elif filled[position - low] + load <= room:
                        index = position - low
                        further[position, (top, (*filled[:index], filled[index] + load, *filled[index + 1 :]))] = None
            reach = further
        yield from reach

    @staticmethod
    def _cut(top: tuple[int, tuple[int, ...]], low: int, start: int) -> tuple[int, tuple[int, ...]]:
        """Forget the trays under the new low."""
        return top[0], top[1][start - low :]
