"""Rows of rings: legs whose order, by the tubes of both sides of a join, keeps them in one tray, which may be too small."""

from __future__ import annotations

from itertools import combinations, product

from trayopt.certificate.places import Placed
from trayopt.domain.cablework import Leg, Subunit


def close_rings(x: Placed) -> None:
    """Add the rows of two joined subunits that cannot both be opened at the tray.

    The legs of an opened tube all lie in trays of one stack, each level with the leg before it or further outward. If one
    tube brings a leg before another, and the tube on the other side brings their partners in the opposite order, all four lie
    in one tray, with everything between them.
    """
    room = max(map(x.fill, x.places))
    by_key = {(s.trunk, s.number): s for s in x.spliced}
    joined = {
        tuple(
            (side.trunk, x.job.trunk_by_id[side.trunk].subunit_of(side.first).number) for side in (piece.a, piece.b)
        ): None
        for piece in x.job.pieces
    }
    for a, b in joined:
        one, other = by_key[a], by_key[b]
        for k, of in product(x.parked.get(a, ()), x.parked.get(b, ())):
            placed = [x.placed(x.job.spliced_legs(s, n)[0]) for s, n in ((one, k), (other, of))]
            if all(placed) and _greatest_ring(x, one, k, other, of) > room:
                at_port = [(-1, x.port[a[0]]), (-1, x.port[b[0]])]
                x.row(f"{one.name} in {k} with {other.name} in {of}", [*placed[0], *placed[1], *at_port], 1)


def _greatest_ring(x: Placed, one: Subunit, k: int, other: Subunit, of: int) -> int:
    """Return the most fibre ends of legs of two opened subunits that the order of both keeps in one tray."""
    group: dict[Leg, int] = {leg: i for i, leg in enumerate((*one.legs(k), *other.legs(of)))}

    def merge(legs: set[Leg]) -> bool:
        wanted = {group[leg] for leg in legs}
        for leg in group:
            if group[leg] in wanted:
                group[leg] = min(wanted)
        return len(wanted) > 1

    sides = {(one.trunk, one.number): (one, k), (other.trunk, other.number): (other, of)}
    for piece in x.job.pieces:
        legs = {
            s.leg_of_fibre(side.first, n) for side in (piece.a, piece.b) for key, (s, n) in sides.items()
            if key == (side.trunk, x.job.trunk_by_id[side.trunk].subunit_of(side.first).number)
        }  # fmt: skip
        if len(legs) == 2:
            merge(legs)
    orders = (one.legs(k), other.legs(of))
    again = True
    while again:
        again = False
        for tube in orders:
            for first, last in combinations(range(len(tube)), 2):
                if group[tube[first]] == group[tube[last]]:
                    again |= merge(set(tube[first : last + 1]))
        before = [{(group[g], group[h]) for g, h in combinations(legs, 2) if group[g] != group[h]} for legs in orders]
        for g, h in before[0]:
            if (h, g) in before[1]:
                again |= merge({leg for leg, at in group.items() if at in {g, h}})
    size = {leg: s.fibres // n for s, n in ((one, k), (other, of)) for leg in s.legs(n)}
    return max(sum(size[leg] for leg, at in group.items() if at == ring) for ring in set(group.values()))
