"""Finds a tree of splits with prices at its leaves that proves that no whole numbers meet some rows.

A leaf is priced by the linear relaxation; its prices are rounded to fractions, and only a leaf that the verifier takes is kept.
Where a leaf does not stand, some splits are tried on both sides, and the one is taken that brings both sides farthest: with it a
dozen nodes can be enough where hundreds were not.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from math import floor, inf

from trayopt.certificate.check import Bounds, Leaf, Split, System, Tree, Wrong
from trayopt.solver.linear import Relaxation, Solved
from trayopt.solver.model.clock import Clock

MOST_NODES = 2_000
"""A tree of more nodes than this is not looked for."""
FINEST = (12, 5_040, 10**9)
"""Greatest denominators of the prices, tried one after the other."""
NEAR = 1e-6
MOST_TRIED = 8
"""So many splits of a node are tried."""
ENDS = 1_000.0
"""What a side counts on which nothing is left."""
LEAST = 0.01
"""What a side counts that brings nothing."""
OF_NARROWED = 0.001
"""What a number with narrower bounds counts, beside what the goal misses."""


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
        if solved is None:
            return None
        leaf = _leaf(system, bounds, solved.prices, solved.missed)
        if leaf is not None:
            tree.append(leaf)
            continue
        if most_nodes == 1:
            return None
        index = _split(system, relaxation, bounds, solved, clock)
        if index is None:
            return None
        at = floor(solved.numbers[index])
        tree.append(Split(names[index], at))
        open_ += _sides(system, bounds, index, at)
    return tree


def _sides(system: System, bounds: Bounds, index: int, at: int) -> list[Bounds | None]:
    """Give the bounds above a split and those below it; None for a side on which nothing is left."""
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
    """Choose the number to split by: of some of high rank and far from whole the one that brings most; None if all are whole."""
    off = {
        i: system.ranks[i] * far for i, value in enumerate(solved.numbers) if (far := abs(value - round(value))) > NEAR
    }
    best: tuple[float, int] | None = None
    for index in sorted(off, key=off.__getitem__, reverse=True)[:MOST_TRIED]:
        if best is not None and clock.over:
            break
        brought = []
        for side in _sides(system, bounds, index, floor(solved.numbers[index])):
            missed = inf if side is None else relaxation.probe(side, clock)
            narrowed = sum(before != now for before, now in zip(bounds, side or (), strict=False))
            rises = max(0.0, missed - solved.missed) + LEAST + OF_NARROWED * narrowed
            brought.append(ENDS if missed > NEAR else rises)
        if best is None or min(brought) * max(brought) > best[0]:
            best = min(brought) * max(brought), index
        if min(brought) >= ENDS:
            break
    return None if best is None else best[1]
