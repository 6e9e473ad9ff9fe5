"""Rows over whole numbers that every plan of a job meets, written from the statements of rules and not from their encodings.

Every plan that is as good on given goals has numbers that meet all rows: chosen patterns and their stacks, the number of
patterns of a kind at each place, ways, ends, places of division, and broken rules. So if no numbers bring a goal below a
value, the goal is at least that value. The order of legs on a stack and crossings are left out here, and so are rules
without a row, which only lets in more plans.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import product
from math import floor, prod
from typing import NamedTuple

from trayopt.certificate.choices import Choices
from trayopt.certificate.patterns import Pattern
from trayopt.domain.assignment import Way
from trayopt.domain.base import RibbonWord
from trayopt.domain.cablework import Subunit
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName
from trayopt.domain.trunk import Trunk
from trayopt.track.lengths import CUT_STEP_MM
from trayopt.track.routes import all_ways

MOST_VIEWS = 16
"""Greatest number of combinations of ribbon work that are counted separately; beyond it, only the least sleeves count."""
MOST_SIZES = 12
"""Greatest number of sizes of pieces for which rows are made."""


class Kind(NamedTuple):
    """The load that equal patterns bring to a tray."""

    ends: int
    sleeves: tuple[int, ...]
    legs: tuple[tuple[str, int], ...]
    pairs: tuple[tuple[str, str], ...]

    @property
    def name(self) -> str:
        """The kind as text: ``288 ends, 24 sleeves, N1 1, S1 2, N1+S1``."""
        words = [f"{self.ends} ends", f"{'|'.join(map(str, self.sleeves))} sleeves"]
        return ", ".join([*words, *(f"{t} {n}" for t, n in self.legs), *(f"{a}+{b}" for a, b in self.pairs)])


class Placed(Choices):
    """Rows of choices, ways, ends, places and lengths, for the plans of a job that are as good on given goals."""

    def __init__(self, job: Job, given: Mapping[GoalName, int]) -> None:
        super().__init__(job, given)
        self._go()
        self._lay()
        before = len(self.rows)
        self._measure_lengths()
        self.of_lengths = frozenset([*self.rows][before:])
        """Rows that distribute legs over ways, which hardly any goal but the length needs; a hint for the search for a proof."""

    def _go(self) -> None:
        """Add the rows of ways and ends: each trunk has a way (a trunk that goes through has two or none), each stack an end."""
        self.way: dict[tuple[str, Way], int] = {}
        for t in (*self.trunks, *self.guests):
            for way in all_ways(self.job, t):
                stripped = self.lengths.strip_mm([], way.loops)
                can = not (self.hard("exposed") and t.exposed_mm is not None and stripped > t.exposed_mm)
                self.way[t.id, way] = self.number(f"{t.id} by {_said(way)}", int(can), rank=1000)
            self.row(f"{t.id} goes", self.ways(t.id), 1, equal=self.whole)
            clockwise = self.number(f"{t.id} goes clockwise", rank=1100)
            self.row(f"{t.id} clockwise", [*self.ways(t.id, travel="clockwise"), (-1, clockwise)], 0, equal=True)
        for item in self.job.through:
            both = [self.ways(end) for end in item.ends]
            self.row(f"{item} goes through", [*both[0], *((-f, n) for f, n in both[1])], 0, equal=True)
        if not self.whole:
            for s in self.spliced:
                for k in self.divisions[s.trunk, s.number]:
                    for leg in s.legs(k):
                        self.row(
                            f"{leg} of {k} in the box",
                            [*self.placed(leg), *((-1, n) for _, n in self.ways(s.trunk))],
                            0,
                        )
        self.end = {(s.id, e.id): self.number(f"end {e.id} of {s.id}", rank=800) for s in self.stacks for e in s.ends}
        for stack in self.stacks:
            self.row(f"end of {stack.id}", [(1, self.end[stack.id, e.id]) for e in stack.ends], 1, equal=True)

    def ways(self, trunk: str, **wanted: object) -> list[tuple[int, int]]:
        """Return the terms for the ways of a trunk with the wanted port, travel or loops."""
        return [
            (1, n) for (t, way), n in self.way.items()
            if t == trunk and all(getattr(way, key) == value for key, value in wanted.items())
        ]  # fmt: skip

    def _lay(self) -> None:
        """Add the rows of patterns by kind and place, and of the load of trays."""
        self._work_ribbons()
        sizes = sorted({tray.sleeve_fibres for stack in self.stacks for tray in stack.kinds})
        kinds: dict[Kind, list[Pattern]] = {}
        for p in self.patterns:
            sleeves = tuple(p.sleeves(size, work) for size in sizes for work in self.views)
            kind = Kind(p.ends, sleeves, tuple(sorted(p.by_trunk.items())), tuple(sorted(p.pairs)))
            kinds.setdefault(kind, []).append(p)
        self.kinds = kinds
        self.at: dict[tuple[Kind, Place], int] = {}
        self.used = {place: self.number(f"{place} used", rank=50) for place in self.places}
        for kind, alike in kinds.items():
            for stack in self.stacks:
                here = [(1, self.chosen[p, stack.id]) for p in alike if (p, stack.id) in self.chosen]
                if not here:
                    continue
                for place in self.places:
                    if place.stack == stack.id and self.takes(self.job.enclosure.tray_at(place), alike[0]):
                        self.at[kind, place] = self.number(f"{kind.name} at {place}", self.fill(place) // kind.ends)
                        here.append((-1, self.at[kind, place]))
                self.row(f"{kind.name} on {stack.id}", here, 0, equal=True)
        for place in self.places:
            laid = {kind: self.at[kind, place] for kind in kinds if (kind, place) in self.at}
            tray, used = self.job.enclosure.tray_at(place), self.used[place]
            self.row(f"ends at {place}", [*((k.ends, n) for k, n in laid.items()), (-self.fill(place), used)], 0)
            self.row(f"nothing at {place}", [*((-1, n) for n in laid.values()), (1, used)], 0)
            taken = [("ends", self.fill(place), [k.ends for k in laid])]
            for i in range(len(self.views)) if self.hard("tray_sleeves") else ():
                column = sizes.index(tray.sleeve_fibres) * len(self.views) + i
                over = max((Fraction(k.sleeves[column] * self.fill(place), k.ends) for k in laid), default=0)
                other = [(-max(0, floor(over) - tray.sleeves), n) for n in self.others[i]]
                needed = [(k.sleeves[column], n) for k, n in laid.items()]
                self.row(f"sleeves at {place} {i}", [*needed, *other, (-tray.sleeves, used)], 0)
                if not other:
                    taken.append(("sleeves", tray.sleeves, [k.sleeves[column] for k in laid]))
            for t in self.trunks if self.hard("entrance_legs") else ():
                self.row(f"{t.id} into {place}", [*self.legs_at(t.id, place), (-tray.entrance_legs, used)], 0)
                taken.append((f"{t.id}", tray.entrance_legs, [dict(k.legs).get(t.id, 0) for k in laid]))
            for name, most, pieces in _pieces(taken):
                terms = list(zip(pieces, laid.values(), strict=True))
                self.row(f"{name} at {place}", [*terms, (-most, used)], 0)
            single = [(1, n) for k, n in laid.items() if any(self.job.trunk_by_id[t].in_ribbons for t, _ in k.legs)]
            if self.job.mixed and tray.sleeve_fibres == 1:
                self.let("separated_ribbons", str(place), single, 0, by=sum(self.bounds[n][1] for _, n in single))
            elif self.job.mixed:
                loose = [(1, n) for k, n in laid.items() if any(map(self._are_loose, k.pairs))]
                self.let("ribbonised_fibres", str(place), loose, 0, by=sum(self.bounds[n][1] for _, n in loose))
            under = Place(place.stack, place.position - 1)
            if under in self.used and self.job.enclosure.tray_at(under) == tray:
                self.let("no_empty_below", str(place), [(1, used), (-1, self.used[under])], 0)
            self._keep_pairs(place, laid)
        if self.whole:
            sure = 0
            ends: list[tuple[int, int]] = []
            for s in self.spliced:
                key = (s.trunk, s.number)
                of_each = {k: s.fibres // k * len(self.job.spliced_legs(s, k)) for k in self.divisions[key]}
                least = min(of_each.values(), default=0)  # which narrows bounds sooner than a sum over divisions does
                sure += least
                ends += [(amount - least, self.of[key, k]) for k, amount in of_each.items() if amount > least]
            self.row("ends of all", [*ends, *((-self.fill(place), n) for place, n in self.used.items())], -sure)
        self.goals["trays"] = [(1, n) for n in self.used.values()]

    def _work_ribbons(self) -> None:
        """Add the rows of ribbon work: each trunk has one.

        ``views`` holds the job for each combination of work, after None for the least sleeves of all. ``others`` holds, for each
        view, the numbers of which one is 1 if another work is chosen.
        """
        self.word: dict[tuple[str, RibbonWord], int] = {}
        for t in self.job.ribbons_open:
            for word in t.ribbons:
                self.word[t.id, word] = self.number(f"ribbons of {t.id} {word}", rank=900)
            self.row(f"ribbons of {t.id}", [(1, self.word[t.id, word]) for word in t.ribbons], 1, equal=True)
        self.views: list[Job | None] = [None]
        self.others: list[list[int]] = [[]]
        open_ = self.job.ribbons_open
        if not open_ or prod(len(t.ribbons) for t in open_) > MOST_VIEWS:
            return
        for words in product(*(t.ribbons for t in open_)):
            done = {t.id: word for t, word in zip(open_, words, strict=True)}
            self.views.append(self.job.with_ribbons(done))
            self.others.append([n for (t, word), n in self.word.items() if done[t] != word])

    def legs_at(self, trunk: str, place: Place) -> list[tuple[int, int]]:
        """Return the terms that count the legs of a trunk at a place."""
        found = ((dict(kind.legs).get(trunk, 0), kind) for kind in self.kinds if (kind, place) in self.at)
        return [(n, self.at[kind, place]) for n, kind in found if n]

    def _are_loose(self, pair: tuple[str, str]) -> bool:
        """Whether the fibres of both trunks of a pair come one by one."""
        return not any(self.job.trunk_by_id[trunk].in_ribbons for trunk in pair)

    def _keep_pairs(self, place: Place, here: Mapping[Kind, int]) -> None:
        """Add the rows of rule ``tray_pair``: a tray holds splices of one pair of trunks, unless the rule is broken."""
        pairs = sorted({pair for kind in here for pair in kind.pairs})
        if len(pairs) < 2 or self.job.rules["tray_pair"].level == "off":
            return
        there = []
        for a, b in pairs:
            there.append((1, self.number(f"{a}+{b} at {place}")))
            filled = [(k.ends, n) for k, n in here.items() if (a, b) in k.pairs]
            self.row(f"{a}+{b} fills {place}", [*filled, (-self.fill(place), there[-1][1])], 0)
        self.let("tray_pair", str(place), there, 1, by=len(pairs) - 1)

    def _most_legs(self, trunk: str) -> int:
        """Return the most placed legs of a trunk: by its finest divisions, and by the given number of all legs."""

        def most(s: Subunit) -> int:
            return max(self.divisions[s.trunk, s.number], default=0)

        found = sum(most(s) for s in self.spliced if s.trunk == trunk)
        if self.whole and "legs" in self.given:
            others = (self.fewest(s) for s in self.spliced if s.trunk != trunk)
            found = min(found, self.given["legs"] - sum(others))
        return max(found, 0)

    def _measure_lengths(self) -> None:
        """Add the rows of lengths: the legs of a trunk at each place are distributed over its ways and the ends of the stack."""
        cut: list[tuple[int, int]] = []
        self.to: dict[tuple[str, Place, Way, str], int] = {}
        """Numbers of legs of a trunk that go to a place, by a way and an end."""
        for t in self.trunks:
            most = self._most_legs(t.id)
            by_way: dict[Way, list[tuple[int, int]]] = {way: [] for trunk, way in self.way if trunk == t.id}
            by_end: dict[tuple[str, str], list[tuple[int, int]]] = {}
            for place in self.places:
                legs = self.legs_at(t.id, place)
                here = min(most, sum(n * self.bounds[number][1] for n, number in legs), self._enter(place))
                shared: dict[tuple[Way, str], tuple[int, int]] = {}
                for way in by_way:
                    for end in self.job.enclosure.stack_by_id[place.stack].ends:
                        length = self._length(t, way, place, end.id)
                        if length is None:
                            continue
                        number = self.number(f"{t.id} to {place} by {_said(way)} end {end.id}", here)
                        shared[way, end.id] = (1, number)
                        self.to[t.id, place, way, end.id] = number
                        by_way[way].append((1, number))
                        by_end.setdefault((place.stack, end.id), []).append((1, number))
                        cut.append((length // CUT_STEP_MM, number))
                self.row(f"{t.id} to {place}", [*legs, *((-f, n) for f, n in shared.values())], 0, equal=True)
                for way in by_way:
                    some = [term for (by, _), term in shared.items() if by == way]
                    self.row(f"{t.id} to {place} by {_said(way)}", [*some, (-here, self.way[t.id, way])], 0)
            fewest = sum(self.fewest(s) for s in self.spliced if s.trunk == t.id) if self.whole else 0
            for way, on_way in by_way.items():
                goes = self.way[t.id, way]
                self.row(f"legs of {t.id} by {_said(way)}", [*on_way, (-most, goes)], 0)
                self.row(f"fewest legs of {t.id} by {_said(way)}", [*((-f, n) for f, n in on_way), (fewest, goes)], 0)
            for (stack, end_id), there in by_end.items():
                self.row(f"{t.id} to end {end_id} of {stack}", [*there, (-most, self.end[stack, end_id])], 0)
        self.goals["leg_length_mm"] = cut

    def _enter(self, place: Place) -> int:
        """Return the most legs of one direction that enter a tray."""
        return self.job.enclosure.tray_at(place).entrance_legs if self.hard("entrance_legs") else self.job.splices

    def _length(self, trunk: Trunk, way: Way, place: Place, end: str) -> int | None:
        """Return the length at which a leg is cut, in mm; None if it is too short for the bench or strips too much jacket."""
        free = self.routes.free_mm(way, place, end)
        cut = self.lengths.cut_mm(trunk.transition_mm, self.routes.route_mm(way, place, end), way.loops)
        short = self.hard("reach") and free < self.job.rules["reach"].parameters["bench_mm"]
        bare = self.hard("exposed") and trunk.exposed_mm is not None and cut > trunk.exposed_mm
        return None if short or bare else cut


def _pieces(taken: Iterable[tuple[str, int, Sequence[int]]]) -> Iterator[tuple[str, int, tuple[int, ...]]]:
    """Yield, for sizes of pieces, the number of pieces that a tray holds and that each pattern takes, without repeats.

    The whole pieces of all patterns in a tray are no more than the whole pieces of the tray, for any size of a piece.
    """
    said: set[tuple[tuple[int, ...], int]] = set()
    for name, most, amounts in taken:
        found = 0
        for size in sorted({*amounts, *(most // (n + 1) + 1 for n in range(1, 6))} - {0}):
            pieces = tuple(amount // size for amount in amounts)
            wasted = any(amount % size for amount in amounts) or most % size
            if any(pieces) and wasted and (pieces, most // size) not in said and found < MOST_SIZES:
                found += 1
                said.add((pieces, most // size))
                yield f"{name} by {size}", most // size, pieces


def _said(way: Way) -> str:
    return f"{way.port} {way.travel} {way.loops}"
