"""Proofs over rows, held to enumeration: narrowing loses no solution, and no tree proves what is not so."""

from __future__ import annotations

import random
from collections.abc import Callable
from fractions import Fraction
from itertools import combinations, product
from typing import Any

import pytest

from trayopt.certificate.check import Bounds, Leaf, Lemma, Split, System, Tree, Wrong
from trayopt.solver.learn import learnt
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


def pigeons(holes: int) -> System:
    """Return rows by which one pigeon more than there are holes has a hole of its own."""
    system = System()
    at = {(p, h): system.number(f"{p} in {h}") for p in range(holes + 1) for h in range(holes)}
    for p in range(holes + 1):
        system.row(f"pigeon {p}", [(-1, at[p, h]) for h in range(holes)], -1)
    for h in range(holes):
        for p, q in combinations(range(holes + 1), 2):
            system.row(f"{p} or {q} in {h}", [(1, at[p, h]), (1, at[q, h])], 1)
    return system


def clauses(seed: int) -> System:
    """Draw rows of which each asks that one of three numbers has its least or its greatest value, of two."""
    rng = random.Random(seed)
    system = System()
    for i in range(8):
        least = rng.randint(-2, 1)
        system.number(f"x{i}", least + 1, least)
    for i in range(48):
        some = [(rng.choice((-1, 1)), n) for n in rng.sample(range(8), 3)]
        fails = sum(sign * system.bounds[n][sign < 0] for sign, n in some)
        system.row(f"r{i}", [(-sign, n) for sign, n in some], -fails - 1)
    return system


@pytest.mark.parametrize(("draw", "seeds", "least"), [(drawn, 300, 0), (clauses, 60, 100)])
def test_lemmas_refute_what_has_no_solution_and_nothing_else(
    draw: Callable[[int], System], seeds: int, least: int
) -> None:
    refuted = lemmas = 0
    for seed in range(seeds):
        system = draw(seed)
        proof = learnt(system, Clock())
        assert (proof is None) == bool(solutions(system)), seed
        if proof is not None:
            system.refute(proof)
            refuted += 1
            lemmas += len(proof) - 1
    assert refuted > 20
    assert lemmas > least


def test_lemmas_of_a_longer_search_follow() -> None:
    system = pigeons(5)
    proof = learnt(system, Clock())
    assert proof is not None
    assert len(proof) > 20
    pigeons(5).refute(proof)


@pytest.mark.parametrize(
    ("forged", "words"),
    [
        pytest.param(lambda proof: proof[-1:], "the prices of node 1 prove nothing", id="without its lemmas"),
        pytest.param(lambda proof: [Lemma([]), proof[-1]], "node 1 is a lemma that does not follow", id="all at once"),
        pytest.param(
            lambda proof: [Lemma([("0 in 0", 1, 1)]), *proof], "node 1 is a lemma that", id="a pigeon in a hole"
        ),
        pytest.param(lambda proof: [Lemma([("0 in 0", 1, 2)]), *proof], "node 1 is a lemma that", id="two in one"),
        pytest.param(
            lambda proof: [Lemma(proof[0].bounds[:1]), *proof[1:]],
            "node 1 is a lemma that",
            id="its other bounds left out",
        ),
        pytest.param(lambda proof: [Lemma([("0 in 9", 1, 1)]), *proof], "node 1 names '0 in 9'", id="a hole too many"),
        pytest.param(lambda proof: proof[:-1], "a side of the last split has no leaf", id="without a leaf"),
        pytest.param(
            lambda proof: [Split("0 in 0", 0), *proof, Leaf({})], "node 2 is a lemma after a split", id="below a split"
        ),
        pytest.param(
            lambda proof: [Split("0 in 0", -1), Leaf({}), *proof], "node 3 is a lemma after", id="beside an empty side"
        ),
        pytest.param(lambda proof: [*proof, *proof], "comes after the end of the tree", id="twice"),
    ],
)
def test_forged_lemmas_are_refused(forged: Callable[[Any], Tree], words: str) -> None:
    proof = learnt(pigeons(4), Clock())
    assert proof is not None
    pigeons(4).refute(proof)
    with pytest.raises(Wrong, match=words):
        pigeons(4).refute(forged(proof))


def test_no_lemmas_refute_what_has_a_solution() -> None:
    """Lemmas that follow are kept, and a leaf after them proves nothing."""
    taken = 0
    for seed in range(300):
        system = drawn(seed)
        if not solutions(system):
            continue
        rng = random.Random(-seed)
        lemmas: list[Lemma] = []
        for _ in range(12):
            some = rng.sample(list(system.names), rng.randint(0, len(system.names)))
            lemma = Lemma([(name, rng.choice((-1, 1)), rng.randint(-2, 3)) for name in some])
            try:
                drawn(seed).refute([*lemmas, lemma, Leaf({})])
            except Wrong as found:
                if "does not follow" not in str(found):
                    lemmas.append(lemma)
                    taken += 1
                continue
            raise AssertionError(seed)
    assert taken > 300


def test_long_fractions_do_not_fill_the_memory() -> None:
    """A thousand denominators of forty digits that have hardly a factor in common make a number of 130,000 bits."""
    system = System()
    for i in range(1_000):
        system.row(f"row {i}", [(1, system.number(f"x{i}"))], 1)
    prices = {f"row {i}": Fraction(1, 10**39 + 2 * i + 1) for i in range(1_000)}
    with pytest.raises(Wrong, match="a common denominator of more than 100,000 bits"):
        system.refute([Leaf(prices)])
