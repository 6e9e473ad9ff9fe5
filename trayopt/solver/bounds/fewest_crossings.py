"""A lower bound on the crossings of strands that turn off one after the other, if few strands can share a low.

Trunks see strands in their own orders. A strand that comes before another one in a trunk and turns off further out crosses it
there; strands with the same low do not cross, and only so many have one low. An order of all strands therefore says who is side
by side at the first low, at the second, and so on. The search goes through the lows from position 1 outward, depth first. A set
of strands that cannot be ordered at so small a cost is remembered; where no order comes to a cost, the next one is tried.

Strands that hang together by no dispute are looked at apart: together they cost no less.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from math import comb
from typing import NamedTuple

Seen = Mapping[tuple[int, int], int]
"""For two strands how many trunks see the first before the second."""
STEPS = 30_000
"""Most groups that are tried for strands that hang together; then what is proven so far is the answer."""


class _Spent(Exception):  # noqa: N818 - no fault: the bound that is proven so far is the answer
    """No more steps are left."""


class _Level(NamedTuple):
    """Strands side by side: as bits, and what the search can still spend after them."""

    spare: int
    strands: int


def fewest_crossings(seen: Seen, together: int) -> int:
    """Bound the crossings between strands from below, if at most this many strands share a low."""
    return _fewest(tuple(sorted((pair, times) for pair, times in seen.items() if times)), max(1, together))


@lru_cache(maxsize=64)
def _fewest(seen: tuple[tuple[tuple[int, int], int], ...], together: int) -> int:
    known = dict(seen)
    return sum(_Order(strands, known, together).least() for strands in _disputing(known))


def _disputing(seen: Seen) -> Iterator[list[int]]:
    """Yield the strands that hang together by disputes."""
    beside: dict[int, set[int]] = {}
    for i, j in seen:
        if (j, i) in seen:
            beside.setdefault(i, set()).add(j)
    left = set(beside)
    while left:
        todo, found = [min(left)], set()
        while todo:
            i = todo.pop()
            if i not in found:
                found.add(i)
                todo.extend(beside[i])
        left -= found
        yield sorted(found)


class _Order:
    """The search for an order of strands that hang together; a set of strands is a number with a bit for each.

    They are numbered so that a strand that most trunks see before another one has the lower number, where that can be.
    """

    def __init__(self, strands: Sequence[int], seen: Seen, together: int) -> None:
        self.together = together
        before = {i: sum(seen.get((j, i), 0) > seen.get((i, j), 0) for j in strands) for i in strands}
        order = sorted(strands, key=lambda i: before[i])
        self.all = range(len(order))
        pays = [[seen.get((j, i), 0) for j in order] for i in order]
        """What the pair of strands pays where the first turns off before the second."""
        self.dispute = [[min(pays[i][j], pays[j][i]) for j in self.all] for i in self.all]
        """What the pair pays in either order."""
        self.more = [[pays[i][j] - self.dispute[i][j] for j in self.all] for i in self.all]
        self.most = max(map(max, self.dispute))
        self.disputed = [sum(1 << j for j in self.all if self.dispute[i][j]) for i in self.all]
        self.failed: dict[int, int] = {}
        """Sets of strands that cannot be ordered, and the cost that they were allowed."""
        self.steps = 0

    def least(self) -> int:
        """Return the least cost of all orders, or what is proven of it."""
        whole, spare = (1 << len(self.all)) - 1, 0
        try:
            while not self._possible(whole, spare):
                spare += 1
        except _Spent:
            pass
        return sum(map(sum, self.dispute)) // 2 - self._saved(whole) + spare

    def _saved(self, left: int) -> int:
        """Bound what strands save by being side by side."""
        groups, rest = divmod(left.bit_count(), self.together)
        pairs = groups * comb(self.together, 2) + comb(rest, 2)
        ends = sum(min(self.together - 1, (self.disputed[i] & left).bit_count()) for i in self._members(left))
        return self.most * min(pairs, ends // 2)

    def _members(self, left: int) -> list[int]:
        return [i for i in self.all if left >> i & 1]

    def _possible(self, left: int, spare: int) -> bool:
        """Whether the strands that are left can be ordered at the cost that the bound says, and so much more."""
        if not left:
            return True
        if self.failed.get(left, -1) >= spare:
            return False
        if any(self._possible(left & ~level.strands, level.spare) for level in self._levels(left, spare)):
            return True
        self.failed[left] = spare
        return False

    def _levels(self, left: int, spare: int) -> list[_Level]:
        """List who may turn off next, the best first."""
        saved, members = self._saved(left), self._members(left)
        found: list[_Level] = []

        def extend(start: int, chosen: int, cost: int, won: int) -> None:
            for number, i in enumerate(members[start:], start):
                self.steps += 1
                if self.steps > STEPS:
                    raise _Spent
                paid = cost + sum(self.more[i][j] for j in members[:number] if not chosen >> j & 1)
                if paid > spare:
                    continue
                together = chosen | 1 << i
                gain = won + sum(self.dispute[i][j] for j in members[:number] if chosen >> j & 1)
                rest = spare - self._against(together, left) - (saved - gain - self._saved(left & ~together))
                if rest >= 0:
                    found.append(_Level(rest, together))
                if together.bit_count() < self.together:
                    extend(number + 1, together, paid, gain)

        extend(0, 0, 0, 0)
        return sorted(found, reverse=True)

    def _against(self, chosen: int, left: int) -> int:
        """Count what strands pay that turn off before those that are left, beside disputes."""
        after = self._members(left & ~chosen)
        return sum(self.more[i][j] for i in self._members(chosen) for j in after)
