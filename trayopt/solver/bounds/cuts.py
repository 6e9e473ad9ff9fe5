"""The cuts of a stretch of fibres: the edges that all its sides share, and sums of the segments between them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise

from trayopt.rules.variables import Expression, Literal
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import Base
from trayopt.solver.model.literals import is_false, linear


def shared_edges(
    fibres: int, sides: Iterable[Mapping[frozenset[int], Literal]]
) -> dict[tuple[int, ...], list[tuple[Literal, ...]]]:
    """Return the edges that all sides of a stretch may share, each with the literals of the cuts that make them.

    Parameters
    ----------
    fibres
        The number of fibres of the stretch.
    sides
        For each side: the edges that its divisions may have, each with the literal that says so.
    """
    found: dict[frozenset[int], list[tuple[Literal, ...]]] = {frozenset(range(fibres + 1)): [()]}
    for side in sides:
        shared: dict[frozenset[int], list[tuple[Literal, ...]]] = defaultdict(list)
        for edges, literal in side.items():
            for before, so in found.items():
                shared[before & edges] += [(*literals, literal) for literals in so]
        found = shared
    return {tuple(sorted(edges)): so for edges, so in found.items()}


def sums(edges: Sequence[int]) -> set[int]:
    """Return every number of units that some of the segments between edges hold together."""
    found = {0}
    for before, after in pairwise(edges):
        found |= {known + after - before for known in found}
    return found


def lie_in(model: Base, numbers: Iterable[Expression], values: Iterable[int], *when: Literal) -> None:
    """Require numbers to be among some values if all of some literals are true."""
    if any(is_false(literal) for literal in when):
        return
    domain = cp_sat.Domain.from_values(sorted(values))
    for number in numbers:
        added = model.cp.add_linear_expression_in_domain(linear(number), domain)
        added.only_enforce_if([literal for literal in when if not isinstance(literal, int)])
