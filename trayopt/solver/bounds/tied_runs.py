"""Runs of tied places: in which lengths opened subunits fill a stack, where its places are too few for each to have its own.

Places that opened subunits tie to each other are a run of a stack, and all fibres of a group of such subunits lie in one run
(``tied_subunits``). So groups are packed into runs as items into bins: a run takes what its places hold, runs have no place in
common, and one that is too long breaks ``tied_trays`` at every place. Which run lies where is left out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from trayopt.rules.variables import Expression, Literal
from trayopt.solver.bounds.division import ROUNDINGS, share_of_tray
from trayopt.solver.model.literals import Literals, total

LONGEST = 12
"""Runs of more places are counted together, as places that hold fibre ends."""
MOST_SIZES = 6
"""Where groups are of more sizes than this, runs are not asked for."""


class Size(NamedTuple):
    """The fibre ends of a group, and the fewest places that it takes."""

    load: int
    places: int


def broken_by_runs(
    model: Literals,
    groups: Mapping[Size, Expression],
    *,
    most: int,
    positions: int,
    trays: Expression,
    room: int,
    when: Sequence[Literal],
) -> Expression:
    """Pack the groups on a stack into runs, and return at how many places of it runs are too long, at least.

    Parameters
    ----------
    groups
        How many groups of each size lie on the stack.
    most
        How many places may be tied to each other.
    positions, trays
        The places of the stack, and how many of them are used at most.
    room
        The fibre ends that a place takes.
    when
        Literals that all hold where the groups are opened; else nothing is packed.
    """
    packed: dict[Size, list[Expression]] = {size: [] for size in groups}
    used: list[Expression] = []
    broken: list[Expression] = []
    for length in range(1, min(positions, LONGEST) + 1):
        takes = {size: model.number(positions * room // size.load, "") for size in groups if size.places <= length}
        if not takes:
            continue
        runs = model.number(positions // length, f"runs of {length} places")
        for k in ROUNDINGS:
            shares = {size: share_of_tray(size.load, length * room, k) for size in takes}
            model.require(total(share * takes[size] for size, share in shares.items()) <= k * length * room * runs)
        model.require(total(size.load * number for size, number in takes.items()) <= length * room * runs)
        used.append(length * runs)
        broken += [length * runs] * (length > most)
        for size, number in takes.items():
            packed[size].append(number)
    if positions > LONGEST:
        longer = model.number(positions, "places of longer runs")
        takes = {size: model.number(positions * room // size.load, "") for size in groups}
        model.require(total(size.load * number for size, number in takes.items()) <= room * longer)
        used.append(longer)
        broken.append(longer)
        for size, number in takes.items():
            packed[size].append(number)
    for size, here in groups.items():
        model.require(total(packed[size]) >= here, *when)
    model.require(total(used) <= trays)
    return total(broken)
