"""What a trunk's lengths come to at best: the least to strip, and the most that a tray can be freed by."""

from __future__ import annotations

from collections.abc import Iterator

from trayopt.domain.assignment import Way
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job, Trunk
from trayopt.rules.exposed import Exposed
from trayopt.rules.reach import ReachParameters
from trayopt.rules.registry import BY_ID
from trayopt.rules.words import listed, several
from trayopt.solver.model.ways import all_ways
from trayopt.track.routes import routes_of


def ways_to(job: Job, trunk: Trunk) -> Iterator[tuple[Way, Place, str]]:
    """Give every way of a trunk to every tray place at every end, inside its own limits."""
    for way in all_ways(job, trunk):
        for place in job.enclosure.places:
            for end in job.enclosure.stack_by_id[place.stack].ends:
                yield way, place, end.id


def exposed_need(job: Job, subject: str) -> str:
    """Say the least that is to be stripped of a trunk, and what is exposed."""
    trunk = job.trunk_by_id[subject]
    lengths, routes = Exposed().lengths(job), routes_of(job)
    found = []
    for way, place, end in ways_to(job, trunk):
        cut = lengths.cut_mm(trunk.transition_mm, routes.route_mm(way, place, end), way.loops)
        found.append((lengths.strip_mm([cut], way.loops), way, place))
    exposed = "no limit" if trunk.exposed_mm is None else f"{trunk.exposed_mm:,} mm"
    if not found:
        return f"{subject}: no way is open to it; exposed: {exposed}"
    strip, way, place = min(found)
    return (
        f"{subject}: the least to strip is {strip:,} mm (by {way.port}, {way.travel}, {several(way.loops, 'loop')}, "
        f"to {place}); exposed: {exposed}"
    )


def apart_need(job: Job, subject: str) -> str:
    """Say what is to be apart, and how many trays and stacks there are for it."""
    stacks, trays = several(len(job.enclosure.stacks), "stack"), several(len(job.enclosure.places), "tray")
    return f"{BY_ID['apart'].say(job, subject)}; the box has {stacks} with {trays} in all"


def seal_need(job: Job, subject: str) -> str:
    """Say which seals a port has, what may enter there, which of it no seal takes, and how many trunks one takes at most."""
    port = job.enclosure.port_by_id[subject]
    able = [trunk for trunk in job.trunks if subject in trunk.allowed_ports(job.enclosure)]
    parts = [BY_ID["port_seal"].say(job, subject)]
    if port.seals:
        fitting = [[t.id for t in able if seal.least_mm <= t.cable.diameter_mm <= seal.most_mm] for seal in port.seals]
        alien = [trunk.id for trunk in able if not any(trunk.id in trunks for trunks in fitting)]
        if alien:
            parts.append(f"{listed(alien)} {'fits' if len(alien) == 1 else 'fit'} none of them")
        most = max(min(seal.holes, len(trunks)) for seal, trunks in zip(port.seals, fitting, strict=True))
        if most < len(able) - len(alien):
            parts.append(f"no more than {most} of them at a time")
    return "; ".join(parts)


def reach_need(job: Job, subject: str) -> str:
    """Say how much length the bench asks for, and how much each number of loops gives at least and at most."""
    trunk = job.trunk_by_id[subject]
    bench = ReachParameters.model_validate(dict(job.rules["reach"].parameters)).bench_mm
    routes = routes_of(job)
    free: dict[int, list[int]] = {}
    for way, place, end in ways_to(job, trunk):
        free.setdefault(way.loops, []).append(routes.free_mm(way, place, end))
    gives = ", ".join(f"{several(loops, 'loop')} {min(mm):,} to {max(mm):,} mm" for loops, mm in sorted(free.items()))
    return f"{subject}: trays need {bench:,} mm to come to the bench; {gives or 'no way is open to it'}"
