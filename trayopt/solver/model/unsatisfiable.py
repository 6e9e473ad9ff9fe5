"""Minimal unsatisfiable subsets: of things that cannot hold together, a set that cannot either, and can without each of them.

What can hold together is asked of an oracle, which may leave a question open where time is up.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from typing import Generic, Protocol, TypeVar

T = TypeVar("T", bound=Hashable)


class Oracle(Protocol[T]):
    """Knows which sets of things can hold together."""

    def possible(self, held: frozenset[T], most: float | None = None) -> bool | None:
        """Whether these things can hold together; None if that was not settled. ``most`` bounds the deterministic time."""

    def core(self, held: frozenset[T]) -> frozenset[T] | None:
        """Return a known part of these that cannot hold together, if there is one."""

    def broken(self, held: frozenset[T]) -> frozenset[T] | None:
        """Return what a known plan breaks that keeps these; None where none is known."""


@dataclass
class Memory(Generic[T]):
    """The answers of an oracle: what can hold can hold in part, and what cannot cannot with more beside."""

    kept: list[frozenset[T]] = field(default_factory=list)
    refuted: list[frozenset[T]] = field(default_factory=list)

    def note(self, held: frozenset[T], answer: bool | None) -> bool | None:
        """Keep an answer, and return it."""
        if answer is not None:
            (self.kept if answer else self.refuted).append(held)
        return answer

    def known(self, held: frozenset[T]) -> bool | None:
        """Answer from memory."""
        if any(held <= other for other in self.kept):
            return True
        return None if self.core(held) is None else False

    def core(self, held: frozenset[T]) -> frozenset[T] | None:
        """Return the smallest known part of these that cannot hold together."""
        return min((found for found in self.refuted if found <= held), key=len, default=None)

    def broken(self, held: frozenset[T]) -> frozenset[T] | None:
        """Return None: a memory knows no plans."""
        del held
        return None


@dataclass(frozen=True)
class Subset(Generic[T]):
    """A subset that cannot hold together; ``minimal`` tells that this is proven, and that it can without each of its items."""

    items: tuple[T, ...]
    minimal: bool


def minimal_subset(
    oracle: Oracle[T], order: Sequence[T], needed: frozenset[T] = frozenset(), most: float | None = None
) -> Subset[T] | None:
    """Find a minimal unsatisfiable subset; None where these can hold together, or that was not settled.

    Parameters
    ----------
    oracle
        What is asked.
    order
        The things, in the order in which they are blamed: of two subsets the one is found whose last item comes first.
    needed
        What is held whatever is tried; the subset is one of those that clash with it, and does not name it.
    most
        Deterministic time for one question of the search; the proof at the end takes as long as the oracle lets it.

    Notes
    -----
    The shortest beginning of the order that cannot hold ends with an item of the subset. That item is kept, and the same is
    asked of the items before it, until those that are kept clash by themselves. Then each is left out in turn, as a question
    may not have been settled, and at last the subset and each subset without one of its items are asked again.
    """
    pool = list(order)
    if oracle.possible(frozenset(pool) | needed) is not False:
        return None
    found: list[T] = []
    while True:
        kept = frozenset(found) | needed
        if oracle.possible(kept) is False:
            break
        end = _first_clash(oracle, kept, pool, most)
        if end == 0:
            break
        found.append(pool[end - 1])
        pool = pool[: end - 1]
    chosen = _without_idle(oracle, [item for item in order if item in set(found)], needed, most)
    return Subset(chosen, _proven(oracle, chosen, needed))


def _first_clash(oracle: Oracle[T], kept: frozenset[T], pool: Sequence[T], most: float | None) -> int:
    """Return the length of the shortest beginning of the pool that clashes with what is kept; all of it is known to."""
    low, high = 0, len(pool)
    while low + 1 < high:
        middle = (low + high) // 2
        held = kept | frozenset(pool[:middle])
        if oracle.possible(held, most) is False:
            core = oracle.core(held) or held
            high = max((i + 1 for i in range(middle) if pool[i] in core), default=0)
        else:
            broken = oracle.broken(held)
            low = middle
            while broken is not None and low < high - 1 and pool[low] not in broken:
                low += 1
    return high


def _without_idle(oracle: Oracle[T], found: Sequence[T], needed: frozenset[T], most: float | None) -> tuple[T, ...]:
    """Leave out groups that the clash does not need, beginning with the groups that are blamed last."""
    left = frozenset(found)
    for item in reversed(found):
        if oracle.possible((left - {item}) | needed, most) is False:
            left -= {item}
    return tuple(item for item in found if item in left)


def _proven(oracle: Oracle[T], chosen: Sequence[T], needed: frozenset[T]) -> bool:
    """Whether it is proven that the subset clashes and that no subset without one of its items does."""
    items = frozenset(chosen)
    if oracle.possible(items | needed) is not False:
        return False
    return all(oracle.possible((items - {item}) | needed) is True for item in chosen)
