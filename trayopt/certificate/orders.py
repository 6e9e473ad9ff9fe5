"""Rows of the place of each pattern: the order of legs on a stack, trays that opened tubes tie, and crossings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import combinations, pairwise
from typing import NamedTuple

from trayopt.certificate.check import TooMany
from trayopt.certificate.patterns import Key, Pattern
from trayopt.certificate.places import Placed
from trayopt.certificate.torn import cross_torn
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.hardware import Place

MOST_PLACED = 16_000
"""Greatest number of patterns times places for which rows are made."""

Terms = list[tuple[int, int]]


def order(x: Placed) -> None:
    """Add the rows that need the place of each pattern.

    Raises
    ------
    TooMany
        If there are too many patterns times places, or splices may stay out.
    """
    if not x.whole or len(x.patterns) * len(x.places) > MOST_PLACED:
        raise TooMany
    orders = _Orders(x)
    orders.follow()
    orders.tie()
    if "broken_prefer" in x.given:  # no goal before asks for crossings
        orders.cross()


class _Step(NamedTuple):
    """A step on a stack from a leg to the one that follows it, at most ``rise`` places outward.

    ``unless`` is the term of the number that is 1 if it need not follow: the subunit is torn, or its trunk is divided at the
    port.
    """

    one: Leg
    other: Leg
    rise: int
    places: Sequence[Place]
    unless: tuple[int, int]


class _Orders:
    """Rows of patterns at places, and of the position at which each subunit turns off."""

    def __init__(self, x: Placed) -> None:
        self.x = x
        self.at: dict[tuple[Pattern, Place], int] = {}
        self._with: dict[Leg, list[Pattern]] = {}
        self._legs: dict[tuple[Leg, Place], list[int]] = {}
        for kind, alike in x.kinds.items():
            for pattern in alike:
                for leg in pattern.legs:
                    self._with.setdefault(leg, []).append(pattern)
                for stack in x.stacks:
                    if (pattern, stack.id) in x.chosen:
                        there = [place for place in x.places if place.stack == stack.id and (kind, place) in x.at]
                        for place in there:
                            self.at[pattern, place] = x.number(f"{pattern.name} at {place}", rank=20)
                        terms = [(1, self.at[pattern, place]) for place in there]
                        terms.append((-1, x.chosen[pattern, stack.id]))
                        x.row(f"{pattern.name} lies on {stack.id}", terms, 0, equal=True)
            for place in x.places:
                if (kind, place) in x.at:
                    terms = [(1, self.at[p, place]) for p in alike if (p, place) in self.at]
                    x.row(f"{kind.name} lie at {place}", [*terms, (-1, x.at[kind, place])], 0, equal=True)
        self.crossing: dict[tuple[Key, Key], int] = {}

    def leg(self, leg: Leg, place: Place, factor: int = 1) -> Terms:
        """Return the terms of a sum that is ``factor`` if a leg lies at a place, and 0 otherwise."""
        if (leg, place) not in self._legs:
            found = (self.at.get((pattern, place)) for pattern in self._with.get(leg, ()))
            held = [number for number in found if number is not None]
            if len(held) > 1:  # a number of its own makes rows short
                lies = self.x.number(f"{leg} of {leg.of} at {place}", rank=25)
                self.x.row(f"{leg} of {leg.of} lies at {place}", [*((1, n) for n in held), (-1, lies)], 0, equal=True)
                held = [lies]
            self._legs[leg, place] = held
        return [(factor, number) for number in self._legs[leg, place]]

    def _steps(self) -> Iterator[_Step]:
        """Yield the steps of each stack from leg to leg of a subunit, for each division.

        These are the steps between spliced legs, and between all legs of a subunit that is opened at a tray.
        """
        x = self.x
        for s in x.spliced:
            key = (s.trunk, s.number)
            for k in x.divisions[key]:
                opened = k in x.parked.get(key, ())
                steps = {pair: (-1, x.torn[key]) for pair in pairwise(x.job.spliced_legs(s, k))}
                steps |= {pair: (-1, x.port[s.trunk]) for pair in pairwise(s.legs(k)) if opened and pair not in steps}
                for (one, other), unless in steps.items():
                    rise = other.group - one.group if opened else 1
                    for stack in x.stacks:
                        places = [place for place in x.places if place.stack == stack.id]
                        yield _Step(one, other, rise, places, unless)

    def follow(self) -> None:
        """Add the rows of order: unless torn, a leg lies with the leg before it, or outward by at most their distance."""
        for one, other, rise, places, unless in self._steps():
            k = one.of
            for i, place in enumerate(places):
                before = [term for near in places[max(0, i - rise) : i + 1] for term in self.leg(one, near, -1)]
                after = [term for near in places[i : i + rise + 1] for term in self.leg(other, near, -1)]
                self.x.row(f"{other} of {k} at {place} follows {one}", [*self.leg(other, place), *before, unless], 0)
                self.x.row(
                    f"{one} of {k} at {place} is followed by {other}", [*self.leg(one, place), *after, unless], 0
                )

    def tie(self) -> None:
        """Add the rows that count places that opened tubes tie to too many others."""
        x = self.x
        if x.job.rules["tied_trays"].level == "off":
            return
        most = int(x.job.rules["tied_trays"].parameters["trays"])
        ties = {place: x.number(f"{place} tied to the next") for place in x.places}
        for one, other, _, places, _ in self._steps():
            for place, up in pairwise(places):
                terms = [*self.leg(one, place), *self.leg(other, up), (-1, ties[place]), (-1, x.port[one.trunk])]
                x.row(f"{one} {other} of {one.of} at {place} ties", terms, 1)
        for stack in x.stacks:
            places = [place for place in x.places if place.stack == stack.id]
            for start in range(len(places) - most):
                run = [(1, ties[place]) for place in places[start : start + most]]
                for place in places[start : start + most + 1]:
                    x.let("tied_trays", str(place), run, most - 1)

    def _first(self, s: Subunit) -> list[Leg] | None:
        """Return the first placed leg of a subunit for each division; None if it may be a leg without a splice."""
        ks = self.x.divisions[s.trunk, s.number]
        at = self.x.job.trunk_by_id[s.trunk].divide_at
        firsts = [s.legs(k)[0] if at == ("tray",) else self.x.job.spliced_legs(s, k)[0] for k in ks]
        return None if "tray" in at and any(leg.group > 1 for leg in firsts) else firsts

    def _at_position(self, firsts: Sequence[Leg], position: int, factor: int = 1) -> Terms:
        places = (place for place in self.x.places if place.position == position)
        return [term for place in places for leg in firsts for term in self.leg(leg, place, factor)]

    def _travellers(self, s: Subunit) -> int:
        """Return the fewest travellers of a subunit: one for its own tube, or its legs in tubes of the set."""
        trunk = self.x.job.trunk_by_id[s.trunk]
        return min(
            1 if trunk.own_tube_travels(k, at) else len(self.x.job.spliced_legs(s, k))
            for k in self.x.divisions[s.trunk, s.number]
            for at in trunk.divide_at
        )

    def cross(self) -> None:
        """Add the rows of crossings: a pair of a trunk crosses if the first turns off further out."""
        x = self.x
        deepest = max(stack.positions for stack in x.stacks)
        lows = {
            (s.trunk, s.number): (s, firsts)
            for s in x.spliced
            if x.divisions[s.trunk, s.number]
            if (firsts := self._first(s))
        }
        turned: dict[tuple[Key, int], int] = {}  # numbers that are 1 if a subunit turns off at a position or below it
        for key, (s, firsts) in lows.items():
            up: Terms = []
            for position in range(1, deepest):
                up += self._at_position(firsts, position)
                turned[key, position] = x.number(f"{s.name} up to {position}", rank=60)
                x.row(f"{s.name} up to {position}", [*up, (-1, turned[key, position])], 0, equal=True)
        times: dict[tuple[Key, Key], int] = {}
        for (a, (one, _)), (b, (other, _)) in combinations(lows.items(), 2):
            if a[0] != b[0]:
                continue
            crosses = self.crossing[a, b] = x.number(f"{one.name} crosses {other.name}")
            times[a, b] = self._travellers(one) * self._travellers(other)
            free = [(-1, crosses), (-1, x.torn[a]), (-1, x.torn[b])]
            for position in range(1, deepest):
                terms = [(1, turned[b, position]), (-1, turned[a, position])]
                x.row(f"{one.name} over {other.name} up to {position}", [*terms, *free], 0)
        whole = {pair: (self.crossing[pair], n) for pair, n in times.items()}
        known = "legs" in x.given  # before, there are many legs that may be torn
        x.goals["crossings"] = (
            cross_torn(x, self.leg, whole) if known else [(n, number) for number, n in whole.values()]
        )
        self._oppose({key: firsts for key, (_, firsts) in lows.items()}, range(1, deepest + 1))

    def _twins(self, lows: Iterable[Key]) -> list[tuple[Key, Key]]:
        """Return pairs of subunits whose first fibres are spliced to each other, so that they have the same low."""
        firsts = {(x_.trunk, x_.first): (x_.trunk, x_.number) for x_ in self.x.spliced}
        known = set(lows)
        pairs = ((firsts.get(p.a[:2]), firsts.get(p.b[:2])) for p in self.x.job.pieces)
        return [(a, b) for a, b in pairs if a in known and b in known and a is not None and b is not None]

    def _fill_more_than_a_tray(self, some: Sequence[Leg], others: Sequence[Leg]) -> bool:
        """Whether no tray holds one of some legs beside one of others, so that they share no position of a stack."""
        least = []
        for legs in (some, others):
            held = [p for leg in legs for p in self._with.get(leg, ())]
            if not held:
                return False
            least.append(min(p.ends for p in held))
        return sum(least) > max(map(self.x.fill, self.x.places)) and not any(
            other in p.legs for leg in some for p in self._with[leg] for other in others
        )

    def _oppose(self, lows: dict[Key, list[Leg]], positions: range) -> None:
        """Add the rows of opposite orders: a pair that two trunks see in opposite orders crosses, unless it shares a position."""
        x = self.x
        twins = self._twins(lows)
        held = {leg for a, _ in twins for leg in lows[a]}
        densest = max((Fraction(sum(leg in held for leg in p.legs), p.ends) for p in x.patterns), default=Fraction(0))
        shared: dict[tuple[tuple[Key, Key], int], Terms] = {}
        for one, other in combinations(twins, 2):
            (a, b), (c, d) = one, other
            if b[0] != d[0]:
                c, d = d, c
            if a[0] != c[0] or b[0] != d[0] or (a < c) == (b < d):
                continue
            here, there = self.crossing[min(a, c), max(a, c)], self.crossing[min(b, d), max(b, d)]
            same: Terms = []
            for position in positions:
                number = x.number(f"{a} {c} share {position}")
                same.append((-1, number))
                for twin in (one, other):
                    x.row(
                        f"{a} {c} share {position} {twin}",
                        [(1, number), *self._at_position(lows[twin[0]], position, -1)],
                        0,
                    )
                    shared.setdefault((twin, position), []).append((1, number))
            torn = [(-1, x.torn[key]) for key in (a, b, c, d)]
            x.row(f"{a} {c} opposed", [(-1, here), (-1, there), *same, *torn], -1)
            if self._fill_more_than_a_tray(lows[a], lows[c]):
                share = [(-factor, number) for factor, number in same]
                for stack in x.stacks:
                    both = [(1, x.first[key, stack.id]) for key in (a, c)]
                    x.row(f"{a} {c} share no tray of {stack.id}", [*share, *both], 2)
        for (twin, position), terms in shared.items():
            trays = [x.fill(place) for place in x.places if place.position == position]
            most = sum(int(fill * densest) for fill in trays)
            x.row(f"{twin} shares {position}", [*terms, *self._at_position(lows[twin[0]], position, 1 - most)], 0)
