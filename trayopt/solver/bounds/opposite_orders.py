"""A bound on crossings: strands that trunks see in different orders; few of them can share a low.

Of a pair that two trunks see in opposite orders one order crosses unless both strands have the same low. A strand has its low at
the position of one of its bearers, so as many strands share a low as have a bearer at one position. The least that crosses in
any order of lows (``fewest_crossings``) is a bound, with so many crossings a pair as its literal stands for.

It holds for the plans of one model. The solver does not see it by itself: without the sum as a row, its bound on crossings of
shuffled joins stays near 0.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from math import comb
from typing import NamedTuple

from trayopt.domain.cablework import Leg
from trayopt.domain.plan import GoalName
from trayopt.rules.variables import Expression
from trayopt.solver.bounds.fewest_crossings import fewest_crossings
from trayopt.solver.model.literals import total
from trayopt.solver.model.model import Model, Orders

NAME = "opposite_orders"


class Paid(NamedTuple):
    """What crosses at least in the plans of a model.

    ``disputed`` counts pairs that trunks see in opposite orders, ``all`` counts all pairs, each as often as its literal stands
    for; ``crossings`` is what that makes of the goal.
    """

    disputed: int
    all: int
    crossings: int


class Agreed(NamedTuple):
    """Who turns off before whom in the plans of a model with a limit on crossings.

    Each pair of bunches is one that all trunks see in this order, and that never turns off in the other; pairs that follow from
    others are left out. At most ``spare`` of the pairs have one low.
    """

    pairs: list[tuple[int, int]]
    spare: int


def settle_orders(model: Model, crossings: int) -> None:
    """Exclude from a model with a limit on crossings the orders that would exceed it.

    Strands that all trunks see in one order cross for nothing if they turn off in the other. What they cost then comes on top of
    what pairs in opposite orders cost at least; and with one low they take the room of a pair that would pay less there.
    """
    if model.orders is None:
        return
    seen, strands, _ = model.orders
    spare = _spare(model, crossings)
    for pair in _held(model.orders, crossings, spare):
        model.require(seen[pair][0] <= 0)
    if spare >= 1:
        return
    for i, j in _at_once((i, j) for i, j in seen if (j, i) not in seen):
        if len(strands[i]) == len(strands[j]) == 1:
            _outward(model, strands[i][0], strands[j][0])


def agreed(model: Model, crossings: int) -> Agreed | None:
    """Say which orders a limit on crossings leaves; None where a strand can have the low of more than one leg.

    A strand with one bearer has the low of this leg's bunch.
    """
    if model.orders is None or any(len(bearers) > 1 for bearers in model.orders.strands):
        return None
    spare = _spare(model, crossings)
    bunch = [model.bunch(bearers[0]) for bearers in model.orders.strands]
    pairs = [(bunch[i], bunch[j]) for i, j in _at_once(_held(model.orders, crossings, spare))]
    return Agreed([pair for pair in pairs if pair[0] != pair[1]], spare)


def _spare(model: Model, crossings: int) -> int:
    """Count what a limit on crossings leaves beside what pairs in opposite orders cost at least."""
    if model.orders is None:
        return crossings
    _, strands, weight = model.orders
    return crossings // max(1, weight) - len(_disputed(model.orders)) + _saved(model, strands)


def _held(orders: Orders, crossings: int, spare: int) -> Iterator[tuple[int, int]]:
    """Yield the pairs that all trunks see in one order and that cost more than there is to spare in the other."""
    seen, most = orders.seen, min(spare, crossings // max(1, orders.weight))
    return ((i, j) for (i, j), (_, times) in seen.items() if (j, i) not in seen and times > most)


def _at_once(pairs: Iterable[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    """Yield the pairs of an order between which no other of its members stands."""
    after: dict[int, set[int]] = {}
    for i, j in pairs:
        after.setdefault(i, set()).add(j)
    for i, later in after.items():
        for j in sorted(later.difference(*(after.get(k, ()) for k in later))):
            yield i, j


def _outward(model: Model, one: Leg, other: Leg) -> None:
    """Require that a leg turns off nearer to the base than another leg."""
    for position in range(1, model.places[-1].position + 1):
        nearer = model.position_up_to(one, position - 1) if position > 1 else 0
        model.clause(model.no(model.position_up_to(other, position)), nearer)


def _saved(model: Model, strands: Sequence[Sequence[Leg]]) -> int:
    """Count the pairs of strands that can share a low at most."""
    most = model.most_at_a_position(strands)
    groups, rest = divmod(len(strands), max(1, most))
    return groups * comb(most, 2) + comb(rest, 2)


def must_cross(model: Model) -> Paid | None:
    """Count the crossings that every plan of a model has, if crossings are encoded in it; None if it need not have any."""
    if model.orders is None:
        return None
    seen, strands, weight = model.orders
    paid = max(0, len(_disputed(model.orders)) - _saved(model, strands))
    least = fewest_crossings({pair: times for pair, (_, times) in seen.items()}, model.most_at_a_position(strands))
    return Paid(paid, least, max(paid, least) * weight) if paid or least else None


def encoded(model: Model, goal: GoalName) -> Expression:
    """Encode a goal, once, in a model that makes no claims about bounds; crossings are at least what has to cross."""
    known = goal in model.goals
    expression = model.goal(goal)
    paid = must_cross(model) if goal == "crossings" and not known else None
    if paid is not None:
        hold_orders(model, paid)
    return expression


def hold_orders(model: Model, paid: Paid) -> None:
    """Hold the orders of a model to what has to cross: the solver does not add it up by itself."""
    if model.orders is None:
        return
    seen = model.orders.seen
    if paid.disputed:
        disputed = _disputed(model.orders)
        model.require(total(seen[pair][0] for i, j in disputed for pair in ((i, j), (j, i))) >= paid.disputed)
    if paid.all > paid.disputed:
        model.require(total(times * literal for literal, times in seen.values()) >= paid.all)


def _disputed(orders: Orders) -> list[tuple[int, int]]:
    """Return the pairs of strands that trunks see in opposite orders."""
    return [(i, j) for i, j in orders.seen if i < j and (j, i) in orders.seen]
