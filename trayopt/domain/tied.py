"""Connected components: items that pairs tie together, directly or through other items."""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from typing import TypeVar

T = TypeVar("T", bound=Hashable)


def tied(items: Iterable[T], pairs: Iterable[tuple[T, T]]) -> dict[T, int]:
    """Return the number of the connected component of each item, where pairs of items are connected.

    Numbers count from 0 in the order in which the components first occur among the items.
    """
    parent = {item: item for item in items}

    def root(item: T) -> T:
        while parent[item] != item:
            parent[item] = parent[parent[item]]
            item = parent[item]
        return item

    for one, other in pairs:
        parent[root(one)] = root(other)
    numbers: dict[T, int] = {}
    return {item: numbers.setdefault(root(item), len(numbers)) for item in parent}
