"""Spans of stretches whose subunit keeps together: a stack, a first position and a last position.

A span binds nothing where the stretch is *loose* (no subunit of it keeps together) or *gone* (nothing of it is placed).
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from typing import NamedTuple

from trayopt.domain.hardware import Place, Stack
from trayopt.rules.variables import Literal
from trayopt.solver.model import cp_sat
from trayopt.solver.model.literals import Literals, OnStack


class Span(NamedTuple):
    """Literals of a span: its stack by id, and for each position from 0 up whether it begins, or ends, there or below."""

    on: dict[str, cp_sat.IntVar]
    begun: list[Literal]
    ended: list[Literal]


def span_of(
    model: Literals,
    name: str,
    lies: Mapping[Place, Literal],
    stacks: Sequence[Stack],
    *,
    about: tuple[Hashable, ...],
    loose: Literal,
    gone: Literal,
) -> Span:
    """Return a stretch a span: it lies at each position from the first to the last, and nowhere else.

    Parameters
    ----------
    lies
        Whether something of the stretch lies at each place.
    about
        What symmetry is told that the literals of stacks are about.
    """
    deepest = max(stack.positions for stack in stacks)
    on = {stack.id: model.literal(f"{name} on {stack.id}", (*about, OnStack(stack.id))) for stack in stacks}
    model.cp.add_exactly_one(list(on.values()))
    begun, ended = (_steps(model, f"{name} {word} by", deepest) for word in ("begun", "ended"))
    for p in range(1, deepest + 1):
        model.clause(model.no(begun[p - 1]), begun[p])
        model.clause(model.no(ended[p - 1]), ended[p])
        model.clause(model.no(ended[p]), begun[p])
    for stack in stacks:
        elsewhere = model.no(on[stack.id])
        for p in range(1, stack.positions + 1):
            here = lies[Place(stack.id, p)]
            for so in (on[stack.id], begun[p], model.no(ended[p - 1])):
                model.clause(loose, model.no(here), so)
            model.clause(loose, gone, elsewhere, model.no(begun[p]), ended[p - 1], here)
        model.clause(loose, gone, elsewhere, ended[stack.positions])
    return Span(on, begun, ended)


def _steps(model: Literals, name: str, deepest: int) -> list[Literal]:
    """Make a literal a position, from 0 up, that holds from some position on and at the deepest."""
    return [0, *(model.literal(f"{name} {p}") for p in range(1, deepest)), 1]


def follow(model: Literals, before: Span, after: Span, *unless: Literal) -> None:
    """Require that a span begins on the stack where another ends, at its last position or the next, unless a literal holds."""
    for stack in before.on:
        model.clause(*unless, model.no(before.on[stack]), after.on[stack])
    for p in range(1, len(before.ended)):
        model.clause(*unless, model.no(after.begun[p]), before.ended[p])
        model.clause(*unless, model.no(before.ended[p - 1]), after.begun[p])


def share_place(model: Literals, before: Span, after: Span, *unless: Literal) -> None:
    """Require that a span begins at the position where another span ends, unless one of these literals holds."""
    for p in range(1, len(before.ended)):
        model.clause(*unless, model.no(before.ended[p]), after.begun[p])
