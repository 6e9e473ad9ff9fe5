"""Routes of legs: their lengths to the millimetre, the guides that they pass, and the tubes in which they travel."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from trayopt.domain.assignment import Way
from trayopt.domain.base import DivideAt
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.hardware import Place, Tube
from trayopt.domain.job import Job
from trayopt.domain.trunk import Trunk
from trayopt.track.ring import Ring, plane_mm, rise_mm


class Traveller(NamedTuple):
    """The tube in which a leg goes round the track, with lengths in mm: the own tube of its subunit, or a tube of the set."""

    diameter_mm: float
    radius_mm: float
    own: bool


class Routes:
    """All lengths of routes in a job; each is computed once."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.enclosure = job.enclosure
        self.ring = job.enclosure.once(Ring)
        self._plane: dict[tuple[Way, str, str], int] = {}
        self._ends = {(stack.id, end.id): end for stack in job.enclosure.stacks for end in stack.ends}
        self._rise: dict[Place, int] = {
            place: rise_mm(job.enclosure, job.enclosure.stack_by_id[place.stack], place.position)
            for place in job.enclosure.places
        }
        self._direct: dict[tuple[str, str, str, str], tuple[str, ...]] = {}

    def plane_mm(self, way: Way, stack: str, end: str) -> int:
        """Return the length in the x, y plane of a way to an end of a stack, in mm, loops included."""
        key = (way, stack, end)
        if key not in self._plane:
            port = self.enclosure.port_by_id[way.port]
            self._plane[key] = plane_mm(self.ring, port, way.travel, way.loops, self._ends[stack, end])
        return self._plane[key]

    def rise_mm(self, place: Place) -> int:
        """Return the distance of a tray place from the band of the track, in mm."""
        return self._rise[place]

    def free_mm(self, way: Way, place: Place, end: str) -> int:
        """Return the length from the port to the entrance of the tray, in mm: the slack on which the tray can be lifted out."""
        return self.plane_mm(way, place.stack, end) + self._rise[place]

    def route_mm(self, way: Way, place: Place, end: str) -> int:
        """Return the length of a leg from the port to its sleeve, in mm (spec, section 4)."""
        return self.free_mm(way, place, end) + self.enclosure.tray_at(place).inside_mm

    def direct(self, way: Way, stack: str, end: str) -> tuple[str, ...]:
        """Return the guides on the direct way of a trunk to an end of a stack, the guides of port and entrance included."""
        key = (way.port, way.travel, stack, end)
        if key not in self._direct:
            port = self.enclosure.port_by_id[way.port]
            self._direct[key] = self.ring.direct(
                port.guide, self._ends[stack, end].entrance(way.travel).guide, way.travel
            )
        return self._direct[key]

    def passes(self, way: Way, stack: str, end: str, guide: str) -> int:
        """Return how often a tube passes a guide: once for each loop, and once more if the guide lies on its direct way."""
        return way.loops + (guide in self.direct(way, stack, end))

    def traveller(self, trunk: Trunk, subunit: Subunit, of: int, at: DivideAt) -> Traveller | None:
        """Return what travels for the placed legs of a subunit that is divided into ``of`` legs; None if the set has no tube."""
        if trunk.own_tube_travels(of, at):
            return Traveller(subunit.diameter_mm, subunit.radius_mm, own=True)
        tube = self.leg_tube(trunk, subunit, of)
        return None if tube is None else Traveller(tube.diameter_mm, tube.radius_mm, own=False)

    def leg_tube(self, trunk: Trunk, subunit: Subunit, of: int) -> Tube | None:
        """Return the tube of the set for a leg that does not travel in its subunit's own tube; None if the set has no tube."""
        return self.job.tubes.for_bore(trunk.cable.bore_mm(subunit.ribbons // of, subunit.ribbon_fibres))


def routes_of(job: Job) -> Routes:
    """Return the routes of a job, made once for each job object."""
    return job.once(Routes)


def leg_key(leg: Leg) -> tuple[int, int]:
    """Sort key of the legs of a trunk: by subunit, then group."""
    return leg.subunit, leg.group


def all_ways(job: Job, trunk: Trunk) -> tuple[Way, ...]:
    """Return every way within the limits of a trunk, in the order port, travel, loops."""
    return tuple(
        Way(port, travel, loops)
        for port in trunk.allowed_ports(job.enclosure)
        for travel in trunk.travels
        for loops in sorted(set(trunk.loops))
    )


def ways_to(job: Job, trunk: Trunk) -> Iterator[tuple[Way, Place, str]]:
    """Yield every way of a trunk, within its limits, to every tray place at every end of the stack."""
    for way in all_ways(job, trunk):
        for place in job.enclosure.places:
            for end in job.enclosure.stack_by_id[place.stack].ends:
                yield way, place, end.id
