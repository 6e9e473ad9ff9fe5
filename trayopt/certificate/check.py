"""The check of a proof, in exact numbers and without a solver.

Rows are linear constraints over bounded whole numbers that every plan of a job meets; ``rules.plans_of`` makes them. A
proof has lemmas, and then a tree of splits with prices of rows at its leaves. It proves that no whole numbers meet all rows
and bring a goal below its bound.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from math import lcm

from trayopt.domain.plan import GoalName

Terms = Iterable[tuple[int, int]]
"""Terms of a sum: pairs of a whole factor and the index of a number."""


@dataclass(frozen=True)
class Row:
    """A linear constraint: the sum of factor times number is at most ``most``, or with ``equal`` exactly ``most``."""

    terms: Mapping[int, int]
    most: int
    equal: bool = False


@dataclass(frozen=True)
class Split:
    """A node that splits by a number: at most ``most`` on the lower side, which comes next, and above it on the upper side."""

    number: str
    most: int


@dataclass(frozen=True)
class Leaf:
    """A leaf of the tree, at which the sum of rows times prices cannot hold."""

    prices: Mapping[str, Fraction]


@dataclass(frozen=True)
class Lemma:
    """A statement that follows from the rows and the lemmas before it: one of its bounds holds.

    A bound is the name of a number, 1 for "at least" or -1 for "at most", and a value.
    """

    bounds: Sequence[tuple[str, int, int]]


Bounds = list[tuple[int, int]]
"""The least and the greatest value of each number."""
Bound = tuple[int, int, int]
"""A bound of a number by its index: 1 for "at least" or -1 for "at most", and a value."""
NO_BOUND = 10**18
MOST_VISITS = 20
"""Limit of the visits to a row, on average, while bounds are tightened."""
MOST_BITS = 100_000
"""Limit of the common denominator of prices: a file of long fractions must not fill the memory."""
Tree = Sequence[Lemma | Split | Leaf]
"""Lemmas, then the nodes of a tree in depth-first order: a split is followed by its lower side, then by its upper side."""


STEP: Mapping[GoalName, int] = {"leg_length_mm": 50}
"""Goals that change in larger steps than 1: the length of a cut is rounded up to a multiple of 50 mm."""
GOAL = "goal"
"""Name of the row that asks for plans with a lower goal."""


class TooMany(Exception):  # noqa: N818 - nothing went wrong
    """There are too many numbers or patterns to list."""


class Unknown(Exception):  # noqa: N818 - nothing went wrong
    """A job has a key that no row takes into account; the text names it."""


class Wrong(ValueError):  # noqa: N818 - what is wrong is the proof
    """A proof is wrong; the text says where it fails."""


@dataclass
class System:
    """A system of rows over named whole numbers, each with a least and a greatest value."""

    names: dict[str, int] = field(default_factory=dict)
    bounds: Bounds = field(default_factory=list)
    ranks: list[int] = field(default_factory=list)
    """Priority of each number for a split, as a hint for the search for a proof."""
    rows: dict[str, Row] = field(default_factory=dict)
    goals: dict[GoalName, list[tuple[int, int]]] = field(default_factory=dict)
    """Goals as sums, by their terms."""
    clauses: list[list[Bound]] = field(default_factory=list)
    """Lemmas: of each, one bound holds. The first two are watched: as long as they may hold, nothing follows."""
    watching: dict[tuple[int, int], list[int]] = field(default_factory=dict)
    """The clauses that watch a bound, by the number and its sign."""

    def number(self, name: str, most: int = 1, least: int = 0, *, rank: int = 1) -> int:
        """Add a whole number, and return its index."""
        self.names[name] = len(self.bounds)
        self.bounds.append((least, most))
        if "lines_of" in self.__dict__:
            self.lines_of.append([])
        self.ranks.append(rank)
        return self.names[name]

    def row(self, name: str, terms: Terms, most: int, *, equal: bool = False) -> None:
        """Add a row; factors of the same number are added up."""
        summed: dict[int, int] = {}
        for factor, number in terms:
            summed[number] = summed.get(number, 0) + factor
        if name in self.rows:
            for made in ("lines", "lines_of"):
                self.__dict__.pop(made, None)
        row = self.rows[name] = Row(summed, most, equal)
        if "lines_of" in self.__dict__:
            self._write(row)

    def below(self, goal: GoalName, value: int) -> None:
        """Add the row that asks for plans with a goal below a value."""
        self.row(GOAL, self.goals[goal], (value - 1) // STEP.get(goal, 1))

    @cached_property
    def lines(self) -> list[tuple[list[tuple[int, int]], int, int]]:
        """The rows as lines: terms, what their sum is at most, and the most that a number can change it.

        A row that holds exactly is two lines.
        """
        return []

    @cached_property
    def lines_of(self) -> list[list[tuple[int, int]]]:
        """For each number, the lines that contain it, with its factor there."""
        found: list[list[tuple[int, int]]] = [[] for _ in self.bounds]
        self.__dict__["lines_of"] = found
        for row in self.rows.values():
            self._write(row)
        return found

    def _write(self, row: Row) -> None:
        """Write a row as lines."""
        for sign in (1, -1) if row.equal else (1,):
            terms = [(sign * factor, number) for number, factor in row.terms.items() if factor]
            spans = (abs(factor) * (self.bounds[n][1] - self.bounds[n][0]) for factor, n in terms)
            for factor, number in terms:
                self.lines_of[number].append((len(self.lines), factor))
            self.lines.append((terms, sign * row.most, max(spans, default=0)))

    def rows_with(self, number: int) -> int:
        """Return the number of rows that contain a number, as a hint for the search for a proof."""
        return len(self.lines_of[number])

    def tighten(
        self,
        bounds: Bounds,
        changes: Iterable[tuple[int, tuple[int, int]]] = (),
        lines: Iterable[int] | None = None,
        spares: dict[int, int] | None = None,
    ) -> bool:
        """Tighten the bounds of numbers by the rows; return False if no values are left.

        A row and the least values of all its numbers but one bound that number, in whole numbers.

        Parameters
        ----------
        bounds
            The bounds, which are changed.
        changes
            New bounds of numbers, from which to start.
        lines
            The lines from which to start; None for all of them.
        spares
            What lines leave if all their numbers have their least values; what is missing is added.
        """
        of, lines_of = self.lines, self.lines_of
        spares = {} if spares is None else spares
        waiting = deque(range(len(of)) if lines is None else lines)
        queued = set(waiting)
        news = list(changes)
        for _ in range(MOST_VISITS * len(of)):
            for number, asked in news:
                least, most = bounds[number]
                new = bounds[number] = max(least, asked[0]), min(most, asked[1])
                if new[0] > new[1]:
                    return False
                for sign, changed in ((1, new[1] < most), (-1, new[0] > least)) if self.clauses else ():
                    if changed:
                        news += self._follows((number, sign), bounds)
                for other, by in lines_of[number]:
                    less = by * (new[0] - least if by > 0 else new[1] - most)
                    if not less:
                        continue
                    if other in spares:
                        spares[other] -= less
                        if spares[other] >= of[other][2]:
                            continue
                    if other not in queued:
                        queued.add(other)
                        waiting.append(other)
            news.clear()
            if not waiting:
                break
            line = waiting.popleft()
            queued.discard(line)
            terms, allowed, widest = of[line]
            spare = spares.get(line)
            if spare is None:
                spare = allowed - sum([factor * bounds[number][factor < 0] for factor, number in terms])
                spares[line] = spare
            if spare < 0:
                return False
            for factor, number in terms if spare < widest else ():
                least, most = bounds[number]
                if abs(factor) * (most - least) > spare:
                    news.append(
                        (number, (least, least + spare // factor) if factor > 0 else (most - spare // -factor, most))
                    )
        return True

    def refute(self, tree: Tree) -> None:
        """Walk a tree of splits, and check that no whole numbers meet all rows at any of its leaves.

        Raises
        ------
        Wrong
            If the tree is not complete, a leaf proves nothing, or a name is unknown.
        """
        bounds: Bounds = list(self.bounds)
        some = True
        spares: dict[int, int] = {}
        some = some and self.tighten(bounds, (), None, spares)
        waiting: list[tuple[int, tuple[int, int], Bounds]] = []  # upper sides: a number, its bounds there, all bounds
        ended = parted = False
        for place, node in enumerate(tree, start=1):
            if ended:
                raise Wrong(f"node {place} comes after the end of the tree")
            if isinstance(node, Lemma):
                if parted:
                    raise Wrong(f"node {place} is a lemma after a split")
                some = some and self.learn(place, node, bounds, spares)
                continue
            if isinstance(node, Split):
                if node.number not in self.names:
                    raise Wrong(f"node {place} splits {node.number!r}, which this job does not have")
                parted = True
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

    def learn(self, place: int, lemma: Lemma, bounds: Bounds, spares: dict[int, int]) -> bool:
        """Check that tightening leaves no values where all bounds of a lemma fail, and tighten by it; return if some are left."""
        clause: list[Bound] = []
        fails: dict[int, tuple[int, int]] = {}
        for name, sign, value in lemma.bounds:
            if name not in self.names:
                raise Wrong(f"node {place} names {name!r}, which this job does not have")
            number = self.names[name]
            least, most = fails.get(number, bounds[number])
            fails[number] = (least, min(most, value - 1)) if sign > 0 else (max(least, value + 1), most)
            clause.append((number, sign, value))
        if self.tighten(list(bounds), fails.items(), (), dict(spares)):
            raise Wrong(f"node {place} is a lemma that does not follow")
        clause.sort(key=lambda bound: _fails(bound, bounds))
        for number, sign, _ in clause[:2]:
            self.watching.setdefault((number, sign), []).append(len(self.clauses))
        self.clauses.append(clause)
        if not clause or _fails(clause[0], bounds):
            return False
        return (len(clause) > 1 and not _fails(clause[1], bounds)) or self.tighten(
            bounds, [_made(clause[0])], (), spares
        )

    def _follows(self, key: tuple[int, int], bounds: Bounds) -> list[tuple[int, tuple[int, int]]]:
        """Return the bounds that clauses bring which watch one of their bounds, and look for another one that may hold."""
        kept: list[int] = []
        found: list[tuple[int, tuple[int, int]]] = []
        for index in self.watching.get(key, ()):
            clause = self.clauses[index]
            at = int(clause[0][:2] != key)
            other = clause[1 - at] if len(clause) > 1 else clause[at]
            kept.append(index)
            if not _fails(clause[at], bounds):
                continue
            for i in range(2, len(clause)):
                if not _fails(clause[i], bounds):
                    clause[at], clause[i] = clause[i], clause[at]
                    self.watching.setdefault(clause[at][:2], []).append(kept.pop())
                    break
            else:
                found.append(_made(other))
        self.watching[key] = kept
        return found

    def narrow(self, bounds: Bounds, index: int, side: tuple[int, int]) -> bool:
        """Set the bounds of a number, and tighten the others by them; return False if no values are left."""
        return self.tighten(bounds, [(index, side)], ())

    def leaf(self, place: int, leaf: Leaf, bounds: Bounds) -> None:
        """Check that the priced rows allow less than the least value of their sum; prices are scaled to whole numbers."""
        scale = 1
        for name, price in leaf.prices.items():
            if name not in self.rows:
                raise Wrong(f"node {place} has a price for {name!r}, which this job does not have")
            if price < 0 and not self.rows[name].equal:
                raise Wrong(f"node {place} has a price below 0 for {name!r}")
            scale = lcm(scale, price.denominator)
            if scale.bit_length() > MOST_BITS:
                raise Wrong(f"the prices of node {place} have a common denominator of more than {MOST_BITS:,} bits")
        allowed = 0
        reduced: dict[int, int] = {}
        for name, price in leaf.prices.items():
            row = self.rows[name]
            whole = int(price * scale)
            allowed += whole * row.most
            for number, factor in row.terms.items():
                reduced[number] = reduced.get(number, 0) + whole * factor
        least = sum(cost * bounds[number][cost < 0] for number, cost in reduced.items())
        if least <= allowed:
            raise Wrong(
                f"the prices of node {place} prove nothing: the sum is {least} at least, and {allowed} is allowed"
            )


def _fails(bound: Bound, bounds: Bounds) -> bool:
    number, sign, value = bound
    return bounds[number][1] < value if sign > 0 else bounds[number][0] > value


def _made(bound: Bound) -> tuple[int, tuple[int, int]]:
    """Return a bound as the least and the greatest value that it leaves to its number."""
    number, sign, value = bound
    return number, ((value, NO_BOUND) if sign > 0 else (-NO_BOUND, value))
