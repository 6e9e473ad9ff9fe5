"""Bounds that rise by rows and clauses until none rises or one cannot hold, with the reason of each.

A bound has a number and a side, as one index: ``2 n`` for "at least" of number ``n``, ``2 n + 1`` for "at most". On both sides
bounds rise, as the upper side counts the negative of its number; so a line is a sum of bounds with factors above 0.
"""

from __future__ import annotations

from operator import itemgetter
from typing import NamedTuple

from trayopt.certificate.check import System

Bound = tuple[int, int]
"""A side of a number, and the least value of the bound there."""


class Step(NamedTuple):
    """A bound that rose: its side, its value before, the place in the trail where it rose before, and why.

    The reason is a line below 0 and counts from -1 down; a clause by its place; None for a decision.
    """

    side: int
    before: int
    last: int
    reason: int | None


class Implied:
    """Bounds that lines and clauses raise, in a trail that goes back, and why each was raised."""

    def __init__(self, system: System, left_out: frozenset[str] = frozenset()) -> None:
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
        self.watching: list[list[int]] = [[] for _ in self.values]
        """The clauses that look at a side: one of the two bounds that they watch may fail by it."""
        self.trail: list[Step] = []
        self.last = [-1] * len(self.values)
        self.queue = [i for i, (left, wide) in enumerate(zip(self.spare, self.widest, strict=True)) if left < wide]
        self.waiting = [left < wide for left, wide in zip(self.spare, self.widest, strict=True)]
        self.done = 0
        self.root = list(self.values)
        """The bounds that hold without a decision."""

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

    def lift(self, side: int, value: int, reason: int | None) -> None:
        """Raise a bound, and note which lines it leaves less."""
        values, spare, waiting, widest = self.values, self.spare, self.waiting, self.widest
        before = values[side]
        by = value - before
        values[side] = value
        self.trail.append(Step(side, before, self.last[side], reason))
        self.last[side] = len(self.trail) - 1
        for line, factor in self.lines_of[side]:
            left = spare[line] = spare[line] - factor * by
            if left < widest[line] and not waiting[line]:
                waiting[line] = True
                self.queue.append(line)

    def lower(self) -> Step:
        """Take the last step of the trail back."""
        step = self.trail.pop()
        side = step.side
        by = self.values[side] - step.before
        self.values[side] = step.before
        self.last[side] = step.last
        spare = self.spare
        for line, factor in self.lines_of[side]:
            spare[line] += factor * by
        return step

    def propagate(self) -> int | None:
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
                    self.lift(other, -values[side] - left // factor, -1 - line)

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
                    self.lift(first, least, index)
        del watching[kept:]
        return None

    def because(self, reason: int, side: int | None, least: int, at: int) -> list[Bound]:
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
