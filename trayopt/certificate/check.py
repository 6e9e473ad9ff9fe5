"""The check of a certificate, in exact numbers and without a solver. It takes nothing but hints from the file.

Rows are linear constraints over bounded whole numbers that every plan of a job meets; ``rules.plans_of`` makes them. An
argument is a tree of splits with prices of rows at its leaves. It proves that no whole numbers meet all rows and bring a
goal below its bound.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from math import lcm
from typing import Literal

from trayopt.domain.certificate import Certificate, CertificateGoal
from trayopt.domain.former import names_job
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName

Standing = Literal["checked", "rests on the solver's search", "refused"]
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


Bounds = list[tuple[int, int]]
"""The least and the greatest value of each number."""
MOST_VISITS = 20
"""Limit of the visits to a row, on average, while bounds are tightened."""
MOST_BITS = 100_000
"""Limit of the common denominator of prices: a file of long fractions must not fill the memory."""
Tree = Sequence[Split | Leaf]
"""The nodes of a tree in depth-first order: a split is followed by its lower side, then by its upper side."""


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

    def number(self, name: str, most: int = 1, least: int = 0, *, rank: int = 1) -> int:
        """Add a whole number, and return its index."""
        self.names[name] = len(self.bounds)
        self.bounds.append((least, most))
        self.ranks.append(rank)
        return self.names[name]

    def row(self, name: str, terms: Terms, most: int, *, equal: bool = False) -> None:
        """Add a row; factors of the same number are added up."""
        summed: dict[int, int] = {}
        for factor, number in terms:
            summed[number] = summed.get(number, 0) + factor
        self.rows[name] = Row(summed, most, equal)
        for made in ("_lines", "_lines_of"):
            self.__dict__.pop(made, None)

    def below(self, goal: GoalName, value: int) -> None:
        """Add the row that asks for plans with a goal below a value."""
        self.row(GOAL, self.goals[goal], (value - 1) // STEP.get(goal, 1))

    @cached_property
    def _lines(self) -> list[tuple[list[tuple[int, int]], int, int]]:
        """Return the rows as lines: terms, what their sum is at most, and the most that a number can change it.

        A row that holds exactly is two lines.
        """
        found = []
        for row in self.rows.values():
            for sign in (1, -1) if row.equal else (1,):
                terms = [(sign * factor, number) for number, factor in row.terms.items() if factor]
                spans = (abs(factor) * (self.bounds[n][1] - self.bounds[n][0]) for factor, n in terms)
                found.append((terms, sign * row.most, max(spans, default=0)))
        return found

    @cached_property
    def _lines_of(self) -> list[list[tuple[int, int]]]:
        """Return, for each number, the lines that contain it, with its factor there."""
        found: list[list[tuple[int, int]]] = [[] for _ in self.bounds]
        for line, (terms, _, _) in enumerate(self._lines):
            for factor, number in terms:
                found[number].append((line, factor))
        return found

    def rows_with(self, number: int) -> int:
        """Return the number of rows that contain a number, as a hint for the search for a proof."""
        return len(self._lines_of[number])

    def tighten(self, bounds: Bounds, changed: Iterable[int] | None = None) -> bool:
        """Tighten the bounds of numbers by the rows, starting from changed numbers; return False if no values are left.

        A row and the least values of all its numbers but one bound that number, in whole numbers.
        """
        lines, lines_of = self._lines, self._lines_of
        waiting = deque(range(len(lines)) if changed is None else (line for n in changed for line, _ in lines_of[n]))
        queued = set(waiting)
        spares: dict[int, int] = {}  # what a line leaves if all its numbers have their least values
        for _ in range(MOST_VISITS * len(lines)):
            if not waiting:
                break
            line = waiting.popleft()
            queued.discard(line)
            terms, allowed, widest = lines[line]
            if line not in spares:
                spares[line] = allowed - sum([factor * bounds[number][factor < 0] for factor, number in terms])
            spare = spares[line]
            if spare < 0:
                return False
            for factor, number in terms if spare < widest else ():
                least, most = bounds[number]
                if abs(factor) * (most - least) <= spare:
                    continue
                above = factor > 0
                new = (least, least + spare // factor) if above else (most - spare // -factor, most)
                bounds[number] = new
                for other, by in lines_of[number]:
                    if (by > 0) == above:
                        continue  # the least value of this number in that line is what it was
                    if other in spares:
                        spares[other] -= by * (new[1] - most if above else new[0] - least)
                    if other not in queued:
                        queued.add(other)
                        waiting.append(other)
        return True

    def refute(self, tree: Tree) -> None:
        """Walk a tree of splits, and check that no whole numbers meet all rows at any of its leaves.

        Raises
        ------
        Wrong
            If the tree is not complete, a leaf proves nothing, or a name is unknown.
        """
        bounds: Bounds = list(self.bounds)
        some = self.tighten(bounds)
        waiting: list[tuple[int, tuple[int, int], Bounds]] = []  # upper sides: a number, its bounds there, all bounds
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
        """Set the bounds of a number, and tighten the others by them; return False if no values are left."""
        bounds[index] = side
        return side[0] <= side[1] and self.tighten(bounds, [index])

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


RowsOf = Callable[..., System]
"""Function that makes the rows for plans as good as given; with ``orders``, also the rows of the order on a stack."""


@dataclass(frozen=True)
class Checked:
    """The result for a goal: its standing, and the reason if it is refused or not checked."""

    goal: str
    least: int
    standing: Standing
    why: str = ""


def verify(job: Job, values: Mapping[GoalName, int], certificate: Certificate, rows_of: RowsOf) -> Iterator[Checked]:
    """Check the arguments of a certificate for each goal of a plan.

    Parameters
    ----------
    job
        The job.
    values
        The measured goals of the plan, in the order in which they count.
    certificate
        The certificate. A goal is checked if no plan that is as good on all goals before it is better on it.
    rows_of
        Makes the rows that every plan of the job meets if it is as good on given goals.

    Yields
    ------
    Checked
        The result for each goal of the plan, in their order.
    """
    said = {item.goal: item for item in certificate.goals}
    wrong = _not_of(job, values, certificate)
    given: dict[GoalName, int] = {}
    for goal, value in values.items():
        item = said.get(goal)
        if wrong or item is None:
            yield Checked(
                goal, item.least if item else 0, "refused", wrong or "the certificate does not name this goal"
            )
        else:
            yield Checked(goal, item.least, *_standing(job, given, item, value, rows_of))
        given[goal] = value


def _not_of(job: Job, values: Mapping[GoalName, int], certificate: Certificate) -> str:
    """Return the reason why a certificate does not belong to a plan; empty if it does."""
    if not names_job(certificate.job, job):
        return "the certificate is of another job"
    goals = [item.goal for item in certificate.goals]
    if goals != list(values):
        return f"the certificate takes the goals in the order {', '.join(goals)}; the plan has {', '.join(values)}"
    return ""


def _standing(
    job: Job, given: Mapping[GoalName, int], item: CertificateGoal, value: int, rows_of: RowsOf
) -> tuple[Standing, str]:
    """Check a goal, with the values of the goals before it given."""
    if item.least > value:
        return "refused", f"{item.least:,} are said to be the least, and the plan has {value:,}"
    if item.argument == "none":
        return "rests on the solver's search", "the certificate has no argument"
    if item.argument == "not_below_zero":
        if item.least:
            return "refused", f"that nothing is below 0 does not prove {item.least:,}"
    else:
        try:
            refute(rows_of(job, given, orders=item.argument == "prices_with_orders"), item)
        except Unknown as found:
            return "rests on the solver's search", str(found)
        except TooMany:
            return "refused", "there are too many patterns to list them again"
        except Wrong as found:
            return "refused", str(found)
    if item.least < value:
        return "rests on the solver's search", f"{item.least:,} is the least that is checked, the plan has {value:,}"
    return "checked", ""


def refute(plans: System, item: CertificateGoal) -> None:
    """Check that no plans of these rows have a lower value of a goal than its argument claims.

    Raises
    ------
    Wrong
        If the argument does not prove it.
    """
    if item.goal not in plans.goals:
        raise Wrong(f"prices prove nothing of {item.goal}")
    plans.below(item.goal, item.least)
    plans.refute(tree_of(item))


def tree_of(item: CertificateGoal) -> Tree:
    """Return the tree that the nodes of a goal make."""
    return [
        Split(node.split, node.most or 0) if node.split is not None
        else Leaf({name: Fraction(price) for name, price in (node.prices or {}).items()})
        for node in item.nodes
    ]  # fmt: skip
