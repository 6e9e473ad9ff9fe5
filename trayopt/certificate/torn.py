"""Rows of crossings of torn subunits: at the port their legs are travellers that need not turn off together."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import combinations, pairwise, product

from trayopt.certificate.patterns import Key
from trayopt.certificate.places import Placed
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.hardware import Place

MOST_PAIRS = 3_000
"""Greatest number of pairs of legs for which rows are made; beyond it subunits that may be torn are not counted by legs."""

Terms = list[tuple[int, int]]
At = Callable[[Leg, Place, int], Terms]


def cross_torn(x: Placed, at: At, whole: Mapping[tuple[Key, Key], tuple[int, int]]) -> Terms:
    """Add the rows of the crossings of legs of subunits that may be torn, and return the terms that count them.

    Parameters
    ----------
    x
        The rows.
    at
        Gives the terms of a sum that is a factor if a leg lies at a place, and 0 otherwise.
    whole
        For pairs of subunits that are not torn, the number that is 1 if they cross, and how many crossings that makes.
    """
    return _Torn(x, at).cross(whole)


def may_be_torn(x: Placed, s: Subunit) -> bool:
    """Whether a plan may leave the legs of a subunit apart: it is divided at the port, and no row forbids that it is torn."""
    torn = x.torn[s.trunk, s.number]
    broken = x.names.get(f"broken subunit_together {s.name}")
    several = any(len(x.job.spliced_legs(s, k)) > 1 for k in x.divisions[s.trunk, s.number])
    return several and bool(x.bounds[torn][1]) and (broken is None or bool(x.bounds[broken][1]))


class _Torn:
    """The legs of subunits as travellers, each with a low of its own."""

    def __init__(self, x: Placed, at: At) -> None:
        self.x, self.at = x, at
        self.positions = range(1, max(stack.positions for stack in x.stacks))
        self.low: dict[tuple[Leg, int], Terms] = {}
        """Terms of a sum that is 1 if a leg is placed and its low is at most a position."""

    def cross(self, whole: Mapping[tuple[Key, Key], tuple[int, int]]) -> Terms:
        x = self.x
        torn = {(s.trunk, s.number) for s in x.spliced if may_be_torn(x, s)}
        legs = {
            (s.trunk, s.number): [x.job.spliced_legs(s, k) for k in x.divisions[s.trunk, s.number]] for s in x.spliced
        }
        inside = [(g, h) for key in legs if key in torn for some in legs[key] for g, h in combinations(some, 2)]
        between = {
            (a, b): [(g, h) for one, other in product(legs[a], legs[b]) for g, h in product(one, other)]
            for a, b in combinations(legs, 2)
            if a[0] == b[0] and (a in torn or b in torn)
        }
        if len(inside) + sum(map(len, between.values())) > MOST_PAIRS:
            return [(times, number) for number, times in whole.values()]
        for key in dict.fromkeys(key for pair in between for key in pair) | dict.fromkeys(torn):
            for some in legs[key]:
                self._turn_off(some)
        cost: Terms = [(times, number) for pair, (number, times) in whole.items() if pair not in between]
        cost += [(1, self._crosses(g, h)) for g, h in inside]
        for (a, b), pairs in between.items():
            crossings = x.number(f"crossings of {a} {b}", len(pairs))
            x.row(f"crossings of legs of {a} {b}", [*((1, self._crosses(g, h)) for g, h in pairs), (-1, crossings)], 0)
            if (a, b) in whole:
                number, times = whole[a, b]
                x.row(f"crossings of tubes {a} {b}", [(times, number), (-1, crossings)], 0)
            cost.append((1, crossings))
        return cost

    def _turn_off(self, legs: Sequence[Leg]) -> None:
        """Add the rows of lows: a leg that lies with the leg before it, or one place outward, has its low, else its position."""
        x = self.x
        for leg in legs:
            for p in self.positions:
                near = [term for place in x.places if place.position <= p for term in self.at(leg, place, 1)]
                self.low[leg, p] = near
        for before, leg in pairwise(legs):
            follows = x.number(f"{leg} of {leg.of} turns off with {before}", rank=40)
            for place in x.places:
                up = Place(place.stack, place.position + 1)
                here = self.at(before, place, 1)
                near = [*self.at(leg, place, 1), *self.at(leg, up, 1)]
                if here:
                    said = f"{leg} of {leg.of} near {before} at {place}"
                    x.row(said, [*here, *near, (-1, follows)], 1)
                    x.row(f"{said} alone", [*here, (1, follows), *((-f, n) for f, n in near)], 1)
            for p in self.positions:
                number = x.number(f"{leg} of {leg.of} turns off up to {p}", rank=30)
                for other, terms, free in (("with", self.low[before, p], (1, 1)), ("alone", self.low[leg, p], (-1, 0))):
                    for sign in (1, -1):
                        both = [(sign, number), *((-sign * f, n) for f, n in terms), (free[0], follows)]
                        x.row(f"{leg} of {leg.of} up to {p} {other} {sign}", both, free[1])
                self.low[leg, p] = [(1, number)]

    def _crosses(self, g: Leg, h: Leg) -> int:
        """Return the number that is 1 if two legs, placed at the port, cross: the first turns off further out."""
        x = self.x
        crosses = x.number(f"{g} of {g.of} crosses {h} of {h.of}")
        placed = [(f, n) for f, n in x.placed(g)]
        for p in self.positions:
            terms = [*self.low[h, p], *((-f, n) for f, n in self.low[g, p]), *placed]
            x.row(f"{g} of {g.of} over {h} of {h.of} up to {p}", [*terms, (1, x.port[g.trunk]), (-1, crosses)], 2)
        return crosses
