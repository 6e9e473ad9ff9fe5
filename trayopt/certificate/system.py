"""Rows over bounded whole numbers, and the proof that nothing meets them all: dual prices at the leaves of a tree of splits."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
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


Tree = Sequence[Split | Leaf]
"""Nodes in the order of a walk: a split is followed by its lower side, then by its upper side."""


class Wrong(ValueError):  # noqa: N818 - what is wrong is the proof
    """A proof that proves nothing; the text says where it fails."""


@dataclass
class System:
    """Whole numbers with a least and a most, by name, and rows over them."""

    names: dict[str, int] = field(default_factory=dict)
    bounds: list[tuple[int, int]] = field(default_factory=list)
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

    def refute(self, tree: Tree) -> None:
        """Walk a tree of splits, and see that no whole numbers meet all rows at any of its leaves.

        Raises
        ------
        Wrong
            Where the tree is no whole tree, a leaf proves nothing, or a name is unknown.
        """
        bounds = dict(enumerate(self.bounds))
        changed: list[tuple[int, tuple[int, int]]] = []  # what splits changed, with the bounds of before
        waiting: list[tuple[int, int, tuple[int, int]]] = []  # upper sides: how many changes stand, number, its bounds
        ended = False
        for place, node in enumerate(tree, start=1):
            if ended:
                raise Wrong(f"node {place} comes after the end of the tree")
            if isinstance(node, Split):
                if node.number not in self.names:
                    raise Wrong(f"node {place} splits {node.number!r}, which this job does not have")
                index = self.names[node.number]
                least, most = bounds[index]
                waiting.append((len(changed), index, (max(least, node.most + 1), most)))
                changed.append((index, bounds[index]))
                bounds[index] = (least, min(most, node.most))
                continue
            if all(bounds[index][0] <= bounds[index][1] for index, _ in changed):
                self.leaf(place, node, bounds)
            ended = not waiting
            if waiting:
                stand, index, side = waiting.pop()
                while len(changed) > stand:
                    other, before = changed.pop()
                    bounds[other] = before
                changed.append((index, bounds[index]))
                bounds[index] = side
        if not ended:
            raise Wrong("a side of the last split has no leaf")

    def leaf(self, place: int, leaf: Leaf, bounds: Mapping[int, tuple[int, int]]) -> None:
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
