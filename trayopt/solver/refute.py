"""Finds a tree of splits with prices at its leaves that proves that no whole numbers meet some rows.

A leaf is priced by the linear relaxation; its prices are rounded to fractions, and only a leaf that the verifier takes is kept.
Where a leaf does not stand, some splits are tried on both sides, and the one is taken that brings both sides farthest: with it a
dozen nodes can be enough where hundreds were not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import zip_longest
from math import floor, inf, prod

from trayopt.certificate.check import Bounds, Leaf, Split, System, Tree, Wrong
from trayopt.solver.linear import Relaxation, Solved
from trayopt.solver.model.clock import Clock

MOST_NODES = 2_000
"""A tree of more nodes than this is not looked for."""
FINEST = (12, 5_040, 10**9)
"""Greatest denominators of the prices, tried one after the other."""
NEAR = 1e-6
MOST_NARROWED = 16
"""Of so many numbers by rank, and as many by how far from whole they are, both sides of a split are narrowed."""
MOST_TRIED = 8
"""Number of these splits that are tried by a relaxation, among them the first by rank."""
FIRST = 4
"""Number of splits by rank that are tried in any case."""
ENDS = 1_000.0
"""The value of a side without any solution."""
LEAST = 0.01
"""The value of a side that brings nothing."""
OF_NARROWED = 0.001
"""The value of a number with narrower bounds, in addition to what the goal misses."""


def refutation(
    system: System, clock: Clock, most_nodes: int = MOST_NODES, left_out: frozenset[str] = frozenset()
) -> Tree | None:
    """Find a tree that the verifier takes as proof that no whole numbers meet all rows; None where none was found.

    Rows that are left out get no price.
    """
    relaxation = Relaxation(system, left_out)
    names = {index: name for name, index in system.names.items()}
    tree: list[Split | Leaf] = []
    root: Bounds = list(system.bounds)
    open_: list[Bounds | None] = [root if system.tighten(root) else None]
    while open_:
        bounds = open_.pop()
        if bounds is None:
            tree.append(Leaf({}))
            continue
        if clock.over or len(tree) >= most_nodes:
            return None
        solved = relaxation.solve(bounds, clock)
        leaf = None if solved is None else _leaf(system, bounds, solved.prices, solved.missed)
        if leaf is not None:
            tree.append(leaf)
            continue
        if most_nodes == 1:
            return None
        index = _narrowing(system, bounds) if solved is None else _split(system, relaxation, bounds, solved, clock)
        if index is None:
            return None
        at = floor(_middles(bounds)[index] if solved is None else solved.numbers[index])
        tree.append(Split(names[index], at))
        open_ += _sides(system, bounds, index, at)
    return tree


def _sides(system: System, bounds: Bounds, index: int, at: int) -> list[Bounds | None]:
    """Return the bounds above a split and those below it; None for a side on which nothing is left."""
    found: list[Bounds | None] = []
    least, most = bounds[index]
    for side in ((max(least, at + 1), most), (least, min(most, at))):
        inside = list(bounds)
        found.append(inside if system.narrow(inside, index, side) else None)
    return found


def _leaf(system: System, bounds: Bounds, prices: Mapping[str, float], missed: float) -> Leaf | None:
    """Round prices so that the verifier takes them."""
    if missed < NEAR:
        return None
    greatest = 1.0 if missed < inf else max(map(abs, prices.values()), default=1.0)
    for finest in FINEST:
        made = {}
        for name, price in prices.items():
            rounded = Fraction(price / greatest).limit_denominator(finest)
            if rounded and (rounded > 0 or system.rows[name].equal):
                made[name] = rounded
        try:
            system.leaf(1, Leaf(made), bounds)
        except Wrong:
            continue
        return Leaf(made)
    return None


def _split(system: System, relaxation: Relaxation, bounds: Bounds, solved: Solved, clock: Clock) -> int | None:
    """Choose the number whose split brings the most on both sides; None if all numbers are whole."""
    best: tuple[float, int] | None = None
    for index, sides in _worth_a_try(system, bounds, solved.numbers):
        if best is not None and clock.over:
            break
        brought = []
        for side in sides:
            missed = inf if side is None else relaxation.probe(side, clock)
            rises = max(0.0, missed - solved.missed) + LEAST + OF_NARROWED * _narrowed(bounds, side)
            brought.append(ENDS if missed > NEAR else rises)
        if best is None or min(brought) * max(brought) > best[0]:
            best = min(brought) * max(brought), index
        if min(brought) >= ENDS:
            break
    return None if best is None else best[1]


def _narrowing(system: System, bounds: Bounds) -> int | None:
    """Choose a number to split where the relaxation gave no answer: of the first by rank, the one that narrows most bounds."""
    tried = _worth_a_try(system, bounds, _middles(bounds))
    return max(tried, key=lambda item: prod(_narrowed(bounds, side) for side in item[1]))[0] if tried else None


def _middles(bounds: Bounds) -> list[float]:
    """Return the middle between the bounds of each number, a little lower where it is whole, to split there."""
    return [least if least == most else (least + most - 0.5) / 2 for least, most in bounds]


def _worth_a_try(system: System, bounds: Bounds, numbers: Sequence[float]) -> list[tuple[int, list[Bounds | None]]]:
    """Return numbers whose split is worth a relaxation, with its sides.

    These are the first by rank, and of more by rank and by how far from whole they are those whose sides narrow most bounds.
    """
    far = {i: off for i, value in enumerate(numbers) if (off := abs(value - round(value))) > NEAR}
    by_rank = _of_each_rank(system, far)[:MOST_NARROWED]
    by_far = sorted(far, key=far.__getitem__, reverse=True)[:MOST_NARROWED]
    found: list[tuple[int, int, list[Bounds | None]]] = []
    for index in dict.fromkeys((*by_rank, *by_far)):
        sides = _sides(system, bounds, index, floor(numbers[index]))
        if sides == [None, None]:
            return [(index, sides)]
        found.append((prod(_narrowed(bounds, side) for side in sides), index, sides))
    found.sort(key=lambda item: (item[1] in by_rank[:FIRST], item[0]), reverse=True)
    return [(index, sides) for _, index, sides in found[:MOST_TRIED]]


def _of_each_rank(system: System, far: Mapping[int, float]) -> list[int]:
    """Return numbers with the farthest from whole of each rank first, then the next of each rank, and so on; high ranks first.

    Of equally far numbers the one in most rows comes first.
    """
    ranked: dict[int, list[int]] = {}
    for i in sorted(far, key=lambda i: (round(far[i], 2), system.rows_with(i)), reverse=True):
        ranked.setdefault(system.ranks[i], []).append(i)
    turns = zip_longest(*(ranked[rank] for rank in sorted(ranked, reverse=True)))
    return [i for turn in turns for i in turn if i is not None]


def _narrowed(bounds: Bounds, side: Bounds | None) -> int:
    """Count the numbers whose bounds are narrower on a side; a side on which nothing is left counts more than any other."""
    return len(bounds) ** 2 if side is None else sum(before != now for before, now in zip(bounds, side, strict=True))
