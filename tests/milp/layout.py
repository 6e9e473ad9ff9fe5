"""What a plan decides, as numbers: divisions, places, ways, ends, where trunks are divided; and what follows for each subunit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from itertools import combinations
from typing import NamedTuple

from tests import oracle
from tests.milp.program import Program, Sum, total
from tests.oracle import Facts, Option, Place

Unit = tuple[str, int]  # trunk, subunit from 1


class Cut(NamedTuple):
    """A leg of one of the divisions that a subunit may have."""

    trunk: str
    subunit: int
    group: int
    of: int

    @property
    def unit(self) -> Unit:
        """The subunit that it is a leg of."""
        return self.trunk, self.subunit


class Layout(Program):
    """The rows of all that every plan has, rules at a level left out."""

    def __init__(self, facts: Facts) -> None:
        super().__init__()
        self.facts = facts
        self.units = [(t, s) for t, some in facts.subunits.items() for s in range(1, len(some) + 1)]
        self.spliced = [(t, s) for t, s in self.units if facts.spliced[t][s - 1]]
        self.legs: dict[Unit, dict[int, list[Cut]]] = {
            (t, s): {
                k: [Cut(t, s, g, k) for g in range(1, k + 1)] for k in oracle.divisors(facts.subunits[t][s - 1].ribbons)
            }
            for t, s in self.spliced
        }
        self._places()
        self._ways()
        self._division()
        self._splices()
        self._measure()
        for unit in self.spliced:
            self._follow(unit)

    # -- words -------------------------------------------------------------------------------------------------------

    def cuts(self, trunk: str | None = None, unit: Unit | None = None) -> Iterator[Cut]:
        """Give the legs of all divisions of all subunits, of those of a trunk, or of one."""
        for key, by_k in self.legs.items():
            if (trunk is None or key[0] == trunk) and (unit is None or key == unit):
                for legs in by_k.values():
                    yield from legs

    def fibres(self, cut: Cut) -> range:
        """Fibres of a leg."""
        first, last = self.facts.leg_fibres((cut.trunk, cut.subunit, cut.group), cut.of)
        return range(first, last + 1)

    def has_splice(self, cut: Cut) -> bool:
        """Whether a fibre of a leg is spliced."""
        return any((cut.trunk, f) in self.facts.partner for f in self.fibres(cut))

    def on(self, cut: Cut, stack: str) -> Sum:
        """Whether a leg lies on a stack."""
        return total(self.at[cut, place] for place in self.facts.places if place[0] == stack)

    def by(self, trunk: str, **wanted: object) -> Sum:
        """Whether a trunk goes by a port, a travel, loops."""
        return total(
            choice
            for (t, option), choice in self.way.items()
            if t == trunk
            and all(dict(zip(("port", "travel", "loops"), option, strict=True))[k] == v for k, v in wanted.items())
        )

    def options(self, trunk: str) -> list[Option]:
        """Ports, travels and loops that a trunk may have."""
        return [option for t, option in self.way if t == trunk]

    # -- places, ways, divisions -------------------------------------------------------------------------------------

    def _places(self) -> None:
        """One division a subunit; a leg of it is in one tray or in none; a tray is used where a leg is."""
        self.k = {(unit, k): self.choice() for unit in self.spliced for k in self.legs[unit]}
        self.at = {(cut, place): self.choice() for cut in self.cuts() for place in self.facts.places}
        self.placed = {cut: total(self.at[cut, place] for place in self.facts.places) for cut in self.cuts()}
        for unit in self.spliced:
            self.equal(total(self.k[unit, k] for k in self.legs[unit]), 1)
            for cut in self.cuts(unit=unit):
                self.at_most(self.placed[cut], self.k[unit, cut.of])
        self.used = {place: self.choice() for place in self.facts.places}
        for place, used in self.used.items():
            here = [self.at[cut, place] for cut in self.cuts()]
            self.at_most(used, total(here))
            for leg in here:
                self.at_most(leg, used)
        self.divided: dict[tuple[Unit, int], Sum] = {}
        """Whether a subunit is divided by k and has a placed leg."""
        self.laid: dict[Unit, Sum] = {}
        """Whether a subunit has a placed leg."""
        for unit in self.spliced:
            for k, legs in self.legs[unit].items():
                some = self.divided[unit, k] = self.choice()
                self.at_most(some, total(self.placed[cut] for cut in legs))
                for cut in legs:
                    self.at_most(self.placed[cut], some)
                self.at_most(some, self.k[unit, k])
            self.laid[unit] = total(self.divided[unit, k] for k in self.legs[unit])

    def _ways(self) -> None:
        """Put a trunk with a placed leg in the box, with its other end where it goes through, by one of its own ways."""
        facts = self.facts
        self.inside = {t: self.choice() for t in facts.trunks}
        self.way: dict[tuple[str, Option], Sum] = {}
        for t, inside in self.inside.items():
            both = {t, facts.other_end.get(t)}
            units = [self.laid[unit] for unit in self.spliced if unit[0] in both]
            self.at_most(inside, total(units))
            for laid in units:
                self.at_most(laid, inside)
            for port in facts.own_ports(t):
                for travel in facts.own_travel(t):
                    for loops in facts.own_loops(t):
                        self.way[t, (port, travel, loops)] = self.choice()
            self.equal(total(self.way[t, option] for option in self.options(t)), inside)
        self.end = {(stack, end): self.choice() for stack, ends in facts.ends.items() for end in ends}
        for stack in facts.ends:
            self.equal(total(choice for (s, _), choice in self.end.items() if s == stack), 1)

    def _division(self) -> None:
        """Where a trunk is divided; what is opened at the tray is placed whole, and idle legs go nowhere else."""
        facts = self.facts
        self.at_port: dict[str, Sum] = {}
        self.own: dict[Unit, Sum] = {}
        """Whether a subunit's own tube travels for its legs."""
        for t in facts.trunks:
            may = facts.divisions(t)
            port = self.at_port[t] = self.number(int("port" in may), int("tray" not in may), whole=True)
            if "tray" in may:
                parts = (self.divided[unit, k] for unit, k in self.divided if unit[0] == t and k > 1)
                self.at_most(port, total(parts))
        self.opened: dict[tuple[Unit, int], Sum] = {}
        for unit in self.spliced:
            t = unit[0]
            own = self.own[unit] = self.number(int(facts.has_tubes(t)), whole=True)
            for k, legs in self.legs[unit].items():
                divided, port = self.divided[unit, k], self.at_port[t]
                opened = self.opened[unit, k] = self.exactly(divided, 1 - port) if k > 1 else Sum()
                for cut in legs:
                    self.at_most(opened, self.placed[cut])
                    if not self.has_splice(cut):
                        self.at_most(self.placed[cut], opened)
                at_tray: Sum = 1 - port if k > 1 else Sum(constant=1)
                if facts.has_tubes(t):
                    self.implies(own, self.k[unit, k], at_tray)
                    self.at_most(own, at_tray + (1 - self.k[unit, k]))

    def _splices(self) -> None:
        """Both legs of a splice lie in one tray or neither in any."""
        facts = self.facts
        self.atoms: Counter[tuple[tuple[Cut, ...], tuple[Cut, ...], int]] = Counter()
        """How many splices have the same legs in every division, and one join."""
        for splice in facts.splices:
            sides = []
            for t, fibre in ((splice.a, splice.a_fibre), (splice.b, splice.b_fibre)):
                sides.append(self.holders(t, fibre))
            self.atoms[sides[0], sides[1], splice.join] += 1
        for one, other, _ in self.atoms:
            for place in facts.places:
                self.equal(total(self.at[cut, place] for cut in one), total(self.at[cut, place] for cut in other))

    def holders(self, trunk: str, fibre: int) -> tuple[Cut, ...]:
        """Legs that a fibre is in, one for each division."""
        unit = trunk, self.facts.subunit_of[trunk, fibre]
        return tuple(cut for cut in self.cuts(unit=unit) if fibre in self.fibres(cut))

    def _measure(self) -> None:
        """Let a placed leg go to its place by its trunk's way and its stack's end."""
        facts = self.facts
        self.goes: dict[tuple[Cut, Place, Option, str], Sum] = {}
        for cut in self.cuts():
            for place in facts.places:
                ends = facts.ends[place[0]]
                shares = {(o, e): self.number() for o in self.options(cut.trunk) for e in ends}
                self.goes |= {(cut, place, o, e): share for (o, e), share in shares.items()}
                self.equal(total(shares.values()), self.at[cut, place])
                for option in self.options(cut.trunk):
                    self.at_most(total(shares[option, e] for e in ends), self.way[cut.trunk, option])
                for end in ends:
                    some = total(shares[o, end] for o in self.options(cut.trunk))
                    self.at_most(some, self.end[place[0], end])

    # -- legs of a subunit -------------------------------------------------------------------------------------------

    def _follow(self, unit: Unit) -> None:
        """Which legs of a subunit follow each other, which is the first, and the low of each."""
        if not hasattr(self, "first"):
            self.first: dict[tuple[Unit, str], Sum] = {}
            self.first_spliced: dict[tuple[Unit, str], Sum] = {}
            self.low: dict[tuple[Cut, int], Sum] = {}
            self.torn: dict[Unit, list[Sum]] = {}
        self.torn[unit] = []
        for k, legs in self.legs[unit].items():
            joined: dict[Cut, list[tuple[Cut, Sum]]] = {cut: [] for cut in legs}
            for one, other in combinations(legs, 2):
                between = [1 - self.placed[cut] for cut in legs[one.group : other.group - 1]]
                follows = self.exactly(self.placed[one], self.placed[other], *between)
                near = self._adjacent(one, other, follows)
                joined[other].append((one, near))
                self.torn[unit].append(follows - near)
                self.at_most(follows - near, self.at_port[unit[0]])
            for cut in legs:
                self._lower(cut, joined[cut])
            assert k == len(legs)
        self._begin(unit, self.first, list(self.cuts(unit=unit)))
        self._begin(unit, self.first_spliced, [cut for cut in self.cuts(unit=unit) if self.has_splice(cut)])

    def _adjacent(self, one: Cut, other: Cut, follows: Sum) -> Sum:
        """Whether a leg lies where the one before it lies, or one higher on its stack."""
        near = self.choice()
        self.at_most(near, follows)
        for place in self.facts.places:
            after = [(place[0], place[1] + up) for up in (0, 1)]
            there = total(self.at[other, p] for p in after if p in self.used)
            self.implies(there, near, self.at[one, place])
            self.implies(near, follows, self.at[one, place], there)
        return near

    def _lower(self, cut: Cut, joined: Iterable[tuple[Cut, Sum]]) -> None:
        """Low of a leg: its position, or the low of the leg before it where it lies on that or beside it."""
        joined = list(joined)
        taken = total(near for _, near in joined)
        for position in {p for _, p in self.facts.places}:
            own = total(self.at[cut, place] for place in self.facts.places if place[1] == position)
            low = self.low[cut, position] = self.number() if joined else own
            if joined:
                self.at_most(low - own, taken)
                self.at_most(own - low, taken)
            for before, near in joined:
                self.at_most(low - self.low[before, position], 1 - near)
                self.at_most(self.low[before, position] - low, 1 - near)

    def _begin(self, unit: Unit, found: dict[tuple[Unit, str], Sum], legs: list[Cut]) -> None:
        """On which stack the first placed of some legs lies; one of them is placed where any leg of the subunit is."""
        for stack in self.facts.stacks:
            found[unit, stack] = self.number()
        self.equal(total(found[unit, stack] for stack in self.facts.stacks), self.laid[unit])
        for cut in legs:
            before = [1 - self.placed[o] for o in legs if o.of == cut.of and o.group < cut.group]
            for stack in self.facts.stacks:
                self.implies(found[unit, stack], self.on(cut, stack), *before)
