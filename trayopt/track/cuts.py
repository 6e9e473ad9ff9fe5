"""The lengths at which the legs of a trunk are cut, by the place to which they go."""

from __future__ import annotations

from trayopt.domain.assignment import Way
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.trunk import Trunk
from trayopt.track.lengths import Lengths
from trayopt.track.routes import routes_of


def cuts_by_place(job: Job, trunk: Trunk, way: Way, lengths: Lengths) -> dict[Place, tuple[int, ...]]:
    """Return the lengths at which a leg of a trunk on one way is cut, in mm: for each place, one for each end of its stack."""
    routes = routes_of(job)
    return {
        place: tuple(
            lengths.cut_mm(trunk.transition_mm, routes.route_mm(way, place, end.id), way.loops)
            for end in job.enclosure.stack_by_id[place.stack].ends
        )
        for place in job.enclosure.places
    }
