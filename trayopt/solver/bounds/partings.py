"""Least preferences by the places at which trunks are divided: an outline for each choice that can still be best.

Where it is open at which place trunks are divided, one outline for all choices bounds little and is slow: what ties trays at
the tray and what fills guides at the port hangs on the choice. With the choice settled an outline answers soon. Each trunk that
is divided at the port costs ``breakout``, so that choices are tried by the number of such trunks until their price alone is
above the best bound, or there are too many; then one outline of all choices bounds the rest. Where the price of one
port more does not pass the best bound and that of all ports may, one outline asks first whether every further choice costs more.
Where no outline can be drawn without ports, one outline asks whether there is one with any.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from trayopt.domain.base import DivideAt
from trayopt.domain.job import Job
from trayopt.rules.breakout import Breakout
from trayopt.solver.bounds.preference_bounds import PreferenceBound, costs_more, denied_at_once, preference_bound
from trayopt.solver.model.base import Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.ways import Partings

MOST_CHOICES = 24
"""Most choices that are tried one by one."""

Ports = tuple[str, ...]
"""Trunks that are divided at the port, of those that may be divided at either place."""


@dataclass(frozen=True)
class PartingBounds:
    """Bounds on the weight of broken preferences, for plans that place every splice and keep every must.

    Parameters
    ----------
    trunks
        Trunks that may be divided at either place, and have a subunit that can make more than one leg.
    tried
        By choice, its bound; None where no such plan has it.
    beyond
        Bound for every other choice; None where there is none.
    """

    trunks: tuple[str, ...]
    tried: Mapping[Ports, int | None]
    beyond: int | None

    @property
    def least(self) -> int | None:
        """The least of all bounds; None where there is no such plan."""
        return min((b for b in (*self.tried.values(), self.beyond) if b is not None), default=None)

    def partings(self, weight: int) -> Partings:
        """Return where trunks may be divided in such plans that break preferences of at most this weight."""
        if self.beyond is not None and self.beyond <= weight:
            return {}
        good = [ports for ports, bound in self.tried.items() if bound is not None and bound <= weight]
        narrow: dict[str, tuple[DivideAt, ...]] = {}
        for trunk in self.trunks if good else ():
            at_port = {trunk in ports for ports in good}
            if len(at_port) == 1:
                narrow[trunk] = ("port",) if at_port.pop() else ("tray",)
        return narrow


def parting_bounds(job: Job, open_: Mapping[Key, Sequence[int]], clock: Clock, *, beside: int = 1) -> PartingBounds:
    """Bound preferences for each choice of places that can still be best, so many choices at a time.

    ``open_`` are the useful divisions of every spliced subunit.
    """
    divided = {key[0] for key, divisions in open_.items() if max(divisions) > 1}
    trunks = tuple(trunk.id for trunk in job.trunks if len(trunk.divide_at) > 1 and trunk.id in divided)
    setting = job.rules[Breakout.id]
    price = {"must": None, "prefer": setting.weight, "off": 0}[setting.level]
    tried: dict[Ports, int | None] = {}
    best: int | None = None
    for ports in range(len(trunks) + 1 if price is not None else 1):
        floor = ports * (price or 0)
        choices = list(combinations(trunks, ports))
        if best is not None and floor > best:
            return PartingBounds(trunks, tried, floor)
        if len(tried) + len(choices) > MOST_CHOICES:
            open_to_all = preference_bound(job, open_, clock)
            return PartingBounds(trunks, tried, None if open_to_all is None else max(floor, open_to_all))
        parted: list[Partings] = [{t: ("port",) if t in choice else ("tray",) for t in trunks} for choice in choices]
        for choice, bound in zip(choices, _bounds(job, open_, clock, parted, beside), strict=True):
            if bound is not None:
                best = max(bound, floor) if best is None else min(best, max(bound, floor))
            tried[choice] = None if bound is None else max(bound, floor)
        if best is None and ports == 0 and len(trunks) > 1 and price is not None and denied_at_once(job, open_, clock):
            return PartingBounds(trunks, tried, None)
        open_still = price and best is not None and (ports + 1) * price <= best <= len(trunks) * price
        if best is not None and open_still and costs_more(job, open_, clock, trunks, ports + 1, best):
            return PartingBounds(trunks, tried, best + 1)
    return PartingBounds(trunks, tried, None)


def _bounds(
    job: Job, open_: Mapping[Key, Sequence[int]], clock: Clock, parted: Sequence[Partings], beside: int
) -> Iterator[int | None]:
    """Yield the bound of each choice of places; while one is waited for, others are asked beside it."""
    todo = deque(parted)
    begun: deque[PreferenceBound] = deque()
    try:
        while todo or begun:
            while todo and len(begun) < beside:
                begun.append(PreferenceBound(job, open_, clock, divide_at=todo.popleft()))
            yield begun[0].answer()
            begun.popleft()
    finally:
        while begun:
            begun.popleft().drop()
