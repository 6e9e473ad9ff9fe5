"""Rows of ``guide_fill``: the tubes of all trunks fill no more than a part of each guide."""

from __future__ import annotations

from math import floor, gcd, pi

from trayopt.certificate.patterns import Key
from trayopt.certificate.places import Placed
from trayopt.domain.assignment import Way
from trayopt.domain.cablework import Subunit
from trayopt.domain.through import Through
from trayopt.domain.trunk import Trunk
from trayopt.track.window import loops_between, passages

AREA_UNITS = 10**6
"""Units of diameter² in a mm²: diameters enter as whole numbers, rounded down, and openings rounded up."""


def fill_guides(x: Placed) -> None:
    """Add the rows of each guide that tubes can fill too much.

    A placed subunit has a share in the way of its trunk. A way passes a guide by its loops, and once more if the guide lies on
    the direct way to every end of a stack. If it lies only on some of these ways, the legs that go there count, at trunks
    whose legs all travel in tubes of the set. A preference is also said of each trunk alone, with the least of all others.
    """
    rule = x.job.rules["guide_fill"]
    if rule.level == "off":
        return
    passing = [_Passing(x, t) for t in (*x.trunks, *x.guests)]
    worst = sum(item.most for item in passing)
    for guide in x.job.enclosure.track.guides:
        uncut = [term for item in x.job.through for term in _uncut(x, item, guide.id)]
        most = floor(float(rule.parameters["fill"]) * guide.opening_mm2 * 4 / pi * AREA_UNITS) + 1
        greatest = worst + sum(area for area, _ in uncut)
        if greatest <= most:
            continue
        parts = [item.through(guide.id) for item in passing]
        unit = gcd(*(area for part in (uncut, *parts) for area, _ in part)) or 1
        terms = [(area // unit, n) for part in (uncut, *parts) for area, n in part]
        if x.hard("guide_fill"):
            x.row(f"fill of {guide.id}", terms, most // unit)
            continue
        x.let("guide_fill", guide.id, terms, most // unit, by=-(-greatest // unit) - most // unit)
        for item, part in zip(passing, parts, strict=True):
            left = (most - sum(other.least for other in passing if other is not item)) // unit
            alone = -(-item.most // unit) - left
            if alone > 0:
                x.let("guide_fill", guide.id, [(area // unit, n) for area, n in part], left, by=alone)


class _Passing:
    """What travels for a trunk: its placed subunits by division and way, and what is coiled."""

    def __init__(self, x: Placed, trunk: Trunk) -> None:
        self.x, self.trunk = x, trunk
        self.ways = {way: n for (t, way), n in x.way.items() if t == trunk.id}
        self.coiled = {s.number: _area(s.diameter_mm) if trunk.idle == "coiled" else 0 for s in trunk.subunits}
        self.placed: dict[tuple[Key, int], tuple[int, int]] = {}
        """The least area on each loop, and on the direct way, of a subunit at a division."""
        self.leg: int | None = None
        """The least area of a leg, if all legs travel in tubes of the set."""
        self.legs: dict[tuple[Key, int], int] = {}
        """The most placed legs of a subunit at a division: those with a splice, and all of a tube that may be opened."""
        legs: list[int] = []
        for s in x.spliced:
            for k in x.divisions[s.trunk, s.number] if s.trunk == trunk.id else ():
                opened = k in x.parked.get((s.trunk, s.number), ())
                self.legs[(s.trunk, s.number), k] = k if opened else len(x.job.spliced_legs(s, k))
                self.placed[(s.trunk, s.number), k] = self._of(s, k, legs)
        if legs and 0 not in legs:
            self.leg = min(legs)
        self._shares: dict[tuple[Key, int, Way], int] = {}
        goes = {way for (t, _, way, _) in x.to if t == trunk.id}
        usable = [way.loops for way in self.ways if way in goes or not x.whole or trunk in x.guests]
        self.most = (max(usable, default=0) + 1) * sum(map(self._worst, trunk.subunits))
        self.least = min(usable, default=0) * self._least() if x.whole else 0

    def _of(self, s: Subunit, k: int, legs: list[int]) -> tuple[int, int]:
        """Return the least area of a subunit at a division, and note the area of a leg, or 0 if the own tube may travel."""
        loops, direct = [], []
        for at in self.trunk.divide_at:
            goes = self.x.routes.traveller(self.trunk, s, k, at)
            if goes is None:
                continue
            area = _area(goes.diameter_mm)
            placed = 1 if goes.own or not self.x.whole else len(self.x.job.spliced_legs(s, k))
            all_legs = 1 if goes.own else k if self.trunk.idle == "coiled" else placed
            loops.append(area * all_legs)
            direct.append(area * placed)
            legs.append(0 if goes.own else area)
        return min(loops, default=0), min(direct, default=0)

    def _least(self) -> int:
        """Return the least area of the trunk on a loop, if it places all its splices."""
        found = 0
        for s in self.trunk.subunits:
            ks = self.x.divisions.get((s.trunk, s.number), ())
            found += min((self.placed[(s.trunk, s.number), k][0] for k in ks), default=self.coiled[s.number])
        return found

    def _worst(self, s: Subunit) -> int:
        """Return the greatest area of a subunit on a loop, rounded up."""
        found = [_area(s.diameter_mm)]
        for k in self.x.divisions.get((s.trunk, s.number), ()):
            for at in self.trunk.divide_at:
                goes = self.x.routes.traveller(self.trunk, s, k, at)
                found.append(0 if goes is None else (_area(goes.diameter_mm) + 1) * (1 if goes.own else k))
        return max(found) + 1

    def _share(self) -> None:
        """Add the numbers of a subunit's division and way, both at once."""
        x = self.x
        for key, k in self.placed:
            for way in self.ways:
                name = f"{key[0]}/{key[1]} in {k} by {way.port} {way.travel} {way.loops}"
                self._shares[key, k, way] = x.number(name, x.bounds[x.of[key, k]][1])
            shares = [(1, self._shares[key, k, way]) for way in self.ways]
            x.row(f"{key[0]}/{key[1]} in {k} goes", [*shares, (-1, x.of[key, k])], 0, equal=True)
        for key in dict.fromkeys(key for key, _ in self.placed):
            for way, n in self.ways.items():
                shares = [(1, m) for (of, _, by), m in self._shares.items() if of == key and by == way]
                x.row(f"{key[0]}/{key[1]} goes by {way.port} {way.travel} {way.loops}", [*shares, (-1, n)], 0)
        for way in self.ways:
            legs = [(1, n) for (t, _, by, _), n in x.to.items() if t == self.trunk.id and by == way]
            shares = [(-self.legs[key, k], n) for (key, k, by), n in self._shares.items() if by == way]
            x.row(f"{self.trunk.id} shares {way.port} {way.travel} {way.loops}", [*legs, *shares], 0)

    def through(self, guide: str) -> list[tuple[int, int]]:
        """Return terms for the area of the trunk in a guide."""
        if not self._shares:
            self._share()
        x, terms = self.x, []
        ends = [(stack.id, end.id) for stack in x.stacks for end in stack.ends]
        direct = {way: [guide in x.routes.direct(way, *end) for end in ends] for way in self.ways}
        coiled = sum(self.coiled.values())
        for way, n in self.ways.items():
            terms.append((way.loops * coiled, n))
        for (key, k, way), n in self._shares.items():
            loops, once = self.placed[key, k]
            terms.append((way.loops * (loops - self.coiled[key[1]]) + all(direct[way]) * once, n))
        for (t, place, way, end), n in x.to.items() if self.leg else ():
            if t == self.trunk.id and not all(direct[way]) and guide in x.routes.direct(way, place.stack, end):
                terms.append((self.leg or 0, n))
        return [term for term in terms if term[0]]


def _uncut(x: Placed, item: Through, guide: str) -> list[tuple[int, int]]:
    """Return terms for the area of uncut tubes in a guide: on their direct way, and in the loops of every plan.

    The tubes go from the port of the first end to any port by which the other end may leave.
    """
    area = sum(_area(unit.diameter_mm) for unit in x.job.trunk_by_id[item.ends[0]].passing)
    if not area:
        return []
    loops = loops_between(x.job, item, x.lengths)[0]
    direct: dict[Way, bool] = {}
    for way, _, passage in passages(x.job, item, x.lengths):
        direct[way] = direct.get(way, True) and guide in passage.direct
    return [
        (area * (loops + direct[way._replace(loops=0)]), n)
        for (trunk, way), n in x.way.items()
        if trunk == item.ends[0]
    ]


def _area(diameter_mm: float) -> int:
    """Return the square of a diameter in whole units, rounded down if it has parts of a unit."""
    area = diameter_mm**2 * AREA_UNITS
    return round(area) if abs(area - round(area)) < 1e-3 else floor(area)
