"""Rows over bounded whole numbers, and the proof that nothing meets them all: dual prices at the leaves of a tree of splits."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from math import lcm

Terms = Iterable[tuple[int, int]]
"""Pairs of a whole factor and the index of a number."""


@dataclass(frozen=True)
class Row:
    """The sum of factor times number is at most ``most``; exactly that, where ``equal``."""

    terms: Mapping[int, int]
    most: int
    equal: bool = False


@dataclass(frozen=True)
class Split:
    """A node of the tree: the number is at most ``most`` in the nodes that follow, and above it in those behind them."""

    number: str
    most: int


@dataclass(frozen=True)
class Leaf:
    """A node of the tree at which rows times prices cannot hold."""

    prices: Mapping[str, Fraction]


Bounds = list[tuple[int, int]]
"""Least and most of each number."""
MOST_VISITS = 20
"""So many times a row is looked at, on the average, while bounds are narrowed."""
Tree = Sequence[Split | Leaf]
"""Nodes in the order of a walk: a split is followed by its lower side, then by its upper side."""


class Wrong(ValueError):  # noqa: N818 - what is wrong is the proof
    """A proof that proves nothing; the text says where it fails."""


@dataclass
class System:
    """Whole numbers with a least and a most, by name, and rows over them."""

    names: dict[str, int] = field(default_factory=dict)
    bounds: Bounds = field(default_factory=list)
    ranks: list[int] = field(default_factory=list)
    """How soon a number is worth a split, as a hint to those who look for a proof."""
    rows: dict[str, Row] = field(default_factory=dict)

    def number(self, name: str, most: int = 1, least: int = 0, *, rank: int = 1) -> int:
        """Add a whole number, and give its index."""
        self.names[name] = len(self.bounds)
        self.bounds.append((least, most))
        self.ranks.append(rank)
        return self.names[name]

    def row(self, name: str, terms: Terms, most: int, *, equal: bool = False) -> None:
        """Add a row; factors of one number are added up."""
        summed: dict[int, int] = {}
        for factor, number in terms:
            summed[number] = summed.get(number, 0) + factor
        self.rows[name] = Row(summed, most, equal)

    @cached_property
    def _rows_of(self) -> list[list[str]]:
        """Give the rows in which each number stands."""
        found: list[list[str]] = [[] for _ in self.bounds]
        for name, row in self.rows.items():
            for number in row.terms:
                found[number].append(name)
        return found

    def tighten(self, bounds: Bounds, changed: Iterable[int] | None = None) -> bool:
        """Narrow the bounds of numbers by what rows leave them, from those that changed on; tells whether any are left.

        A row and the least of all but one of its numbers bound that one, in whole numbers.
        """
        waiting = deque(self.rows if changed is None else (row for number in changed for row in self._rows_of[number]))
        queued = set(waiting)
        for _ in range(MOST_VISITS * len(self.rows)):
            if not waiting:
                break
            name = waiting.popleft()
            queued.discard(name)
            row = self.rows[name]
            for sign in (1, -1) if row.equal else (1,):
                terms = [(sign * factor, number) for number, factor in row.terms.items() if factor]
                spare = sign * row.most - sum(factor * bounds[number][factor < 0] for factor, number in terms)
                if spare < 0:
                    return False
                for factor, number in terms:
                    least, most = bounds[number]
                    if abs(factor) * (most - least) <= spare:
                        continue
                    new = (least, least + spare // factor) if factor > 0 else (most - spare // -factor, most)
                    bounds[number] = new
                    for other in self._rows_of[number]:
                        if other not in queued:
                            queued.add(other)
                            waiting.append(other)
        return True

    def refute(self, tree: Tree) -> None:
        """Walk a tree of splits, and see that no whole numbers meet all rows at any of its leaves.

        Raises
        ------
        Wrong
            Where the tree is no whole tree, a leaf proves nothing, or a name is unknown.
        """
        bounds: Bounds = list(self.bounds)
        some = self.tighten(bounds)
        waiting: list[tuple[int, tuple[int, int], Bounds]] = []  # upper sides: number, its bounds there, all others
        ended = False
        for place, node in enumerate(tree, start=1):
            if ended:
                raise Wrong(f"node {place} comes after the end of the tree")
            if isinstance(node, Split):
                if node.number not in self.names:
                    raise Wrong(f"node {place} splits {node.number!r}, which this job does not have")
                index = self.names[node.number]
                least, most = bounds[index]
                waiting.append((index, (max(least, node.most + 1), most), list(bounds)))
                some = some and self.narrow(bounds, index, (least, min(most, node.most)))
                continue
            if some:
                self.leaf(place, node, bounds)
            ended = not waiting
            if waiting:
                index, side, bounds = waiting.pop()
                some = self.narrow(bounds, index, side)
        if not ended:
            raise Wrong("a side of the last split has no leaf")

    def narrow(self, bounds: Bounds, index: int, side: tuple[int, int]) -> bool:
        """Give a number other bounds, and narrow those of others by it; tells whether any whole numbers are left."""
        bounds[index] = side
        return side[0] <= side[1] and self.tighten(bounds, [index])

    def leaf(self, place: int, leaf: Leaf, bounds: Bounds) -> None:
        """See that the priced rows allow less than the least that their sum can be; prices are scaled to whole numbers."""
        scale = lcm(*(price.denominator for price in leaf.prices.values()))
        allowed = 0
        reduced: dict[int, int] = {}
        for name, price in leaf.prices.items():
            row = self.rows.get(name)
            if row is None:
                raise Wrong(f"node {place} has a price for {name!r}, which this job does not have")
            if price < 0 and not row.equal:
                raise Wrong(f"node {place} has a price below 0 for {name!r}")
            whole = int(price * scale)
            allowed += whole * row.most
            for number, factor in row.terms.items():
                reduced[number] = reduced.get(number, 0) + whole * factor
        least = sum(cost * bounds[number][cost < 0] for number, cost in reduced.items())
        if least <= allowed:
            raise Wrong(
                f"the prices of node {place} prove nothing: the sum is {least} at least, and {allowed} is allowed"
            )
