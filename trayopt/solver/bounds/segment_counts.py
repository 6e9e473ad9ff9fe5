"""Where blocks lie: how many splices of each lie at each tray place, and not which.

A block is a run of splices between two subunits (``rings.Block``). Legs of one division are alike inside it, so the whole
model finds many plans that differ in nothing but names; here they are one. It is a relaxation, because each plan gives these
choices:

* Legs are whole, so a tray holds whole *segments* of a block: what lies between two edges of legs that both sides share. A leg
  that reaches over several blocks brings its part of each to one tray.
* Along a subunit that keeps together, each block goes from a first to a last position of one stack with something at each,
  and the next one begins where it ends, or one higher; blocks of which nothing is placed are passed over.

What is left out is the order of legs inside a block where no subunit of it keeps together, and so all that crosses.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from functools import cached_property
from itertools import combinations, pairwise
from math import gcd
from typing import Any

from ortools.sat.python import cp_model

from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.finding import Group
from trayopt.domain.hardware import Place
from trayopt.rules.subunit_together import SubunitTogether
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.rings import blocks_of
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.literals import OnStack, total
from trayopt.solver.model.model import Divisions, Key, Model
from trayopt.solver.model.posting import Policy

MOST_COUNTS = 6_000
"""Of more blocks, and legs over several blocks, times places than this no model is made."""


class SegmentCounts(Model):
    """The blocks of a job at tray places, bound by nothing but what legs and subunits are.

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
            key: sorted((i for i, block in enumerate(self.blocks) if key in block.keys), key=self._first_along(key))
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
        one, other = (self._by_edges(i, key) for key in self.blocks[i].keys)
        return gcd(*(edge for a in one for b in other for edge in a & b))

    def _keeps_together(self, subunit: Subunit) -> Any:
        """Whether a subunit keeps together."""
        mode = self.policy.mode(self.job, SubunitTogether())
        if self.job.trunk_by_id[subunit.trunk].divide_at == "tray" or mode == "hard":
            return 1
        if mode == "free":
            return 0
        parted = self.let_go[Group(SubunitTogether.id, subunit.name)] = self.literal(f"{subunit.name} parted")
        return self.no(parted)

    def _tied(self, i: int) -> Any:
        """Whether a subunit keeps a block together."""
        return self._make(("tied", i), lambda: self.any_of(*(self._together[key] for key in self.blocks[i].keys)))

    def _count(self) -> None:
        """Make the number of units of each block at each place, and whether it lies there at all."""
        self._number: list[dict[Place, Any]] = []
        self._lies: list[dict[Place, Any]] = []
        self._out: list[Any] = []
        self._gone: list[Any] = []
        for block, unit in zip(self.blocks, self.units, strict=True):
            units = block.splices // unit
            row = {place: self.number(units, f"{block} at {place}", (block, place)) for place in self.places}
            out = 0 if self.all_placed else self.number(units, f"{block} outside")
            self.require(total(row.values()) + out == units)
            self._number.append(row)
            self._out.append(out)
            self._lies.append(
                {place: self.positive(("lies", block, place), row[place], units) for place in self.places}
            )
            self._gone.append(0 if self.all_placed else self.no(self.any_of(*self._lies[-1].values())))

    def _cut(self, i: int) -> None:
        """Let a tray hold whole segments of a block: what lies between two edges that both sides share.

        Where a subunit of the block keeps together, the segments lie in order, so what lies up to a position ends at an edge.
        """
        unit = self.units[i]
        one, other = (self._by_edges(i, key) for key in self.blocks[i].keys)
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
        on = {stack.id: self.literal(f"{block} on {stack.id}", (block, OnStack(stack.id))) for stack in self.stacks}
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

    # -- what is known of legs and divisions ------------------------------------------------------------------------

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
            found = {place: self.literal(f"{leg} at {place}", (leg, place)) for place in self.places}
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
