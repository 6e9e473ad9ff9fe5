"""Where stretches of fibres lie: how many fibres of each at each tray place, and not which.

Legs of one division are alike inside a stretch (``stretches.py``), so the whole model finds many plans that differ in nothing
but names; here they are one. It is a relaxation, because each plan gives these choices:

* Legs are whole, so a tray holds whole *segments* of a stretch: what lies between two edges of legs that all its sides share.
  A leg that reaches over several blocks brings its part of each to one tray.
* The stretches of a subunit follow each other without a fibre between them. Along a subunit that keeps together, each goes
  from a first to a last position of one stack with something at each, and the next one begins where it ends, or one higher;
  at the very place where a leg holds fibres of both. Stretches without a placed fibre are passed over.
* A subunit that is divided at the tray, or stays whole, is placed with all its fibres or not at all. Of one that is divided at
  the port, legs without a splice are in no tray.

What is left out is the order of legs inside a stretch where no subunit of it keeps together, and so all that crosses.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from functools import cached_property
from itertools import combinations, pairwise, product
from math import gcd

from trayopt.domain.cablework import Subunit
from trayopt.domain.finding import Group
from trayopt.domain.hardware import Place
from trayopt.domain.tied import tied
from trayopt.rules.subunit_together import SubunitTogether
from trayopt.rules.variables import Expression, Literal
from trayopt.solver.bounds.cuts import lie_in, shared_edges, sums
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.segment_legs import SegmentLegs
from trayopt.solver.bounds.spans import Span, follow, share_place, span_of
from trayopt.solver.bounds.stretches import Stretches
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import Divisions, Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.literals import is_false, total
from trayopt.solver.model.posting import Policy
from trayopt.solver.model.ways import Partings

MOST_COUNTS = 6_000
"""Of more stretches, and legs over several blocks, times places than this no model is made."""


class SegmentCounts(SegmentLegs):
    """The stretches of a job at tray places, bound by nothing but what legs and subunits are.

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
    divide_at
        Where trunks may be divided, by trunk; for one that is missing its own list.
    """

    def __init__(
        self,
        divider: Divider,
        divisions: Divisions,
        policy: Policy,
        *,
        all_placed: bool,
        clock: Clock,
        divide_at: Partings | None = None,
    ) -> None:
        job = divider.job
        super().__init__(job, divide_at=divide_at, all_placed=all_placed, clock=clock)
        self.stacks = job.enclosure.stacks
        self.stretches = Stretches(job, divisions)
        self.blocks = self.stretches.found
        """Blocks, then gaps."""
        self.policy = policy
        self._of_key = self.stretches.open
        self._along = self.stretches.along
        self._parts = {
            leg: self.stretches.parts_of(leg)
            for key, open_ in self._of_key.items()
            for of in open_
            for leg in job.spliced_legs(job.subunit_of_leg[key], of)
            if self._followed(leg)
        }
        """The fibres of each stretch that legs over several blocks hold; in subunits that may be parted, over a gap too."""
        self.size = (len(self.blocks) + len(self._parts)) * len(self.places)
        """Number of counts at places; where it is above ``MOST_COUNTS``, nothing else is made."""
        if self.size > MOST_COUNTS:
            return
        self._divided = self._divide(divider if divide_at is None else divider.narrowed({}, divide_at))
        self.units = [self._unit(i) for i in range(len(self.blocks))]
        """Fibres of either side in a unit of each stretch: a tray holds a whole number of units."""
        self._together = {key: self._keeps_together(job.subunit_of_leg[key]) for key in self._of_key}
        self._out_of_box = self._outside()
        self._count()
        self.spans: list[Span] = []
        """The span of each stretch; it binds where a subunit of the stretch keeps together."""
        for i in range(len(self.blocks)):
            self._cut(i)
            self.spans.append(self._span(i))
        for key in self._of_key:
            self._whole(key)
            self._leave_out(divider, key)
            self._follow(key)
        for leg in self._parts:
            self._at_places(leg)
        self.furnish(clock)

    def furnish(self, clock: Clock) -> None:
        """Make what stands on the counts, once they are made: what rules and goals ask for."""

    # -- legs and stretches ------------------------------------------------------------------------------------------

    def _divide(self, divider: Divider) -> dict[Key, dict[int, cp_sat.IntVar]]:
        """Make a literal for each open k; where every splice is placed, all holds that the division model knows."""
        if self.all_placed:
            divided = divider.post(self.cp, alike=False)
            for key, options in divided.items():
                self.require(total(x for of, x in options.items() if of not in self._of_key[key]) <= 0)
                for of, x in options.items():
                    self._part_where(key, x, divider.where(key, of))
        else:
            divided = {
                key: {of: self.literal(f"{key[0]}/{key[1]} in {of}") for of in of_} for key, of_ in self._of_key.items()
            }
            for options in divided.values():
                self.cp.add_exactly_one(list(options.values()))
        for trunk in self.job.trunks:
            if len(self.divide_options(trunk)) > 1:
                whole = [options.get(1, 0) for key, options in divided.items() if key[0] == trunk.id]
                self.clause(self.divided_at(trunk, "tray"), *(self.no(literal) for literal in whole))
        return divided

    def _part_where(self, key: Key, divided: Literal, where: Sequence[str]) -> None:
        """Divide a trunk where a division of one of its subunits is of use."""
        trunk = self.job.trunk_by_id[key[0]]
        for at in self.divide_options(trunk):
            if at not in where:
                self.clause(self.no(divided), self.no(self.divided_at(trunk, at)))

    def _by_edges(self, i: int, key: Key) -> dict[frozenset[int], Literal]:
        """Make a literal for each cut that the division of a subunit may make in a stretch."""
        by_edges: dict[frozenset[int], list[int]] = defaultdict(list)
        for of in self._of_key[key]:
            by_edges[self.stretches.edges(i, key, of)].append(of)
        subunit = self.job.subunit_of_leg[key]
        return {edges: self.one_of(*(self.divided(subunit, of) for of in some)) for edges, some in by_edges.items()}

    def _cuts(self, i: int) -> dict[tuple[int, ...], list[tuple[Literal, ...]]]:
        """Return the edges that all sides of a stretch may share, and the literals of the cuts that make them."""
        return shared_edges(self.blocks[i].fibres, (self._by_edges(i, key) for key in self.blocks[i].keys))

    def _unit(self, i: int) -> int:
        return gcd(*(edge for edges in self._cuts(i) for edge in edges))

    def _keeps_together(self, subunit: Subunit) -> Literal:
        """Whether a subunit keeps together: always where it is divided at the tray."""
        if self._never_parted(subunit):
            return 1
        port = self._at_port((subunit.trunk, subunit.number))
        if not self._tells_parted:
            return self.no(port)
        parted = self.let_go[Group(SubunitTogether.id, subunit.name)] = self.literal(f"{subunit.name} parted")
        self.clause(self.no(parted), port)
        return self.no(parted)

    @property
    def _tells_parted(self) -> bool:
        """Whether the model tells for each subunit at the port whether it keeps together; else none of them need."""
        return self.policy.mode(self.job, SubunitTogether()) != "free"

    def _tied(self, i: int) -> Literal:
        """Whether a subunit keeps a stretch together."""
        return self._make(("tied", i), lambda: self.any_of(*(self._together[key] for key in self.blocks[i].keys)))

    # -- what is placed ----------------------------------------------------------------------------------------------

    def _outside(self) -> dict[Key, Literal]:
        """Make a literal for each subunit that is divided only at the tray: it is outside, with the subunits it is spliced to."""
        if self.all_placed:
            return {}
        pairs = [(a, b) for a, b in self._spliced_keys if self._only_at_tray(a) and self._only_at_tray(b)]
        found: dict[Key, Literal] = {}
        made: dict[int, Literal] = {}
        for key, group in tied((key for key in self._of_key if self._only_at_tray(key)), pairs).items():
            if group not in made:
                made[group] = self.literal(f"{key[0]}/{key[1]} outside")
            found[key] = made[group]
        return found

    @property
    def _spliced_keys(self) -> Iterator[tuple[Key, Key]]:
        """Pairs of subunits that are spliced to each other."""
        return ((block.keys[0], block.keys[1]) for block in self.blocks if block.spliced)

    def _left_out(self, i: int) -> tuple[Expression, Literal]:
        """Return the units of a gap that are in no tray where every splice is placed, and whether these are all."""
        (key,) = self.blocks[i].keys
        if self._only_at_tray(key):
            return 0, 0
        subunit, port = self.job.subunit_of_leg[key], self._at_port(key)
        bare = {
            of: (idle, self.both(self.divided(subunit, of), port))
            for of, idle in self.stretches.idle(i).items()
            if idle
        }
        gone = self.one_of(*(so for idle, so in bare.values() if idle == self.blocks[i].fibres))
        return total(idle // self.units[i] * so for idle, so in bare.values()), gone

    def _count(self) -> None:
        """Make the number of units of each stretch at each place, and whether it lies there at all."""
        self._number: list[dict[Place, Expression]] = []
        self._lies: list[dict[Place, Literal]] = []
        self._out: list[Expression] = []
        self._gone: list[Literal] = []
        for i, (block, unit) in enumerate(zip(self.blocks, self.units, strict=True)):
            units = block.fibres // unit
            row: dict[Place, Expression] = {
                place: self.number(units, f"{block} at {place}", (block, place)) for place in self.places
            }
            lies = {place: self.positive(("lies", block, place), row[place], units) for place in self.places}
            gone = next((self._out_of_box[key] for key in block.keys if key in self._out_of_box), None)
            if self.all_placed:
                out, gone = (0, 0) if block.spliced else self._left_out(i)
            elif gone is not None:
                out = units * gone
            else:
                out, gone = self.number(units, f"{block} outside"), self.no(self.any_of(*lies.values()))
            self.require(total(row.values()) + out == units)
            self._number.append(row)
            self._lies.append(lies)
            self._out.append(out)
            self._gone.append(gone)

    def _whole(self, key: Key) -> None:
        """Let a subunit be placed with all its fibres or not at all, where it is whole or divided at the tray."""
        if self.all_placed or key in self._out_of_box:
            return
        subunit, port = self.job.subunit_of_leg[key], self._at_port(key)
        outside = self.literal(f"{subunit.name} outside")
        for i in self._along[key]:
            for so in (self.no(port), self.divided(subunit, 1)):
                if not isinstance(so, int) or so:
                    self.require(self._out[i] == self.blocks[i].fibres // self.units[i] * outside, so)
            for of, idle in {} if self.blocks[i].spliced else self.stretches.idle(i).items():
                if idle:
                    self.require(self._out[i] >= idle // self.units[i], port, self.divided(subunit, of))

    def _leave_out(self, divider: Divider, key: Key) -> None:
        """Leave out what lies in legs that can be placed nowhere, as long as physical rules at must bind hard."""
        if self.all_placed or self.policy.physical != "hard":
            return
        subunit = self.job.subunit_of_leg[key]
        for of, at in product(self._of_key[key], self.divide_options(self.job.trunk_by_id[key[0]])):
            placeable = divider.placeable(key, of, at)
            bare: dict[int, int] = defaultdict(int)
            for leg in self.job.spliced_legs(subunit, of):
                for i, part in {} if leg in placeable else self.stretches.parts_of(leg).items():
                    bare[i] += part
            so = (self.divided(subunit, of), self.divided_at(self.job.trunk_by_id[key[0]], at))
            for i, fibres in bare.items():
                self.require(self.units[i] * self._out[i] >= fibres, *so)

    def _cut(self, i: int) -> None:
        """Let a tray hold whole segments of a stretch: what lies between two edges that all its sides share.

        Where a subunit of it keeps together, the segments lie in order, so what lies up to a position ends at an edge.
        """
        unit = self.units[i]
        cuts = self._cuts(i)
        for fibre_edges, literals in cuts.items():
            edges = [edge // unit for edge in fibre_edges]
            segments = {after - before for before, after in pairwise(edges)}
            if segments == {1}:
                continue
            cut = 1 if len(cuts) == 1 else self.literal(f"{self.blocks[i]} cut at {edges}")
            for so in literals:
                self.clause(*(self.no(literal) for literal in so), cut)
            lie_in(self, self._number[i].values(), sums(edges), cut)
            if len(segments) > 1 and self._all_or_none(i):
                lie_in(self, self._up_to(i), edges, cut, self._tied(i))

    # -- what keeps together -----------------------------------------------------------------------------------------

    def _span(self, i: int) -> Span:
        block = self.blocks[i]
        loose = self.no(self._tied(i))
        return span_of(self, str(block), self._lies[i], self.stacks, about=(block,), loose=loose, gone=self._gone[i])

    def _follow(self, key: Key) -> None:
        """Let each stretch of a subunit that keeps together begin where the placed one before it ends, or one higher."""
        together, along = self._together[key], self._along[key]
        if is_false(together):
            return
        for n, m in combinations(range(len(along)), 2):
            between = along[n + 1 : m]
            if between and (key in self._out_of_box or any(is_false(self._gone[b]) for b in between)):
                continue
            i, j = along[n], along[m]
            free = [self.no(together), self._gone[i], self._gone[j], *(self.no(self._gone[b]) for b in between)]
            follow(self, self.spans[i], self.spans[j], *free)
            if not between:
                self._share_place(key, i, j, free)

    def _share_place(self, key: Key, i: int, j: int, free: Sequence[Literal]) -> None:
        """Let a stretch begin where the one before it ends if a leg holds fibres of both, which is surely placed."""
        subunit = self.job.subunit_of_leg[key]
        shared = self.any_of(
            *(self.divided(subunit, of) for of in self._of_key[key] if self.stretches.begins_in_leg(j, key, of))
        )
        maybe_out = 0 if self.all_placed else self._at_port(key)
        share_place(self, self.spans[i], self.spans[j], *free, maybe_out, self.no(shared))

    # -- what is known ------------------------------------------------------------------------------------------------

    @property
    def open(self) -> Divisions:
        """Every k that is open, by subunit."""
        return self._of_key

    @cached_property
    def fibres(self) -> dict[tuple[int, Place], Expression]:
        """Fibres of either side of each stretch at each place."""
        return {
            (i, place): self.units[i] * number for i, row in enumerate(self._number) for place, number in row.items()
        }
