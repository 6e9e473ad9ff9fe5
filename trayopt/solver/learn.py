"""Finds lemmas by which no whole numbers meet some rows: a search that learns a clause from every conflict.

Bounds of numbers are tightened by the rows until one cannot hold. The bounds that led there make a clause, which says that
one of them is otherwise; the search goes back to where the clause tightens a bound, and goes on. Where a clause fails without
any decision, the clauses in their order are the proof: the verifier sees each by tightening bounds.

A bound has a number and a side, as one index: ``2 n`` for "at least" of number ``n``, ``2 n + 1`` for "at most". On both sides
bounds rise, as the upper side counts the negative of its number; so a line is a sum of bounds with factors above 0.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from heapq import heapify, heappop, heappush
from itertools import count
from operator import itemgetter
from typing import NamedTuple

from trayopt.certificate.check import Leaf, Lemma, System, Tree
from trayopt.solver.model.clock import Clock

RESTART = 64
"""Conflicts to the first restart; the later ones follow the sequence of Luby."""
FADE = 0.95
"""What is left of the weight of a number after each conflict that it has no part in."""
MOST_WEIGHT = 1e100
MOST_LEMMAS = 10_000
"""A certificate holds no more nodes than this."""

Bound = tuple[int, int]
"""A side of a number, and the least value of the bound there."""


class _Step(NamedTuple):
    """A bound that rose: its side, its value before, the place in the trail where it rose before, and why.

    The reason is a line below 0 and counts from -1 down; a clause by its place; None for a decision.
    """

    side: int
    before: int
    last: int
    reason: int | None


def learnt(system: System, clock: Clock, left_out: frozenset[str] = frozenset()) -> Tree | None:
    """Find lemmas that end in what cannot hold, with the leaf that says so; None where none were found.

    Rows that are left out are not used.
    """
    lemmas = Learner(system, left_out).run(clock)
    return None if lemmas is None or len(lemmas) >= MOST_LEMMAS else [*lemmas, Leaf({})]


class Learner:
    """The rows as lines, and what is learnt."""

    def __init__(self, system: System, left_out: frozenset[str] = frozenset()) -> None:
        self.names = {index: name for name, index in system.names.items()}
        self.values: list[int] = []
        for least, most in system.bounds:
            self.values += [least, -most]
        self.lines: list[tuple[list[tuple[int, int, int]], int]] = []
        self.spare: list[int] = []
        self.widest: list[int] = []
        self.lines_of: list[list[tuple[int, int]]] = [[] for _ in self.values]
        for name, row in system.rows.items():
            if name not in left_out:
                for sign in (1, -1) if row.equal else (1,):
                    self._line([(sign * factor, n) for n, factor in row.terms.items() if factor], sign * row.most)
        self.clauses: list[list[Bound]] = []
        self.used: list[list[int]] = []
        """The clauses that each clause was made from."""
        self.watching: list[list[int]] = [[] for _ in self.values]
        """The clauses that look at a side: one of the two bounds that they watch may fail by it."""
        self.trail: list[_Step] = []
        self.last = [-1] * len(self.values)
        self.starts: list[int] = []
        """The places in the trail of decisions."""
        self.weight = [1.0 + rank / 1_000 for rank in system.ranks]
        self.bump = 1.0
        self.queue: list[int] = []
        self.waiting = [False] * len(self.lines)
        self.done = 0
        self.wish = [0] * len(system.bounds)
        self.kept: set[int] = set()
        """The clauses that bounds without a decision rest on."""
        self.conflicts = 0
        self.free = [(-weight, n) for n, weight in enumerate(self.weight)]
        heapify(self.free)

    def _line(self, terms: list[tuple[int, int]], most: int) -> None:
        values = self.values
        line = []
        for factor, n in terms:
            side = 2 * n + (factor < 0)
            line.append((abs(factor), side, -abs(factor) * (values[side] + values[side ^ 1])))
        line.sort(key=itemgetter(2), reverse=True)
        index = len(self.lines)
        for factor, side, _ in line:
            self.lines_of[side].append((index, factor))
        self.lines.append((line, most))
        self.spare.append(most - sum(factor * values[side] for factor, side, _ in line))
        self.widest.append(line[0][2] if line else 0)

    # -- bounds ----------------------------------------------------------------------------------------------------------

    def _raise(self, side: int, value: int, reason: int | None) -> None:
        """Raise a bound, and note which lines it leaves less."""
        values, spare, waiting, widest = self.values, self.spare, self.waiting, self.widest
        before = values[side]
        by = value - before
        values[side] = value
        self.trail.append(_Step(side, before, self.last[side], reason))
        self.last[side] = len(self.trail) - 1
        for line, factor in self.lines_of[side]:
            left = spare[line] = spare[line] - factor * by
            if left < widest[line] and not waiting[line]:
                waiting[line] = True
                self.queue.append(line)

    def _lower(self) -> _Step:
        """Take the last step of the trail back."""
        step = self.trail.pop()
        side = step.side
        by = self.values[side] - step.before
        self.values[side] = step.before
        self.last[side] = step.last
        n = side >> 1
        self.wish[n] = 1 - (side & 1)
        heappush(self.free, (-self.weight[n], n))
        spare = self.spare
        for line, factor in self.lines_of[side]:
            spare[line] += factor * by
        return step

    def _propagate(self) -> int | None:
        """Raise bounds by lines and clauses; return the line or clause that cannot hold, as a reason, or None."""
        values, spare, waiting, trail = self.values, self.spare, self.waiting, self.trail
        while True:
            while self.done < len(trail):
                failed = self._clauses(trail[self.done].side)
                self.done += 1
                if failed is not None:
                    return self._stop(failed)
            if not self.queue:
                return None
            line = self.queue.pop()
            waiting[line] = False
            left = spare[line]
            if left < 0:
                return self._stop(-1 - line)
            for factor, side, span in self.lines[line][0]:
                if span <= left:
                    break
                other = side ^ 1
                wide = -values[side] - values[other]
                if factor * wide > left:
                    self._raise(other, -values[side] - left // factor, -1 - line)

    def _stop(self, failed: int) -> int:
        for line in self.queue:
            self.waiting[line] = False
        self.queue.clear()
        self.done = len(self.trail)
        return failed

    def _clauses(self, side: int) -> int | None:
        """Look at the clauses that a raised bound may make fail; return one that fails."""
        values = self.values
        value = values[side]
        watching = self.watching[side]
        kept = 0
        for at, index in enumerate(watching):
            clause = self.clauses[index]
            if len(clause) > 1 and clause[1][0] != side ^ 1:
                if clause[0][0] != side ^ 1:
                    continue  # it looks elsewhere by now
                clause[0], clause[1] = clause[1], clause[0]
            place = 1 if len(clause) > 1 else 0
            watched = clause[place]
            if 1 - watched[1] > value or (place and values[clause[0][0]] >= clause[0][1]):
                watching[kept] = index
                kept += 1
                continue
            for i in range(2, len(clause)):
                there, least = clause[i]
                if values[there ^ 1] < 1 - least:  # it does not fail
                    clause[1], clause[i] = clause[i], clause[1]
                    self.watching[there ^ 1].append(index)
                    break
            else:
                watching[kept] = index
                kept += 1
                first, least = clause[0]
                if values[first ^ 1] >= 1 - least:
                    kept_on = watching[at + 1 :]
                    watching[kept:] = kept_on
                    return index
                if values[first] < least:
                    self._raise(first, least, index)
        del watching[kept:]
        return None

    # -- what a conflict teaches -----------------------------------------------------------------------------------------

    def _because(self, reason: int, side: int | None, least: int, at: int) -> list[Bound]:
        """Return bounds, as they were at a place of the trail, that make a line or clause raise a bound to ``least``.

        Where no side is named, they make it fail. What the line has to spare is used to need fewer and lower bounds.
        """
        if reason >= 0:
            return [(there ^ 1, 1 - value) for there, value in self.clauses[reason] if there != side]
        values, last, trail, root = self.values, self.last, self.trail, self.root
        terms, most = self.lines[-1 - reason]
        over = -most - 1
        found = []
        for factor, there, _ in terms:
            if side is not None and there == side ^ 1:
                over += factor * (1 - least)
                continue
            value = values[there]
            i = last[there]
            while i >= at:
                value = trail[i].before
                i = trail[i].last
            over += factor * value
            if value > root[there]:
                found.append((factor * (value - root[there]), factor, there, value))
        found.sort(key=itemgetter(0))
        needed = []
        for gain, factor, there, value in found:
            if gain <= over:
                over -= gain
                continue
            needed.append((there, value - over // factor))
            over -= over // factor * factor
        return needed

    def _learn(self, failed: int) -> tuple[list[Bound], list[int]]:
        """Go back through the trail to one bound of the last decision, by which the conflict came; return clause and uses."""
        start = self.starts[-1]
        trail, weight = self.trail, self.weight
        needed: dict[int, int] = {}
        place: dict[int, int] = {}
        here = 0
        uses: list[int] = []
        some = self._because(failed, None, 0, len(trail))
        if failed >= 0:
            uses.append(failed)
        while True:
            for side, value in some:
                if needed.get(side, value - 1) >= value or self.root[side] >= value:
                    continue
                at = self.last[side]
                while trail[at].before >= value:
                    at = trail[at].last
                old = place.get(side, -1)
                needed[side] = value
                place[side] = at
                if at >= start > old:
                    here += 1
                weight[side >> 1] += self.bump
                heappush(self.free, (-weight[side >> 1], side >> 1))
            while place.get(trail[-1].side) != len(trail) - 1:
                self._lower()
            side = trail[-1].side
            value = needed[side]
            if here == 1:
                break
            reason = trail[-1].reason
            assert reason is not None
            self._lower()
            here -= 1
            del needed[side], place[side]
            if reason >= 0:
                uses.append(reason)
            some = self._because(reason, side, value, len(trail))
        if self.bump > MOST_WEIGHT:
            self.weight[:] = [old / MOST_WEIGHT for old in weight]
            self.bump /= MOST_WEIGHT
            self.free = [(-old, n) for n, old in enumerate(self.weight)]
            heapify(self.free)
        self.bump /= FADE
        self._drop_implied(needed, place, uses, side)
        first = (side ^ 1, 1 - value)
        rest = sorted((s for s in needed if s != side), key=lambda s: -place[s])
        return [first, *((s ^ 1, 1 - needed[s]) for s in rest)], uses

    def _drop_implied(self, needed: dict[int, int], place: dict[int, int], uses: list[int], uip: int) -> None:
        """Drop bounds that follow from the others in one step."""
        for side in sorted((s for s in needed if s != uip), key=lambda s: -place[s]):
            at = place[side]
            reason = self.trail[at].reason
            if reason is None:
                continue
            some = self._because(reason, side, needed[side], at)
            if all(
                self.root[there] >= value or (there != side and needed.get(there, value - 1) >= value)
                for there, value in some
            ):
                del needed[side], place[side]
                if reason >= 0:
                    uses.append(reason)

    def _back(self, level: int) -> None:
        start = self.starts[level]
        while len(self.trail) > start:
            self._lower()
        del self.starts[level:]
        self.done = len(self.trail)

    def _add(self, clause: list[Bound], uses: list[int]) -> None:
        """Take a clause in, and raise its first bound."""
        index = len(self.clauses)
        self.clauses.append(clause)
        self.used.append(uses)
        for side, _ in clause[:2]:
            self.watching[side ^ 1].append(index)
        self._raise(*clause[0], index)

    def _level(self, bound: Bound) -> int:
        """Return the number of decisions after which a clause's bound fails."""
        at = self.last[bound[0] ^ 1]
        while self.trail[at].before >= 1 - bound[1]:
            at = self.trail[at].last
        return sum(start <= at for start in self.starts)

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
                self._raise(2 * n, (low + high) // 2 + 1, None)
            else:
                self._raise(2 * n + 1, -((low + high) // 2), None)
            return True
        return False

    def run(self, clock: Clock) -> list[Lemma] | None:
        """Search until nothing is left; None where numbers meet all rows, or the time is over."""
        self.root = list(self.values)
        self.queue = [i for i, (left, wide) in enumerate(zip(self.spare, self.widest, strict=True)) if left < wide]
        for line in self.queue:
            self.waiting[line] = True
        restarts = _luby()
        left = RESTART * next(restarts)
        while True:
            failed = self._propagate()
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
