"""Finds lemmas by which no whole numbers meet some rows: a search that learns a clause from every conflict.

Bounds of numbers are tightened by the rows until one cannot hold. The bounds that led there make a clause, which says that
one of them is otherwise; the search goes back to where the clause tightens a bound, and goes on. Where a clause fails without
any decision, the clauses in their order are the proof: the verifier sees each by tightening bounds.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from heapq import heapify, heappop, heappush
from itertools import count

from trayopt.certificate.check import Leaf, Lemma, System, Tree
from trayopt.solver.implied import Bound, Implied
from trayopt.solver.model.clock import Clock

RESTART = 64
"""Conflicts to the first restart; the later ones follow the sequence of Luby."""
FADE = 0.95
"""What is left of the weight of a number after each conflict that it has no part in."""
MOST_WEIGHT = 1e100
LAID = 20
"""Numbers of this rank and above say where something lies or goes; they are first tried at 1, which settles most others."""
LONG = 2
"""A clause with more bounds than this for a decision is told by one bound of each decision."""
MOST_LEMMAS = 10_000
"""A certificate holds no more nodes than this."""


def learnt(system: System, clock: Clock, left_out: frozenset[str] = frozenset()) -> Tree | None:
    """Find lemmas that end in what cannot hold, with the leaf that says so; None where none were found.

    Rows that are left out are not used.
    """
    return Learner(system, left_out).proof(clock)


class Learner(Implied):
    """A search over the rows, and what is learnt."""

    def __init__(self, system: System, left_out: frozenset[str] = frozenset()) -> None:
        super().__init__(system, left_out)
        self.names = {index: name for name, index in system.names.items()}
        self.used: list[list[int]] = []
        """The clauses that each clause was made from."""
        self.starts: list[int] = []
        """The places in the trail of decisions."""
        self.weight = [1.0 + rank for rank in system.ranks]
        self.bump = 1.0
        self.wish = [
            int(most == least + 1 and rank >= LAID)
            for (least, most), rank in zip(system.bounds, system.ranks, strict=True)
        ]
        self.kept: set[int] = set()
        """The clauses that bounds without a decision rest on."""
        self.conflicts = 0
        self.free = [(-weight, n) for n, weight in enumerate(self.weight)]
        heapify(self.free)

    def _learn(self, failed: int) -> tuple[list[Bound], list[int]]:
        """Go back from a conflict to one bound of each decision, by which it came; return the clause and what it uses.

        Of the last decision that is the last bound through which all of its part in the conflict goes. Of earlier decisions
        all bounds may stay, if they are few; a long clause says the same by one bound of each.
        """
        trail, weight, root, starts = self.trail, self.weight, self.root, self.starts
        needed: dict[int, int] = {}
        place: dict[int, int] = {}
        uses: list[int] = [failed] if failed >= 0 else []
        open_: list[tuple[int, int]] = []
        level = len(starts) - 1
        start = starts[-1]
        kept: dict[int, int] = {}  # the bounds of the clause; the first is of the last decision
        some = self.because(failed, None, 0, len(trail))
        while True:
            for side, value in some:
                if max(needed.get(side, root[side]), kept.get(side, root[side])) >= value:
                    continue
                at = self.last[side]
                while trail[at].before >= value:
                    at = trail[at].last
                needed[side] = value
                place[side] = at
                heappush(open_, (-at, side))
                if not kept:
                    weight[side >> 1] += self.bump
                    heappush(self.free, (-weight[side >> 1], side >> 1))
            while open_ and place.get(open_[0][1]) != -open_[0][0]:
                heappop(open_)
            if not open_:
                break
            side = heappop(open_)[1]
            at, value = place.pop(side), needed.pop(side)
            if at < start:
                level = bisect_right(starts, at, 0, level) - 1
                start = starts[level]
            while open_ and place.get(open_[0][1]) != -open_[0][0]:
                heappop(open_)
            if not open_ or -open_[0][0] < start:  # the only one left of its decision
                kept[side] = value
                some = []
                if len(kept) == 1 and len(place) <= LONG * level:
                    break
                continue
            reason = trail[at].reason
            assert reason is not None
            if reason >= 0:
                uses.append(reason)
            some = self.because(reason, side, value, at)
        if place:
            self._drop_implied(needed, place, uses, kept)
            kept |= {side: needed[side] for side in sorted(needed, key=place.__getitem__, reverse=True)}
        self._fade()
        return [(side ^ 1, 1 - value) for side, value in kept.items()], uses

    def _fade(self) -> None:
        """Let the weights of all numbers fade, by letting those to come count more."""
        if self.bump > MOST_WEIGHT:
            self.weight[:] = [old / MOST_WEIGHT for old in self.weight]
            self.bump /= MOST_WEIGHT
            self.free = [(-old, n) for n, old in enumerate(self.weight)]
            heapify(self.free)
        self.bump /= FADE

    def _drop_implied(
        self, needed: dict[int, int], place: dict[int, int], uses: list[int], kept: Mapping[int, int]
    ) -> None:
        """Drop needed bounds that follow in one step from the others and those that are kept."""
        root = self.root
        for side in sorted(needed, key=place.__getitem__, reverse=True):
            reason = self.trail[place[side]].reason
            if reason is None:
                continue
            some = self.because(reason, side, needed[side], place[side])
            if all(
                root[there] >= value
                or kept.get(there, value - 1) >= value
                or (there != side and needed.get(there, value - 1) >= value)
                for there, value in some
            ):
                del needed[side], place[side]
                if reason >= 0:
                    uses.append(reason)

    def _back(self, level: int) -> None:
        start = self.starts[level]
        while len(self.trail) > start:
            n = self.lower().side >> 1
            heappush(self.free, (-self.weight[n], n))
        del self.starts[level:]
        self.done = len(self.trail)

    def _add(self, clause: list[Bound], uses: list[int]) -> None:
        """Take a clause in, and raise its first bound."""
        index = len(self.clauses)
        self.clauses.append(clause)
        self.used.append(uses)
        for side, _ in clause[:2]:
            self.watching[side ^ 1].append(index)
        self.lift(*clause[0], index)

    def _level(self, bound: Bound) -> int:
        """Return the number of decisions after which a clause's bound fails."""
        at = self.last[bound[0] ^ 1]
        while self.trail[at].before >= 1 - bound[1]:
            at = self.trail[at].last
        return bisect_right(self.starts, at)

    def _decide(self) -> bool:
        """Decide the number of the greatest weight; return False if all are settled."""
        values = self.values
        while self.free:
            weight, n = heappop(self.free)
            low, high = values[2 * n], -values[2 * n + 1]
            if low == high or -weight != self.weight[n]:
                continue
            self.starts.append(len(self.trail))
            if self.wish[n]:
                self.lift(2 * n, (low + high) // 2 + 1, None)
            else:
                self.lift(2 * n + 1, -((low + high) // 2), None)
            return True
        return False

    def proof(self, clock: Clock) -> Tree | None:
        """Search, or go on, until lemmas end in what cannot hold; None where time ends before, or all rows can hold."""
        lemmas = self.run(clock)
        return None if lemmas is None or len(lemmas) >= MOST_LEMMAS else [*lemmas, Leaf({})]

    def run(self, clock: Clock) -> list[Lemma] | None:
        """Search until nothing is left; None where numbers meet all rows, or the time is over."""
        restarts = _luby()
        left = RESTART * next(restarts)
        while True:
            failed = self.propagate()
            if failed is None:
                if not self.starts:
                    self._settle()
                if left <= 0 and self.starts:
                    self._back(0)
                    left = RESTART * next(restarts)
                    continue
                if clock.over or not self._decide():
                    return None
                continue
            self.conflicts += 1
            left -= 1
            if not self.starts:
                self._settle()
                return self._proof([failed] if failed >= 0 else [])
            clause, uses = self._learn(failed)
            level = max(map(self._level, clause[1:]), default=0)
            self._back(level)
            self._add(clause, uses)

    def _settle(self) -> None:
        """Note the bounds that hold without a decision."""
        self.kept.update(step.reason for step in self.trail if step.reason is not None and step.reason >= 0)
        self.trail.clear()
        self.done = 0
        self.last = [-1] * len(self.values)
        self.root = list(self.values)

    def _proof(self, last: Iterable[int]) -> list[Lemma]:
        """Return the clauses that the last conflict rests on, in their order."""
        needed = set(last) | self.kept
        for index in range(len(self.clauses) - 1, -1, -1):
            if index in needed:
                needed.update(self.used[index])
        return [self._lemma(self.clauses[index]) for index in sorted(needed)]

    def _lemma(self, clause: Sequence[Bound]) -> Lemma:
        return Lemma([(self.names[side >> 1], *((-1, -value) if side & 1 else (1, value))) for side, value in clause])


def _luby() -> Iterator[int]:
    for i in count(1):
        k = i
        while (k + 1) & k:
            k -= (1 << (k.bit_length() - 1)) - 1
        yield (k + 1) >> 1
