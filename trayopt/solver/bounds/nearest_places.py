"""A bound on the leg length that asks for no divisions and no trays: what the fibres of each trunk cost at the nearest places.

It holds for every plan that leaves so many splices unplaced, whatever its divisions, so also where no counting model does. For
one trunk on one way, order the places by the length of a leg to them. The fibres that the nearest m places cannot take lie in
legs further out, each of at most so many fibres, so at least N(m) legs do; and each leg that lies beyond the m nearest places
is longer than one at the m-th by at least the step from there to the next. The sum of steps × N(m) is therefore at most the
length of all legs. A trunk goes one way, so the least over its ways bounds it; trunks are bounded one by one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from trayopt.domain.assignment import Way
from trayopt.domain.job import Job
from trayopt.rules.natural_travel import NaturalTravel
from trayopt.rules.reach import Reach
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.track.routes import Routes, all_ways, routes_of


def length_bound(job: Job, unplaced: int, largest: Mapping[str, int], kept: Callable[[str], bool]) -> int:
    """Bound the leg length, in mm, of plans that leave this many splices unplaced.

    ``largest`` gives the most spliced fibres that a leg of a trunk can have; ``kept`` tells whether such plans break a rule for
    no subject.
    """
    routes = routes_of(job)
    length = 0
    for trunk in job.trunks:
        placed = job.spliced_in(trunk) - unplaced
        if placed > 0:
            bounds = (
                _on_way(_places(job, routes, way, kept), placed, largest[trunk.id])
                for way in all_ways(job, trunk)
                if not (kept(NaturalTravel.id) and _against(job, way))
            )
            length += min((bound for bound in bounds if bound is not None), default=0)
    return length


def _against(job: Job, way: Way) -> bool:
    return job.enclosure.port_by_id[way.port].turns not in {"both", way.travel}


def _places(job: Job, routes: Routes, way: Way, kept: Callable[[str], bool]) -> list[tuple[int, int | None]]:
    """Give length and room (None for any number of fibres) of every place that a way reaches, the nearest first."""
    bench = Reach().parameters(job).bench_mm if kept(Reach.id) else 0
    found: list[tuple[int, int | None]] = []
    for place in job.enclosure.places:
        ends = [
            end.id for end in job.enclosure.stack_by_id[place.stack].ends if routes.free_mm(way, place, end.id) >= bench
        ]
        if ends:
            room = job.enclosure.tray_at(place).fibres if kept(TrayFibres.id) else None
            found.append((min(routes.route_mm(way, place, end) for end in ends), room))
    return sorted(found, key=lambda item: item[0])


def _on_way(places: list[tuple[int, int | None]], fibres: int, largest: int) -> int | None:
    """Bound the length of the legs of one trunk on one way; None where its places cannot take so many fibres."""
    length, before, left = 0, 0, fibres
    for cost, room in places:
        length += (cost - before) * -(-left // largest)
        before, left = cost, 0 if room is None else max(0, left - room)
        if not left:
            return length
    return None
