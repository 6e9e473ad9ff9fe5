"""Bunches: legs that are spliced to each other, directly or over others, and so share a tray.

Where divisions are settled every leg is in one bunch. Where they are open, a leg is in as many as there are ways to divide
what it is spliced to: each of them is a closed group, in which every splice of every leg has both its legs. A parked leg, which
has no splice, is a bunch by itself. A plan that places every splice is then a choice of bunches in which each splice lies in
one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from trayopt.domain.cablework import Leg
from trayopt.domain.splicing import Piece

Sides = Mapping[Piece, tuple[Sequence[Leg], Sequence[Leg]]]
"""Legs that may hold each side of each piece, one a division that is open."""
Bunch = tuple[Leg, ...]
MOST_BUNCHES = 40_000
"""Most bunches that are listed."""
MOST_STEPS = 400_000
"""Most steps that are taken to list bunches."""


def closed_bunches(sides: Sides, loads: Mapping[Leg, int], room: int) -> list[Bunch] | None:
    """List every bunch that fits a tray of this room; None if there are too many.

    ``loads``, of every leg, and ``room`` are in the same unit. A bunch is found from its first piece, by adding the missing leg
    of a piece, in each division that its subunit has or may have, until no leg is missing. A leg without a piece is parked.
    """
    pieces: dict[Leg, list[int]] = {}
    for index, both in enumerate(sides.values()):
        for leg in {*both[0], *both[1]}:
            pieces.setdefault(leg, []).append(index)
    options = list(sides.values())
    found: list[Bunch] = [(leg,) for leg, load in loads.items() if leg not in pieces and load <= room]
    steps = MOST_STEPS
    for first in range(len(options)):
        stack: list[tuple[Bunch, int, tuple[tuple[int, int], ...]]] = [((), 0, ((first, 0), (first, 1)))]
        while stack:
            legs, load, missing = stack.pop()
            steps -= 1
            if not steps or len(found) > MOST_BUNCHES:
                return None
            divided = {(leg.trunk, leg.subunit): leg.of for leg in legs}
            while missing and _is_there(options[missing[-1][0]][missing[-1][1]], legs):
                missing = missing[:-1]
            if not missing:
                found.append(tuple(sorted(legs)))
                continue
            index, side = missing[-1]
            for leg in reversed(options[index][side]):
                whole = load + loads[leg]
                others = divided.get((leg.trunk, leg.subunit), leg.of) != leg.of
                if not others and whole <= room and pieces[leg][0] >= first:
                    more = tuple((i, s) for i in pieces[leg] for s in (0, 1) if leg not in options[i][s])
                    stack.append(((*legs, leg), whole, missing[:-1] + more))
    return found


def _is_there(options: Iterable[Leg], legs: Bunch) -> bool:
    return any(leg in legs for leg in options)
