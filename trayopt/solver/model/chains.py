"""Chains: legs that lie in trays one after the other in every plan of a model, and so are decided together.

A leg of a subunit that keeps together lies in the tray of the leg before it or in the next one outward. Where no tray holds
both, with what is spliced to them, it is the next one. So where one such leg lies says where all lie that follow each other,
over splices too: a subunit of 288 in quarters and the two subunits of 144 that it is spliced to are one thing with one place,
that of its first tray.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import NamedTuple


class Step(NamedTuple):
    """Two bunches on a stack: the second lies one position outward of the first."""

    bunch: int
    next: int


class Link(NamedTuple):
    """Where a bunch lies in its chain: the first bunch of the chain, and how many positions outward of that this one lies."""

    first: int
    outward: int


def chains(bunches: Iterable[int], steps: Iterable[Step]) -> dict[int, Link]:
    """Return for each bunch its link; steps that contradict others are left out, for rules say of them that there is no plan."""
    beside: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for step in steps:
        beside[step.bunch].append((step.next, 1))
        beside[step.next].append((step.bunch, -1))
    links: dict[int, Link] = {}
    for start in bunches:
        if start in links:
            continue
        at = {start: 0}
        todo = [start]
        while todo:
            bunch = todo.pop()
            for other, rise in beside[bunch]:
                if other not in at:
                    at[other] = at[bunch] + rise
                    todo.append(other)
        lowest = min(at.values())
        first = min(bunch for bunch, position in at.items() if position == lowest)
        links |= {bunch: Link(first, position - lowest) for bunch, position in at.items()}
    return links


def length_of(links: Mapping[int, Link]) -> dict[int, int]:
    """Return for each chain how many positions its last bunch lies outward of its first bunch."""
    found: dict[int, int] = defaultdict(int)
    for link in links.values():
        found[link.first] = max(found[link.first], link.outward)
    return found
