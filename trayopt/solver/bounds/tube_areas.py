"""What the tubes of a trunk fill of each guide, said of stretches: as much as the fibres on each stack ask for.

Where a trunk is divided at the port, each leg travels in a tube of its own. Together these tubes have several times the
cross-section of the tube that the subunit came in, so a guide that takes a trunk divided at the tray may be too narrow for it.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from math import gcd

from trayopt.domain.base import DivideAt
from trayopt.domain.cablework import Subunit
from trayopt.domain.hardware import Stack
from trayopt.domain.trunk import Trunk
from trayopt.rules.guide_fill import GuideFill, area_units, guide_units
from trayopt.rules.variables import Expression
from trayopt.solver.bounds.place_counts import area_in_box, most_area
from trayopt.solver.bounds.segment_counts import SegmentCounts
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.literals import total


class TubeAreas:
    """Cross-sections of tubes by subunit and stack, in whole units of area that all tubes have in common."""

    def __init__(self, segments: SegmentCounts) -> None:
        self.segments = segments
        self.tubes = {
            (trunk.id, subunit.number, of, at): (area_units(tube.diameter_mm), tube.own)
            for trunk in segments.job.trunks
            for subunit in trunk.subunits
            for of in segments.divisions(subunit)
            for at in segments.divide_options(trunk)
            if (tube := segments.routes.traveller(trunk, subunit, of, at)) is not None
        }
        """Area of the tube of a leg, and whether it is the subunit's own."""

    @cached_property
    def unit(self) -> int:
        """The area of which every area is a multiple."""
        return gcd(*(area for area, _ in self.tubes.values())) or 1

    def fit_sums(self, clock: Clock) -> bool:
        """Let the tubes of each trunk, and of all, take no more than the counts by stack find ways for.

        Returns
        -------
        bool
            Whether what tubes take depends on how subunits are divided; else nothing is asked.
        """
        job = self.segments.job
        varying = [trunk for trunk in job.trunks if any(len(set(self._areas(s).values())) > 1 for s in trunk.subunits)]
        if not varying:
            return False
        brought = {trunk.id: self._brought(trunk) for trunk in job.trunks}
        for trunks, most in most_area(job, varying, clock):
            self.segments.require(total(brought[trunk.id] for trunk in trunks) <= most)
        return True

    def _areas(self, subunit: Subunit) -> Mapping[tuple[int, DivideAt], int]:
        """Count what the tubes of a placed subunit take together, by its division and the place of division of its trunk."""
        job, options = self.segments.job, self.segments.divide_options(self.segments.job.trunk_by_id[subunit.trunk])
        return {
            (of, at): area_in_box(job, subunit, of, at) for of in self.segments.divisions(subunit) for at in options
        }

    def _brought(self, trunk: Trunk) -> Expression:
        """Bound what the tubes of a trunk's placed subunits take from below, wherever it is divided."""
        segments, options = self.segments, self.segments.divide_options(trunk)
        areas = {subunit: self._areas(subunit) for subunit in trunk.subunits}
        by_option = {
            at: total(
                area * segments.divided(subunit, of)
                for subunit, found in areas.items()
                for (of, here), area in found.items()
                if here == at
            )
            for at in options
        }
        if len(options) == 1:
            return by_option[options[0]]
        brought = segments.number(
            sum(max(found.values(), default=0) for found in areas.values()), f"area of {trunk.id}"
        )
        for at, area in by_option.items():
            segments.require(brought >= area, segments.divided_at(trunk, at))
        return brought

    def fit_guides(self) -> None:
        """Let what passes each guide by the ways of all trunks fit it."""
        segments = self.segments
        fill = GuideFill().parameters(segments.job).fill
        on = {
            trunk.id: {stack.id: self._trunk_on(trunk, stack) for stack in segments.stacks}
            for trunk in segments.job.trunks
        }
        for guide in segments.job.enclosure.track.guides:
            limit = guide_units(guide, fill) // self.unit
            trunks = [trunk for trunk in segments.job.trunks if segments.ways(trunk)]
            if sum(self._most_passes(trunk) * self._most(trunk) for trunk in trunks) > limit:
                passing = [self._through(trunk, guide.id, on[trunk.id]) for trunk in trunks]
                segments.require(total(passing) <= limit)

    def _most_passes(self, trunk: Trunk) -> int:
        return 1 + max(way.loops for way in self.segments.ways(trunk))

    def _most(self, trunk: Trunk) -> int:
        return sum(self._most_of(subunit) for subunit in trunk.subunits)

    def _most_of(self, subunit: Subunit) -> int:
        """Return the greatest area of the tubes of a subunit."""
        return max(self._areas(subunit).values(), default=0) // self.unit

    def _trunk_on(self, trunk: Trunk, stack: Stack) -> Expression:
        """Bound what the tubes come to that lead from a trunk to a stack from below."""
        number = self.segments.number(self._most(trunk), f"tubes of {trunk.id} to {stack.id}")
        self.segments.require(number >= total(self._subunit_on(trunk, subunit, stack) for subunit in trunk.subunits))
        return number

    def _subunit_on(self, trunk: Trunk, subunit: Subunit, stack: Stack) -> Expression:
        """Bound the area from a subunit to a stack: its own tube if it lies there, or the tubes of its fibres there."""
        segments, key = self.segments, (subunit.trunk, subunit.number)
        along = [i for i, block in enumerate(segments.blocks) if key in block.keys]
        if not along:
            return 0
        number = segments.number(self._most_of(subunit), f"tubes of {subunit.name} to {stack.id}")
        spliced = [i for i in along if segments.blocks[i].spliced]
        fibres = total(
            segments.fibres[i, place] for i in spliced for place in segments.places if place.stack == stack.id
        )
        for of in segments.divisions(subunit):
            for at in segments.divide_options(trunk):
                area, own = self.tubes.get((trunk.id, subunit.number, of, at), (0, True))
                so = (segments.divided(subunit, of), segments.divided_at(trunk, at))
                if not own:
                    segments.require(subunit.fibres // of * number >= area // self.unit * fibres, *so)
                elif at == "tray":
                    segments.require(number >= area // self.unit, segments.spans[along[0]].on[stack.id], *so)
        return number

    def _through(self, trunk: Trunk, guide: str, on: Mapping[str, Expression]) -> Expression:
        """Bound what passes a guide from a trunk from below: what leads to stacks behind it, and all of it on each loop."""
        segments = self.segments
        number = segments.number(self._most_passes(trunk) * self._most(trunk), f"tubes of {trunk.id} through {guide}")
        for way in segments.ways(trunk):
            behind = [
                on[stack.id]
                for stack in segments.stacks
                if all(guide in segments.routes.direct(way, stack.id, end.id) for end in stack.ends)
            ]
            segments.require(number >= way.loops * total(on.values()) + total(behind), segments.goes(trunk, way))
        return number
