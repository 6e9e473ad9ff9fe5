"""Proofs over rows, held to enumeration: narrowing loses no solution, and no tree proves what is not so."""

from __future__ import annotations

import random
from fractions import Fraction
from itertools import product

import pytest

from trayopt.certificate.check import Bounds, Leaf, Split, System, Tree, Wrong
from trayopt.solver.model.clock import Clock
from trayopt.solver.refute import refutation


def drawn(seed: int) -> System:
    """Draw a few numbers and rows."""
    rng = random.Random(seed)
    system = System()
    for i in range(rng.randint(2, 4)):
        least = rng.randint(-2, 1)
        system.number(f"x{i}", least + rng.randint(0, 3), least)
    for i in range(rng.randint(1, 4)):
        terms = [(rng.randint(-4, 4), number) for number in range(len(system.bounds))]
        system.row(f"r{i}", terms, rng.randint(-4, 5), equal=rng.random() < 0.3)
    return system


def solutions(system: System) -> list[tuple[int, ...]]:
    """List all whole numbers that meet all rows."""
    found = []
    for values in product(*(range(least, most + 1) for least, most in system.bounds)):
        sums = [(row, sum(factor * values[n] for n, factor in row.terms.items())) for row in system.rows.values()]
        if all(total == row.most if row.equal else total <= row.most for row, total in sums):
            found.append(values)
    return found


def test_narrowing_loses_nothing() -> None:
    empty = 0
    for seed in range(400):
        system = drawn(seed)
        bounds: Bounds = list(system.bounds)
        some, found = system.tighten(bounds), solutions(system)
        empty += not some
        assert some or not found, seed
        for values in found:
            assert all(least <= value <= most for value, (least, most) in zip(values, bounds, strict=True)), seed
    assert empty


def test_what_is_refuted_has_no_solution_and_the_other_way_round() -> None:
    refuted = 0
    for seed in range(150):
        system = drawn(seed)
        tree = refutation(system, Clock())
        assert (tree is None) == bool(solutions(system)), seed
        if tree is not None:
            system.refute(tree)
            refuted += 1
    assert refuted > 20


def test_no_tree_refutes_what_has_a_solution() -> None:
    tried = 0
    for seed in range(300):
        system = drawn(seed)
        if not solutions(system):
            continue
        rng = random.Random(-seed)

        def tree(depth: int, system: System = system, rng: random.Random = rng) -> Tree:
            if not depth or rng.random() < 0.3:
                names = [name for name, row in system.rows.items() if rng.random() < 0.7 or row.equal]
                signs = {name: rng.choice((-1, 1)) if system.rows[name].equal else 1 for name in names}
                return [Leaf({name: Fraction(signs[name] * rng.randint(0, 9), rng.randint(1, 5)) for name in names})]
            split = Split(rng.choice(list(system.names)), rng.randint(-2, 3))
            return [split, *tree(depth - 1), *tree(depth - 1)]

        with pytest.raises(Wrong):
            system.refute(tree(3))
        tried += 1
    assert tried > 100


def test_long_fractions_do_not_fill_the_memory() -> None:
    """A thousand denominators of forty digits that have hardly a factor in common make a number of 130,000 bits."""
    system = System()
    for i in range(1_000):
        system.row(f"row {i}", [(1, system.number(f"x{i}"))], 1)
    prices = {f"row {i}": Fraction(1, 10**39 + 2 * i + 1) for i in range(1_000)}
    with pytest.raises(Wrong, match="a common denominator of more than 100,000 bits"):
        system.refute([Leaf(prices)])
