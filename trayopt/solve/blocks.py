"""Blocks at tray places: how many splices of each block lie at each place, and not which.

A block is a run of splices between two subunits (``rings.Block``). Legs of one division are alike inside it, so the whole
model finds many plans that differ in nothing but names; here they are one. It is a relaxation, because each plan gives these
choices:

* Legs are whole, so a tray holds whole *segments* of a block: what lies between two edges of legs that both sides share. A leg
  that reaches over several blocks brings its part of each to one tray.
* Along a subunit that keeps together, each block goes from a first to a last position of one stack with something at each,
  and the next one begins where it ends, or one higher; blocks of which nothing is placed are passed over.
* Rules bind at places and ways as they do there, as far as they ask for nothing but splices, legs by number and ways.

What is left out is the order of legs inside a block where no subunit of it keeps together, and so all that crosses.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from functools import cached_property
from itertools import combinations, pairwise
from math import gcd
from typing import Any

from ortools.sat.python import cp_model

from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.finding import Group
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job, Trunk
from trayopt.rules.registry import BY_ID
from trayopt.solve.alike import alike
from trayopt.solve.build import Policy, Poster
from trayopt.solve.crowded import Burden, crowd
from trayopt.solve.divide import Divider
from trayopt.solve.literals import total
from trayopt.solve.model import Divisions, Key, Model
from trayopt.solve.rings import Block, blocks_of
from trayopt.solve.shelves import area_in_box, most_area
from trayopt.solve.stop import Clock

RULES: tuple[str, ...] = (
    "tray_fibres", "tray_sleeves", "reach", "exposed", "port_seal", "base_outward", "slack_loops", "pin",
    "opposite_travel", "alternate_stacks", "natural_travel", "same_division", "tray_pair", "reserve", "port_fill",
)  # fmt: skip
"""Rules whose encoding asks for nothing that blocks cannot answer; ``subunit_together`` binds in the blocks themselves.

``guide_fill`` at must is taken in as the most cross-section that the ledger lets trunks bring, where every splice is placed: to
follow it to each stack makes the model much slower and bounds little more.
"""
MOST_COUNTS = 6_000
"""Of more blocks, and legs over several blocks, times places than this no model is made."""


class Blocks(Model):
    """The blocks of a job at tray places.

    Parameters
    ----------
    divisions
        Open k by (trunk, subunit), for every subunit with a spliced fibre.
    policy
        Which rules bind hard, which may be let go.
    all_placed
        Whether only plans that place every splice are wanted.
    clock
        Ends the making of the model.
    """

    swaps = True
    """Whether nothing is asked of these blocks that tells stacks apart which the rules do not."""

    def __init__(
        self, divider: Divider, divisions: Divisions, policy: Policy, *, all_placed: bool, clock: Clock
    ) -> None:
        job = divider.job
        super().__init__(job, all_placed=all_placed, divisions={}, bare=True, clock=clock)
        self.stacks = job.enclosure.stacks
        self.blocks = blocks_of(job)
        self.policy = policy
        self._of_key = {key: tuple(of) for key, of in divisions.items()}
        self._along: dict[Key, list[int]] = {
            key: sorted((i for i, block in enumerate(self.blocks) if key in keys_of(block)), key=self._first_along(key))
            for key in self._of_key
        }
        """Blocks of each subunit by index, in the order of its fibres."""
        self._parts = {
            leg: parts
            for key, open_ in self._of_key.items()
            for of in open_
            for leg in self.legs(job.subunit_of_leg[key], of)
            if len(parts := self.parts_of(leg)) > 1
        }
        """What legs over several blocks hold of each."""
        self.size = (len(self.blocks) + len(self._parts)) * len(self.places)
        """Number of counts at places; where it is above ``MOST_COUNTS``, nothing else is made."""
        if self.size > MOST_COUNTS:
            return
        self._divided = self._divide(divider)
        self.units = [self._unit(i) for i in range(len(self.blocks))]
        """Splices in one unit of each block: what lies in a tray is so many of them."""
        self._together = {key: self._keeps_together(job.subunit_of_leg[key]) for key in self._of_key}
        self._count()
        for i in range(len(self.blocks)):
            self._cut(i)
            self._bind(i)
        for key in self._of_key:
            self._follow(key)
        for leg in self._parts:
            self._at_places(leg)
        for rule in (BY_ID[name] for name in RULES):
            facts = frozenset(pin.subject for pin in job.pins if pin.built) if rule.id == "pin" else frozenset()
            if (mode := policy.mode(job, rule)) != "free" or facts:
                rule.encode(job, self, Poster(self, rule, mode, facts, policy.built))
        self.kept = {name for name in RULES if policy.mode(job, BY_ID[name]) == "hard"}
        crowd(self, self.kept, *self._burdens())
        if all_placed and policy.must == "hard" and job.rules["guide_fill"].level == "must":
            self._fill_guides(clock)
        if self.swaps:
            self._break_ties()

    # -- legs and blocks ---------------------------------------------------------------------------------------------

    def _divide(self, divider: Divider) -> dict[Key, dict[int, Any]]:
        """Make a literal for each open k; where every splice is placed, all holds that the division model knows."""
        if self.all_placed:
            divided = divider.post(self.cp, alike=False)
            for key, options in divided.items():
                self.require(total(x for of, x in options.items() if of not in self._of_key[key]) <= 0)
            return divided
        divided = {
            key: {of: self.literal(f"{key[0]}/{key[1]} in {of}") for of in of_} for key, of_ in self._of_key.items()
        }
        for options in divided.values():
            self.cp.add_exactly_one(list(options.values()))
        return divided

    def _first_along(self, key: Key) -> Callable[[int], int]:
        def first(index: int) -> int:
            return next(side[2] for side in self.blocks[index][:2] if side[:2] == key)

        return first

    def parts_of(self, leg: Leg) -> dict[int, int]:
        """Count the splices of each block that a leg holds."""
        first, last = self.job.subunit(leg).leg_run(leg)
        found = {}
        for i in self._along[leg.trunk, leg.subunit]:
            start = self._first_along((leg.trunk, leg.subunit))(i)
            splices = min(last, start + self.blocks[i].splices - 1) - max(first, start) + 1
            if splices > 0:
                found[i] = splices
        return found

    def _edges(self, i: int, key: Key, of: int) -> frozenset[int]:
        """Give where legs of a division end inside a block, in splices from its start, its own ends included."""
        subunit, size = self.job.subunit_of_leg[key], self.blocks[i].splices
        start = self._first_along(key)(i)
        ends = range(subunit.first, subunit.last + 1, subunit.fibres // of)
        return frozenset({0, size, *(end - start for end in ends if 0 < end - start < size)})

    def _by_edges(self, i: int, key: Key) -> dict[frozenset[int], Any]:
        """Tell for each cut that the division of one subunit may make of a block whether it does."""
        by_edges: dict[frozenset[int], list[int]] = defaultdict(list)
        for of in self._of_key[key]:
            by_edges[self._edges(i, key, of)].append(of)
        subunit = self.job.subunit_of_leg[key]
        return {edges: self.one_of(*(self.divided(subunit, of) for of in some)) for edges, some in by_edges.items()}

    def _unit(self, i: int) -> int:
        one, other = (self._by_edges(i, key) for key in keys_of(self.blocks[i]))
        return gcd(*(edge for a in one for b in other for edge in a & b))

    def _keeps_together(self, subunit: Subunit) -> Any:
        """Whether a subunit keeps together."""
        mode = self.policy.mode(self.job, BY_ID["subunit_together"])
        if self.job.trunk_by_id[subunit.trunk].divide_at == "tray" or mode == "hard":
            return 1
        if mode == "free":
            return 0
        parted = self.let_go[Group("subunit_together", subunit.name)] = self.literal(f"{subunit.name} parted")
        return self.no(parted)

    def _tied(self, i: int) -> Any:
        """Whether a subunit keeps a block together."""
        return self._make(("tied", i), lambda: self.any_of(*(self._together[key] for key in keys_of(self.blocks[i]))))

    def _count(self) -> None:
        """Make the number of units of each block at each place, and whether it lies there at all."""
        self._number: list[dict[Place, Any]] = []
        self._lies: list[dict[Place, Any]] = []
        self._out: list[Any] = []
        self._gone: list[Any] = []
        for block, unit in zip(self.blocks, self.units, strict=True):
            units = block.splices // unit
            row = {place: self.number(units, f"{block} at {place}") for place in self.places}
            out = 0 if self.all_placed else self.number(units, f"{block} outside")
            self.require(total(row.values()) + out == units)
            self._number.append(row)
            self._out.append(out)
            self._lies.append({place: self.positive((str(block), place), row[place], units) for place in self.places})
            self._gone.append(0 if self.all_placed else self.no(self.any_of(*self._lies[-1].values())))

    def _cut(self, i: int) -> None:
        """Let a tray hold whole segments of a block: what lies between two edges that both sides share.

        Where a subunit of the block keeps together, the segments lie in order, so what lies up to a position ends at an edge.
        """
        unit = self.units[i]
        one, other = (self._by_edges(i, key) for key in keys_of(self.blocks[i]))
        cuts = {(a, b): tuple(sorted(edge // unit for edge in a & b)) for a in one for b in other}
        for edges in dict.fromkeys(cuts.values()):
            segments = {after - before for before, after in pairwise(edges)}
            if segments == {1}:
                continue
            cut = 1 if len(set(cuts.values())) == 1 else self.literal(f"{self.blocks[i]} cut at {edges}")
            for (a, b), so in cuts.items():
                if so == edges:
                    self.clause(self.no(one[a]), self.no(other[b]), cut)
            self._lie_in(self._number[i].values(), _sums(edges), cut)
            if len(segments) > 1 and self.all_placed:
                self._lie_in(self._up_to(i), edges, cut, self._tied(i))

    def _lie_in(self, numbers: Iterable[Any], values: Iterable[int], *when: Any) -> None:
        """Let numbers be among some values, under literals."""
        if any(isinstance(literal, int) and not literal for literal in when):
            return
        domain = cp_model.Domain.from_values(sorted(values))
        for number in numbers:
            added = self.cp.add_linear_expression_in_domain(number, domain)
            added.only_enforce_if([literal for literal in when if not isinstance(literal, int)])

    def _up_to(self, i: int) -> list[Any]:
        """Units of a block up to each position on all stacks."""

        def make() -> list[Any]:
            found: list[Any] = []
            for p in range(1, self._deepest + 1):
                here = total(number for place, number in self._number[i].items() if place.position == p)
                number = self.number(self.blocks[i].splices // self.units[i], f"{self.blocks[i]} up to {p}")
                self.require(number == here + (found[-1] if found else 0))
                found.append(number)
            return found

        up_to: list[Any] = self._make(("up to", i), make)
        return up_to

    def _fill_guides(self, clock: Clock) -> None:
        """Let all tubes have no more cross-section together than the ledger finds ways for."""
        areas = [
            {of: area_in_box(self.job, subunit, of) for of in self.divisions(subunit)} for subunit in self.job.subunits
        ]
        if any(len(set(by_of.values())) > 1 for by_of in areas):
            brought = [
                area * self.divided(subunit, of)
                for subunit, by_of in zip(self.job.subunits, areas, strict=True)
                for of, area in by_of.items()
            ]
            most = most_area(self.job, clock)
            if most is not None:
                self.require(total(brought) <= most)

    # -- what keeps together -----------------------------------------------------------------------------------------

    @cached_property
    def _deepest(self) -> int:
        return max(stack.positions for stack in self.stacks)

    def _steps(self, name: str) -> list[Any]:
        """Make a literal a position, from 0 up, that holds from some position on and at the deepest."""
        return [0, *(self.literal(f"{name} {p}") for p in range(1, self._deepest)), 1]

    def _bind(self, i: int) -> None:
        """Give a block a stack, a first and a last position, which bind where a subunit of it keeps together."""
        block, gone = self.blocks[i], self._gone[i]
        free = self.no(self._tied(i))
        on = {stack.id: self.literal(f"{block} on {stack.id}") for stack in self.stacks}
        self.cp.add_exactly_one(list(on.values()))
        begun, ended = self._steps(f"{block} begun by"), self._steps(f"{block} ended by")
        for p in range(1, self._deepest + 1):
            self.clause(self.no(begun[p - 1]), begun[p])
            self.clause(self.no(ended[p - 1]), ended[p])
            self.clause(self.no(ended[p]), begun[p])
        for stack in self.stacks:
            elsewhere = self.no(on[stack.id])
            for p in range(1, stack.positions + 1):
                lies = self._lies[i][Place(stack.id, p)]
                for so in (on[stack.id], begun[p], self.no(ended[p - 1])):
                    self.clause(free, self.no(lies), so)
                self.clause(free, gone, elsewhere, self.no(begun[p]), ended[p - 1], lies)
            self.clause(free, gone, elsewhere, ended[stack.positions])
        self._made["block", i] = (on, begun, ended)

    def _follow(self, key: Key) -> None:
        """Let each block of a subunit that keeps together begin where the placed one before it ends, or one higher."""
        together, along = self._together[key], self._along[key]
        if isinstance(together, int) and not together:
            return
        for n, m in combinations(range(len(along)), 2):
            between = along[n + 1 : m]
            if between and self.all_placed:
                continue
            i, j = along[n], along[m]
            free = [self.no(together), self._gone[i], self._gone[j], *(self.no(self._gone[b]) for b in between)]
            on, _, ended = self._made["block", i]
            on_next, begun, _ = self._made["block", j]
            for stack in on:
                self.clause(*free, self.no(on[stack]), on_next[stack])
            for p in range(1, self._deepest + 1):
                self.clause(*free, self.no(begun[p]), ended[p])
                self.clause(*free, self.no(ended[p - 1]), begun[p])

    def _break_ties(self) -> None:
        """Let the first blocks on stacks that are alike come in the order of the stacks: nothing else tells these apart."""
        for group in alike(self, [stack.id for stack in self.stacks]):
            for before, stack in pairwise(group):
                for i in range(len(self.blocks)):
                    earlier = (self._made["block", j][0][before] for j in range(i))
                    self.clause(self.no(self._made["block", i][0][stack]), *earlier)

    # -- what rules and goals ask for --------------------------------------------------------------------------------

    def divisions(self, subunit: Subunit) -> tuple[int, ...]:
        """Every k that is open for a subunit."""
        return self._of_key.get((subunit.trunk, subunit.number), ())

    def divided(self, subunit: Subunit, of: int) -> Any:
        """Whether a subunit is divided by this k."""
        options = self._divided.get((subunit.trunk, subunit.number), {})
        return 1 if len(options) == 1 and of in options else options.get(of, 0)

    def legs(self, subunit: Subunit, of: int) -> tuple[Leg, ...]:
        """Every leg of a division that is not idle."""
        return self.job.spliced_legs(subunit, of)

    def at(self, leg: Leg, place: Place) -> Any:
        """Whether a leg is placed at a place: known of legs over several blocks, and of those that are asked for."""
        return self._at_places(leg)[place]

    def _at_places(self, leg: Leg) -> dict[Place, Any]:
        """Let a leg bring its part of each block to one place."""

        def make() -> dict[Place, Any]:
            subunit = self.job.subunit(leg)
            found = {place: self.literal(f"{leg} at {place}") for place in self.places}
            here, divided = total(found.values()), self.divided(subunit, leg.of)
            self.require(here == divided if self.all_placed else here <= divided)
            for i, part in self.parts_of(leg).items():
                for place, literal in found.items():
                    self.require(self.units[i] * self._number[i][place] >= part * literal)
                if not self.all_placed:
                    self.require(self.units[i] * self._out[i] >= part * (divided - here))
            return found

        found: dict[Place, Any] = self._make(("at", leg), make)
        return found

    def _where(self, name: tuple[Any, ...], blocks: Iterable[int], places: Iterable[Place]) -> Any:
        """Whether one of these blocks lies at one of these places."""
        return self._make(name, lambda: self.any_of(*(self._lies[i][place] for i in blocks for place in places)))

    def has_placed(self, subunit: Subunit) -> Any:
        """Whether a subunit has a placed leg."""
        along = self._along.get((subunit.trunk, subunit.number), [])
        return int(bool(along)) if self.all_placed else self.any_of(*(self.no(self._gone[i]) for i in along))

    def first_on(self, subunit: Subunit, stack: str) -> Any:
        """Whether the first placed leg of a subunit lies on this stack: one where its first placed block lies."""
        key = (subunit.trunk, subunit.number)

        def make() -> dict[str, Any]:
            found = {item.id: self.literal(f"{subunit.name} on {item.id}") for item in self.stacks}
            self.require(total(found.values()) == self.has_placed(subunit))
            along = self._along[key]
            for n, i in enumerate(along[:1] if self.all_placed else along):
                free = [self._gone[i], *(self.no(self._gone[b]) for b in along[:n])]
                for item, first in found.items():
                    here = [self._lies[i][place] for place in self.places if place.stack == item]
                    self.clause(*free, self.no(first), *here)
            return found

        return self._make(("first on", *key), make)[stack]

    def number_placed(self, subunit: Subunit, of: int) -> Any:
        """How many legs of a division are placed, as many as their splices ask for."""
        if self.all_placed:
            return len(self.legs(subunit, of)) * self.divided(subunit, of)
        return self._make(("numbers", subunit.trunk, subunit.number), lambda: self._numbers(subunit))[of]

    def _numbers(self, subunit: Subunit) -> dict[int, Any]:
        open_ = self.divisions(subunit)
        spliced = {of: [self.job.spliced_fibres(leg) for leg in self.legs(subunit, of)] for of in open_}
        found = {of: self.number(len(spliced[of]), f"{subunit.name} in {of}") for of in open_}
        for of in open_:
            self.require(found[of] <= len(spliced[of]) * self.divided(subunit, of))
        along = self._along[subunit.trunk, subunit.number]
        splices = total(self.blocks[i].splices - self.units[i] * self._out[i] for i in along)
        self.require(total(max(spliced[of]) * found[of] for of in open_) >= splices)
        self.require(total(min(spliced[of]) * found[of] for of in open_) <= splices)
        return found

    def _of_trunk(self, trunk: str) -> list[int]:
        return [i for i, block in enumerate(self.blocks) if trunk in {block.a[0], block.b[0]}]

    def in_box(self, trunk: Trunk) -> Any:
        """Whether a trunk has a placed leg."""
        mine = self._of_trunk(trunk.id)
        if self.all_placed or not mine:
            return int(bool(mine))
        return self._make(("in box", trunk.id), lambda: self.any_of(*(self.no(self._gone[i]) for i in mine)))

    def trunk_at(self, trunk: Trunk, place: Place) -> Any:
        """Whether a trunk has a leg at a place."""
        return self._where(("trunk at", trunk.id, place), self._of_trunk(trunk.id), [place])

    def pair_at(self, pair: tuple[str, str], place: Place) -> Any:
        """Whether splices of a pair of trunks lie at a place."""
        both = [i for i, block in enumerate(self.blocks) if {block.a[0], block.b[0]} == set(pair)]
        return self._where(("pair at", pair, place), both, [place])

    def used(self, place: Place) -> Any:
        """Whether a tray place is used."""
        return self._where(("used", place), range(len(self.blocks)), [place])

    def load2(self, place: Place) -> Any:
        """Twice the splices of a place; parked fibres are left out."""
        return total(2 * unit * row[place] for unit, row in zip(self.units, self._number, strict=True))

    def sleeves2(self, place: Place) -> Any:
        """Twice the sleeves of a place, where each unit of a block brings as many and all trays have sleeves of one size."""
        return total(2 * sleeves * row[place] for sleeves, row in zip(self._unit_sleeves, self._number, strict=True))

    def _burdens(self) -> tuple[Burden, Burden]:
        """Give what the units of all blocks bring, in fibres and in sleeves."""
        sleeves = [2 * number for number in self._unit_sleeves]
        brought = sum(
            n * block.splices // unit for n, block, unit in zip(sleeves, self.blocks, self.units, strict=True)
        )
        return Burden([2 * unit for unit in self.units], 2 * self.job.splices), Burden(sleeves, brought)

    @cached_property
    def _unit_sleeves(self) -> list[int]:
        """Sleeves of one unit of each block; 0 where its units differ or cut a run."""
        sizes = {stack.tray.sleeve_fibres for stack in self.stacks}
        if len(sizes) > 1:
            return [0] * len(self.blocks)
        runs = {(run[0].trunk, run[0].first): run for run in self.job.sleeve_runs}
        found = []
        for block, unit in zip(self.blocks, self.units, strict=True):
            brought = []
            for start in range(0, block.splices, unit):
                inside = (runs.get((block.a[0], block.a[2] + start + n)) for n in range(unit))
                here = [run for run in inside if run is not None]
                whole = sum(run.count for run in here) == unit
                brought.append(sum(run.sleeves(min(sizes)) for run in here) if whole else 0)
            found.append(min(brought))
        return found

    # -- goals -------------------------------------------------------------------------------------

    def unplaced(self) -> Any:
        """Splices without a tray."""
        return total(unit * out for unit, out in zip(self.units, self._out, strict=True))

    def placed_legs(self) -> Any:
        """Placed legs."""
        return total(self.number_placed(subunit, of) for subunit in self.job.subunits for of in self.divisions(subunit))

    @property
    def open(self) -> Divisions:
        """Every k that is open, by subunit."""
        return self._of_key

    @cached_property
    def splices(self) -> dict[tuple[int, Place], Any]:
        """Splices of each block at each place."""
        return {
            (i, place): self.units[i] * number for i, row in enumerate(self._number) for place, number in row.items()
        }


def _sums(edges: Sequence[int]) -> set[int]:
    """Give what some segments between edges can come to together."""
    sums = {0}
    for before, after in pairwise(edges):
        sums |= {known + after - before for known in sums}
    return sums


def chained(job: Job) -> bool:
    """Whether some block joins two subunits that both have other blocks.

    Where none does, the blocks of a job are as good as its bunches, and the whole model answers sooner (measured on 6,912 to 2 x
    3,456 fibres: least crossings in 11 s against 50 s).
    """
    blocks = blocks_of(job)
    number = Counter(key for block in blocks for key in keys_of(block))
    return any(all(number[key] > 1 for key in keys_of(block)) for block in blocks)


def keys_of(block: Block) -> tuple[Key, Key]:
    """Give the two subunits of a block."""
    return block.a[:2], block.b[:2]
