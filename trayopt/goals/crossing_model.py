"""Crossings for the solver: lows as step literals, and one literal a pair that crosses."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

from trayopt.domain.base import DivideAt
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.hardware import Place
from trayopt.rules.encoding import legs_in, only_where
from trayopt.rules.subunit_together import SubunitTogether

if TYPE_CHECKING:
    from trayopt.rules.variables import Expression, Literal, Variables


Lows = tuple[int, ...]


class Strand(NamedTuple):
    """Legs with one low: an own tube, legs of a subunit that lie together, or one leg. ``up_to[p - 1]``: low is at most p.

    ``bearers`` are the legs that the low may be the position of, where every splice is placed. ``one`` tells that the legs are
    one traveller, however many they are.
    """

    subunit: Subunit
    legs: tuple[Leg, ...]
    up_to: list[Literal]
    bearers: tuple[Leg, ...]
    one: bool

    @property
    def lows(self) -> Lows:
        """Name the low by its literals: strands with the same name have the same low; empty where it is settled."""
        return tuple(-1 - literal if isinstance(literal, int) else literal.index for literal in self.up_to[:-1])


def crossings(x: Variables) -> Expression:
    """Sum the crossing pairs of travellers of every trunk.

    Two trunks often see the same two strands: joined subunits that share all their trays. One literal then serves both, and
    where they see them in opposite orders, one of the two crosses unless the strands have the same low (``_oppose``). Where it
    is open at which place a trunk is divided, its travellers at either place are counted, and bound only if it is that place.
    """
    deepest = max(stack.positions for stack in x.job.enclosure.stacks)
    known: dict[tuple[Lows, Lows], Literal] = {}
    times: Counter[tuple[Lows, Lows]] = Counter()
    bearers: dict[Lows, tuple[Leg, ...]] = {}
    weights: list[int] = []
    parts: list[Expression] = []
    for trunk in x.job.trunks:
        for at in x.divide_options(trunk):
            when = only_where(x, trunk, at)
            shared = x.all_placed and not when
            strands = [
                strand
                for subunit in trunk.subunits
                if x.divisions(subunit)
                for strand in _strands(x, subunit, at, range(1, deepest + 1))
            ]
            if shared:
                bearers |= {strand.lows: strand.bearers for strand in strands if not _placed(x, strand)}
            for before, after in combinations(strands, 2):
                key = (before.lows, after.lows)
                if shared and before.lows and key in known:
                    crosses = known[key]
                else:
                    crosses = _crosses(x, before, after, when)
                    if shared:
                        known.setdefault(key, crosses)
                parts.append(_pair(x, before, after, crosses))
                if shared and all(key):
                    times[key] += 1
                    weights.append(_fewest(x, before) * _fewest(x, after))
    if x.all_placed:
        seen = {key: (literal, times[key]) for key, literal in known.items() if all(key)}
        _oppose(x, seen, bearers, min(weights, default=0))
    return sum(parts)


def _oppose(
    x: Variables,
    seen: Mapping[tuple[Lows, Lows], tuple[Literal, int]],
    bearers: Mapping[Lows, Sequence[Leg]],
    weight: int,
) -> None:
    """Bind pairs of strands that are seen in both orders, and tell the model which orders trunks see.

    Of such a pair at most one order crosses, and one does unless both have the same low or one is not placed. ``bearers``
    are those of the strands that always are.
    """
    for one, other in seen:
        if one < other and (other, one) in seen:
            x.require(seen[one, other][0] + seen[other, one][0] <= 1)
    certain = {key: found for key, found in seen.items() if key[0] != key[1] and all(lows in bearers for lows in key)}
    strands = sorted({lows for key in certain for lows in key})
    number = {lows: i for i, lows in enumerate(strands)}
    orders = {(number[one], number[other]): found for (one, other), found in certain.items()}
    x.opposed(orders, [bearers[lows] for lows in strands], weight)


def _fewest(x: Variables, strand: Strand) -> int:
    """Count the travellers of a strand at the open division of fewest legs; a leg with a low of its own is one."""
    return 1 if strand.one or len(strand.legs) == 1 else min(size for _, size in _sizes(x, strand))


def _strands(x: Variables, subunit: Subunit, at: DivideAt, positions: range) -> list[Strand]:
    """Cut a subunit into strands, for a trunk that is divided at the tray or at the port.

    At the tray the positions of a subunit's legs do not fall and each takes over the low of the one before, so all have the low
    of the first, which is the least; the same holds at the port wherever the model keeps the subunit together.
    """
    divisions = x.divisions(subunit)
    if at == "port" and not x.keeps(SubunitTogether.id):
        return [strand for of in divisions for strand in _leg_strands(x, subunit, of, positions)]
    of_each = [legs_in(x, subunit, of, at) for of in divisions]
    legs = tuple(leg for found in of_each for leg in found)
    if x.all_placed:
        firsts = tuple(found[0] for found in of_each)
        up_to = [x.one_of(*(x.position_up_to(leg, p) for leg in firsts)) for p in positions]
        return [Strand(subunit, legs, up_to, firsts, at == "tray")]
    up_to = [x.any_of(*(x.position_up_to(leg, p) for leg in legs)) for p in positions]
    return [Strand(subunit, legs, up_to, legs, at == "tray")]


def _leg_strands(x: Variables, subunit: Subunit, of: int, positions: range) -> list[Strand]:
    """Return each leg its own low: that of the placed leg before it where it follows that one, else its position."""
    made: list[Strand] = []
    legs = legs_in(x, subunit, of, "port")
    for i, leg in enumerate(legs):
        own = [x.position_up_to(leg, p) for p in positions]
        earlier = range(i - 1, i) if x.all_placed and i else range(i)
        follows = {j: _follows(x, legs[j], leg, legs[j + 1 : i]) for j in earlier}
        if not follows:
            made.append(Strand(subunit, (leg,), own, (leg,), True))
            continue
        up_to = [x.literal(f"low of {leg} up to {p}") for p in positions]
        alone = x.no(x.any_of(*follows.values()))
        for j, literal in follows.items():
            for here, there in zip(up_to, made[j].up_to, strict=True):
                x.require(here - there == 0, literal)
        for here, there in zip(up_to, own, strict=True):
            x.require(here - there == 0, alone)
        made.append(Strand(subunit, (leg,), up_to, tuple(legs[: i + 1]), True))
    return made


def _follows(x: Variables, before: Leg, leg: Leg, between: Sequence[Leg]) -> Literal:
    """Whether a placed leg lies where the placed leg before it lies or one position higher, none placed between them."""
    places = x.job.enclosure.places
    known = set(places)
    follows = x.literal(f"{leg} follows {before}")
    for other in between:
        x.require(follows + x.placed(other) <= 1)
    x.require(follows <= x.placed(before))
    x.require(follows <= x.placed(leg))
    free = sum(x.placed(other) for other in between)
    for place in places:
        up = Place(place.stack, place.position + 1)
        near = [x.at(leg, place), *([x.at(leg, up)] if up in known else [])]
        x.require(x.at(before, place) + follows <= 1 + sum(near))
        for literal in near:
            x.require(x.at(before, place) + literal <= 1 + follows + free)
    return follows


def _crosses(x: Variables, before: Strand, after: Strand, when: Sequence[Literal]) -> Literal:
    """Whether the low of the first strand is above that of the second, if ``when`` holds; may be true where it is not."""
    crosses = x.literal(f"{before.legs[0]} over {after.legs[0]}")
    outside = [x.no(literal) for literal in (*_placed(x, before), *when)]
    for here, there in zip(before.up_to, after.up_to, strict=True):
        x.clause(x.no(there), here, crosses, *outside)
    return crosses


def _pair(x: Variables, before: Strand, after: Strand, crosses: Literal) -> Expression:
    """Count the crossing pairs of travellers between two strands: all of them cross, or none."""
    if all(strand.one or len(strand.legs) == 1 for strand in (before, after)):
        return crosses
    if x.all_placed:
        options = [
            (n * m, x.both(x.divided(before.subunit, k), x.divided(after.subunit, j)))
            for k, n in _sizes(x, before)
            for j, m in _sizes(x, after)
        ]
        least = min(product for product, _ in options)
        number = least * crosses
        if len(options) > 1:
            more = x.number(max(product for product, _ in options) - least, "more crossings")
            for product, literal in options:
                if product > least:
                    x.require(more >= (product - least) * crosses, literal)
            number = number + more
        return number
    pairs = []
    for g in before.legs:
        for h in after.legs:
            pair = x.literal(f"{g} over {h}")
            x.require(crosses + x.placed(g) + x.placed(h) <= 2 + pair)
            pairs.append(pair)
    return sum(pairs)


def _placed(x: Variables, strand: Strand) -> list[Literal]:
    """Literals under which a strand is in the box, 0 where it never is; none where it always is."""
    if len(strand.legs) > 1 and x.all_placed:
        return []
    literal = x.any_of(*(x.placed(leg) for leg in strand.legs))
    return [] if isinstance(literal, int) and literal else [literal]


def _sizes(x: Variables, strand: Strand) -> list[tuple[int, int]]:
    """Every open k of a strand of legs that lie together, with its number of legs."""
    return [(of, len(legs_in(x, strand.subunit, of, "port"))) for of in x.divisions(strand.subunit)]
