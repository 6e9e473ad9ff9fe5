"""Blocks at tray places under the rules: what rules and the first goals ask for, said of counts (``segment_counts.py``).

Rules bind at places and ways as they do in the whole model, as far as they ask for nothing but splices, legs by number and ways.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from itertools import pairwise
from typing import Any

from trayopt.domain.cablework import Subunit
from trayopt.domain.hardware import Place
from trayopt.domain.job import Trunk
from trayopt.rules.base import Rule
from trayopt.rules.divided_at_tray import DividedAtTray
from trayopt.rules.guide_fill import GuideFill
from trayopt.rules.subunit_together import SubunitTogether
from trayopt.rules.variables import (
    Cuts,
    FirstStacks,
    LeastLoads,
    LegNumbers,
    LegPlaces,
    Pairs,
    Trays,
    TrunkPlaces,
    TrunkStacks,
    TrunkWays,
    Variables,
)  # fmt: skip
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.place_counts import area_in_box, most_area
from trayopt.solver.bounds.segment_counts import MOST_COUNTS, SegmentCounts
from trayopt.solver.model.capacity_cuts import Burden, cut_capacity
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.literals import OnStack, total
from trayopt.solver.model.model import Divisions
from trayopt.solver.model.posting import Policy, let_speak
from trayopt.solver.model.symmetry import alike
from trayopt.solver.model.vocabulary import voice


class Segments(SegmentCounts):
    """The blocks of a job at tray places, with the rules that can be said of them."""

    swaps = True
    """Whether nothing is asked of these blocks that tells stacks apart which the rules do not."""

    def __init__(
        self, divider: Divider, divisions: Divisions, policy: Policy, *, all_placed: bool, clock: Clock
    ) -> None:
        super().__init__(divider, divisions, policy, all_placed=all_placed, clock=clock)
        if self.size > MOST_COUNTS:
            return
        job = self.job
        self.kept = let_speak(self, self.voice_for, policy)
        cut_capacity(self, self.kept, *self._burdens())
        if all_placed and policy.must == "hard" and job.rules[GuideFill.id].level == "must":
            self._fill_guides(clock)
        if self.swaps:
            self._break_ties()

    @cached_property
    def voice(self) -> Variables:
        """What rules and goals may ask."""
        return voice(
            self,
            TrunkWays,
            TrunkStacks,
            TrunkPlaces,
            FirstStacks,
            Cuts,
            LegNumbers,
            LegPlaces,
            Pairs,
            Trays,
            LeastLoads,
        )

    def voice_for(self, rule: Rule[Any]) -> Variables | None:
        """Give every rule the voice, but those that are read here: blocks keep subunits together, and count for guides."""
        return None if isinstance(rule, SubunitTogether | DividedAtTray | GuideFill) else self.voice

    def _fill_guides(self, clock: Clock) -> None:
        """Let all tubes have no more cross-section together than the counts by stack find ways for.

        To follow them to each stack makes the model much slower and bounds little more.
        """
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

    def _break_ties(self) -> None:
        """Let the first blocks on stacks that are alike come in the order of the stacks: nothing else tells these apart."""
        for group in alike(self, [stack.id for stack in self.stacks]):
            for before, stack in pairwise(group):
                for i in range(len(self.blocks)):
                    earlier = (self._made["block", j][0][before] for j in range(i))
                    self.clause(self.no(self._made["block", i][0][stack]), *earlier)

    # -- what rules and goals ask for --------------------------------------------------------------------------------

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
            found = {
                item.id: self.literal(f"{subunit.name} on {item.id}", (*key, OnStack(item.id))) for item in self.stacks
            }
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

    def trunk_on(self, trunk: Trunk, stack: str) -> Any:
        """Whether a trunk has a leg on a stack."""
        here = [place for place in self.places if place.stack == stack]
        return self._where(("trunk on", trunk.id, stack), self._of_trunk(trunk.id), here)

    def pair_at(self, pair: tuple[str, str], place: Place) -> Any:
        """Whether splices of a pair of trunks lie at a place."""
        both = [i for i, block in enumerate(self.blocks) if {block.a[0], block.b[0]} == set(pair)]
        return self._where(("pair at", pair, place), both, [place])

    def used(self, place: Place) -> Any:
        """Whether a tray place is used."""
        return self._where(("used", place), range(len(self.blocks)), [place])

    def ends_at_least(self, place: Place) -> Any:
        """Twice the splices of a place; parked fibres are left out."""
        return total(2 * unit * row[place] for unit, row in zip(self.units, self._number, strict=True))

    def sleeves2_at_least(self, place: Place) -> Any:
        """Twice the sleeves of a place, as far as each unit of a block brings as many and all trays have sleeves of one size."""
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
