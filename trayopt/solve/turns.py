"""A bound on ``out_of_turn`` where one trunk leads the walk and its subunits do not cross: a shortest path over box profiles.

Scope: the joins list one trunk's fibres in rising order, every splice is placed, that trunk has no crossings, its subunits
keep together, divisions are settled, and ``base_outward`` is kept. Then subunits enter the box with lows that do not fall.

* No tray place under the low of the last subunit can be used any more. So a subunit that leaves an unused place under
  itself leaves it for ever, and ``base_outward`` breaks: every subunit starts at most one above the top of its stack.
* What later subunits can meet is therefore the profile: for each stack its height and the loads of its trays from the last
  low outward.

The path over profiles with the fewest steps down in place order is a relaxation of every plan in scope (other trunks, guides
and lengths are left out; ``alternate_stacks`` is taken in where it is kept), so its cost is a bound.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from trayopt.domain.cablework import Leg
from trayopt.domain.job import Job, Trunk
from trayopt.solve.model import Model

MOST_PROFILES = 60_000
"""More profiles after one subunit than this, and no bound is given."""


class Profile(NamedTuple):
    """What later subunits can meet; stacks in the order of the enclosure."""

    low: int
    last: tuple[int, int]
    """Place of the last leg in place order: position, then index of the stack."""
    tops: tuple[tuple[int, tuple[int, ...]], ...]
    """By stack: height, and the loads (doubled) of its trays from the last low outward."""
    counts: tuple[int, ...]
    """By stack: first legs of subunits, less the least of them; all 0 where alternation does not count."""


def lead_of_walk(job: Job) -> Trunk | None:
    """Give the trunk whose fibres rise all along the joins, if there is one."""
    for name in (job.joins[0].a.trunk, job.joins[0].b.trunk) if job.joins else ():
        fibres = [side.first for piece in job.pieces for side in (piece.a, piece.b) if side.trunk == name]
        if len(fibres) == len(job.pieces) and all(a < b for a, b in pairwise(fibres)):
            return job.trunk_by_id[name]
    return None


def turn_bound(model: Model) -> int:
    """Bound the steps down of any plan of a model, given that nothing in it crosses; 0 where it is out of scope."""
    job = model.job
    trunk = lead_of_walk(job)
    if trunk is None or not model.all_placed or not model.keeps("base_outward"):
        return 0
    if trunk.divide_at == "port" and not model.keeps("subunit_together"):
        return 0
    if "tray_fibres" not in model.kept:
        return 0
    subunits = [subunit for subunit in trunk.subunits if model.divisions(subunit)]
    if any(len(model.divisions(subunit)) > 1 for subunit in subunits):
        return 0
    box = _Box(
        capacities=tuple(2 * stack.tray.fibres for stack in job.enclosure.stacks),
        positions=tuple(stack.positions for stack in job.enclosure.stacks),
        alternates=trunk.id in job.lead_trunks and model.keeps("alternate_stacks"),
    )
    none = (0,) * len(box.positions)
    profiles: dict[Profile, int] = {Profile(1, (0, 0), tuple((0, ()) for _ in none), none): 0}
    for subunit in subunits:
        loads = [_load(model, leg) for leg in model.legs(subunit, model.divisions(subunit)[0])]
        after: dict[Profile, int] = {}
        for profile, cost in profiles.items():
            for step, profile_after in box.enter(profile, loads):
                total = cost + step
                if after.get(profile_after, total + 1) > total:
                    after[profile_after] = total
        profiles = after
        if not profiles or len(profiles) > MOST_PROFILES:
            return 0
    return min(profiles.values())


def _load(model: Model, leg: Leg) -> int:
    """Doubled places that the legs of a leg's own trunk in its bunch bring with their partners: twice the leg's fibres.

    A spliced fibre takes one place together with its partner, and a parked one takes one; partners' parked fibres are left
    out, which only relaxes.
    """
    return 2 * model.job.subunit(leg).fibres // leg.of


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
