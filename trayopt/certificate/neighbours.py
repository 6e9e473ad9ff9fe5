"""Rows of neighbours: two legs that have to lie in the next tray of a stack have to share it, which may be too small."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, pairwise

from trayopt.certificate.patterns import Key, Pattern
from trayopt.certificate.places import Placed
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.hardware import Tray

MOST_PATTERNS = 2_000
"""Greatest number of patterns for which neighbours are looked at."""
MOST_SPARED = 40
"""A row with more patterns that spare a tear than this says too little."""


def keep_near(x: Placed) -> None:
    """Add the rows of patterns whose legs ask for two neighbours that cannot share a tray.

    Unless a subunit is torn, each leg lies level with the leg before it, or in the next tray outward. If two legs of a
    pattern are followed by legs that cannot lie in its tray, both lie in the next one; if these cannot share a tray
    either, one of the two subunits is torn. Patterns of these legs that can share a tray spare it. The same holds for the
    legs before them.
    """
    if not x.whole or len(x.patterns) > MOST_PATTERNS:
        return
    near = _Near(x)
    for pattern in x.patterns:
        for way, steps in (("after", near.after), ("before", near.before)):
            out = [(leg, steps[leg]) for leg in pattern.legs if leg in steps and steps[leg] not in pattern.legs]
            for (g, one), (h, other) in combinations(out, 2):
                spared = near.spared(pattern, one, other)
                if spared is not None:
                    torn = {x.torn[g.trunk, g.subunit], x.torn[h.trunk, h.subunit]}
                    terms = [*near.chosen(pattern, 1), *((-1, n) for n in torn)]
                    terms += [term for some in spared for term in near.chosen(some, -1)]
                    x.row(f"{pattern.name} {way} {g} {h}", terms, 0)


class _Near:
    """The steps from leg to leg that go no further than to the next tray, and the patterns that can lie beside others."""

    def __init__(self, x: Placed) -> None:
        self.x = x
        self.after: dict[Leg, Leg] = {}
        for s in x.spliced:
            self.after |= dict(self._steps(s))
        self.before = {other: one for one, other in self.after.items()}
        self._with: dict[Leg, list[Pattern]] = {}
        for pattern in x.patterns:
            for leg in pattern.legs:
                self._with.setdefault(leg, []).append(pattern)
        self._trays = list(dict.fromkeys(x.job.enclosure.tray_at(place) for place in x.places))
        self._of: dict[Pattern, dict[Key, int]] = {
            pattern: {(leg.trunk, leg.subunit): leg.of for leg in pattern.legs} for pattern in x.patterns
        }

    def _steps(self, s: Subunit) -> Iterator[tuple[Leg, Leg]]:
        """Yield the steps between spliced legs; a tube that may be opened can have other legs between them."""
        key = (s.trunk, s.number)
        for k in self.x.divisions[key]:
            for one, other in pairwise(self.x.job.spliced_legs(s, k)):
                if k not in self.x.parked.get(key, ()) or other.group == one.group + 1:
                    yield one, other

    def chosen(self, pattern: Pattern, factor: int) -> list[tuple[int, int]]:
        """Return the terms of a sum that is ``factor`` if a pattern is chosen, and 0 otherwise."""
        found = (self.x.chosen.get((pattern, stack.id)) for stack in self.x.stacks)
        return [(factor, number) for number in found if number is not None]

    def spared(self, pattern: Pattern, one: Leg, other: Leg) -> list[Pattern] | None:
        """Return patterns of which one is chosen beside a pattern, or two legs cannot lie near it; None if they are many."""
        held = [self._beside(pattern, leg) for leg in (one, other)]
        spared = [some for patterns in held for some in patterns if self.fit(pattern, some)]
        some, more = ([p for p in patterns if not self.fit(pattern, p)] for patterns in held)
        pairs = [(a, b) for a in some for b in more if a is b or self.fit(a, b)]
        ones, others = {a: None for a, _ in pairs}, {b: None for _, b in pairs}
        spared += ones if len(ones) <= len(others) else others
        spared = list(dict.fromkeys(spared))
        return spared if some and more and len(spared) <= MOST_SPARED else None

    def _beside(self, pattern: Pattern, leg: Leg) -> list[Pattern]:
        """Return the patterns with a leg that a plan can choose together with another pattern."""
        of, legs = self._of[pattern], set(pattern.legs)
        return [
            other
            for other in self._with.get(leg, ())
            if legs.isdisjoint(other.legs) and all(of.get(key, k) == k for key, k in self._of[other].items())
        ]

    def fit(self, one: Pattern, other: Pattern) -> bool:
        """Whether some tray holds both patterns."""
        return any(self._fit(one, other, tray) for tray in self._trays)

    def _fit(self, one: Pattern, other: Pattern, tray: Tray) -> bool:
        x, size = self.x, tray.sleeve_fibres
        if x.hard("tray_fibres") and one.ends + other.ends > 2 * tray.fibres:
            return False
        return not x.hard("tray_sleeves") or one.sleeves(size) + other.sleeves(size) <= tray.sleeves
