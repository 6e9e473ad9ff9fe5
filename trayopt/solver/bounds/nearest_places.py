"""How short all legs can be together: bunches flow to the nearest places that have room for them.

A bunch brings its legs to one tray, and a tray takes as many fibre ends as it has room for. Let bunches be split at will, and let
everything else go: then the least length of all legs is that of a flow of least cost, from kinds of bunches to places. The
flow is whole and exact, so its cost is a bound.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from functools import cached_property
from math import lcm

from trayopt.domain.assignment import Way
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.solver.model.model import Model
from trayopt.track.cuts import cuts_by_place
from trayopt.track.lengths import lengths_of

FINEST = 1_000_000
"""Costs of a fibre end are rounded down to this part of a millimetre at most."""

Cuts = Mapping[str, Sequence[int]]
"""For each trunk, the length in mm that a leg of the trunk takes at each place."""


class NearestPlaces:
    """Flows of the bunches of a complete model of settled divisions to the nearest places."""

    def __init__(self, model: Model) -> None:
        self.model = model
        kinds: Counter[tuple[int, tuple[tuple[str, int], ...]]] = Counter()
        for bunch, legs in model.bunches.items():
            placed = model.placed(legs[0])
            if isinstance(placed, int) and placed and model.loads[bunch]:
                kinds[model.loads[bunch], tuple(sorted(Counter(leg.trunk for leg in legs).items()))] += 1
        self.kinds = kinds
        self.scale = min(FINEST, lcm(*(load for load, _ in kinds)))
        brought = sum(load * number for (load, _), number in kinds.items())
        room = model.keeps(TrayFibres.id)
        self.room = [2 * model.job.enclosure.tray_at(place).fibres if room else brought for place in model.places]

    @cached_property
    def cuts(self) -> dict[str, dict[Way, list[int]]]:
        """Return by trunk and way what a leg takes at each place, in mm, at the nearest end of its stack."""
        job, lengths = self.model.job, lengths_of(self.model.job)
        return {
            trunk.id: {
                way: [min(cuts) for cuts in cuts_by_place(job, trunk, way, lengths).values()]
                for way in self.model.ways(trunk)
            }
            for trunk in job.trunks
            if any(trunk.id == name for _, legs in self.kinds for name, _ in legs)
        }

    def length(self, cuts: Cuts) -> int:
        """Bound the length of all legs of some trunks from below; 0 if they have no room, which other relaxations prove."""
        from ortools.graph.python.min_cost_flow import SimpleMinCostFlow

        flow = SimpleMinCostFlow()
        sink = len(self.kinds) + len(self.room)
        brought = 0
        for source, ((load, legs), number) in enumerate(self.kinds.items()):
            if all(trunk not in cuts for trunk, _ in legs):
                continue
            flow.set_node_supply(source, load * number)
            brought += load * number
            for i, room in enumerate(self.room):
                cost = sum(count * cuts[trunk][i] for trunk, count in legs if trunk in cuts)
                flow.add_arc_with_capacity_and_unit_cost(source, len(self.kinds) + i, room, self.scale * cost // load)
        for i, room in enumerate(self.room):
            flow.add_arc_with_capacity_and_unit_cost(len(self.kinds) + i, sink, room, 0)
        flow.set_node_supply(sink, -brought)
        if flow.solve() != flow.OPTIMAL:
            return 0
        paid: int = flow.optimal_cost()
        return -(-paid // self.scale)
