"""Built pins for which no tube, no bend, no way of a trunk or no seal is left."""

from __future__ import annotations

from collections.abc import Iterator

from trayopt.domain.assignment import Way
from trayopt.domain.base import EPSILON
from trayopt.domain.cable import FIBRE_RADIUS_MM
from trayopt.domain.hardware import Place
from trayopt.domain.said import said
from trayopt.domain.trunk import Trunk
from trayopt.errors import Fault
from trayopt.library.settled import Settled
from trayopt.track.lengths import Lengths


def way_faults(settled: Settled) -> Iterator[Fault]:
    """Find built legs that no tube, track or tray allows, and built trunks for which no way or seal is left."""
    yield from _bends(settled)
    yield from _ways(settled)
    yield from _seals(settled)


def _bends(settled: Settled) -> Iterator[Fault]:
    """Find built legs for which there is no tube, or that are bent too tightly on the track or in the tray."""
    for i, _, leg in settled.leg_pins:
        trunk = settled.job.trunk_by_id[leg.trunk]
        may_go = [
            settled.routes.traveller(trunk, settled.job.subunit(leg), leg.of, at) for at in settled.divided_at(trunk)
        ]
        radii = [goes.radius_mm for goes in may_go if goes is not None]
        least = settled.job.enclosure.track.min_radius_mm
        if not radii:
            needed = trunk.cable.bore_mm(
                settled.job.subunit(leg).ribbons // leg.of, settled.job.subunit(leg).ribbon_fibres
            )
            widest = max(tube.bore_mm for tube in settled.job.tubes.tubes)
            message = said("no tube of the set holds {leg} (leg tube)", leg=settled.name(leg))
            yield settled.fault(
                i,
                message,
                said("a bore of {needed:.2f} mm", needed=needed),
                said("up to {widest:g} mm", widest=widest),
            )
        elif settled.must("bend_radius") and min(radii) > least + EPSILON:
            message = said("the track bends what travels for {leg} too tightly (bend_radius)", leg=settled.name(leg))
            yield settled.fault(
                i, message, said("{least:g} mm", least=least), said("{radii:g} mm or more", radii=min(radii))
            )
        if leg in settled.stack and settled.must("fibre_bend"):
            stack = settled.job.enclosure.stack_by_id[settled.stack[leg][0]]
            place = settled.place(leg) if leg in settled.position else None
            kinds = stack.kinds if place is None else (settled.job.enclosure.tray_at(place),)
            tray = max(kinds, key=lambda kind: kind.min_radius_mm)
            radius = FIBRE_RADIUS_MM[trunk.cable.fibre]
            if tray.min_radius_mm < radius - EPSILON:
                message = said(
                    "trays of stack {stack} bend the fibre of {trunk} too tightly (fibre_bend)",
                    stack=settled.stack[leg][0],
                    trunk=leg.trunk,
                )
                yield settled.fault(
                    i,
                    message,
                    said("{min_radius_mm:g} mm", min_radius_mm=tray.min_radius_mm),
                    said("{radius:g} mm or more", radius=radius),
                )


def _ways(settled: Settled) -> Iterator[Fault]:
    """Find built legs that cannot reach the bench, or take too much jacket, by any open way of their trunk."""
    for i, _, leg in settled.leg_pins:
        place = settled.place(leg)
        trunk = settled.job.trunk_by_id[leg.trunk]
        if place is None:
            continue
        ends = settled.job.enclosure.stack_by_id[place.stack].ends
        frees = [(settled.routes.free_mm(way, place, end.id), way) for way in settled.open_ways(trunk) for end in ends]
        if settled.must("reach"):
            bench = settled.parameter("reach", "bench_mm")
            most = max(free for free, _ in frees)
            if most < bench:
                message = said(
                    "trunk {trunk} has no way on which {place} reaches the bench (reach)",
                    trunk=leg.trunk,
                    place=place,
                )
                yield settled.fault(i, message, said("{most} mm", most=most), said("{bench} mm or more", bench=bench))
        if settled.must("exposed") and trunk.exposed_mm is not None:
            strip = min(_strip_mm(settled, trunk, way, place, free) for free, way in frees)
            if strip > trunk.exposed_mm:
                message = said(
                    "{leg} in {place} takes more jacket off than trunk {trunk} allows (exposed)",
                    leg=settled.name(leg),
                    place=place,
                    trunk=leg.trunk,
                )
                yield settled.fault(
                    i,
                    message,
                    said("{strip} mm", strip=strip),
                    said("up to {exposed_mm} mm", exposed_mm=trunk.exposed_mm),
                )


def _strip_mm(settled: Settled, trunk: Trunk, way: Way, place: Place, free: int) -> int:
    """Return the length of jacket that comes off a trunk for a leg at a place, in mm."""
    lengths = Lengths(**{name: settled.parameter("exposed", name) for name in Lengths.model_fields})
    route = free + settled.job.enclosure.tray_at(place).inside_mm
    return lengths.strip_mm([lengths.cut_mm(trunk.transition_mm, route, way.loops)], way.loops)


def _seals(settled: Settled) -> Iterator[Fault]:
    """Find ports with no seal for all the trunks that are settled to enter there."""
    if not settled.must("port_seal"):
        return
    entering: dict[str, list[tuple[int, Trunk]]] = {}
    in_box = {leg.trunk: i for i, _, leg in settled.leg_pins} | {name: i for name, (i, _) in settled.trunk_pins.items()}
    for trunk in settled.job.trunks:
        ports = {way.port for way in settled.open_ways(trunk)} if trunk.id in in_box else set()
        if len(ports) == 1:
            entering.setdefault(ports.pop(), []).append((in_box[trunk.id], trunk))
    for name, entered in entering.items():
        diameters = [trunk.cable.diameter_mm for _, trunk in entered]
        port = settled.job.enclosure.port_by_id[name]
        if port.seal_for(diameters) is not None:
            continue
        names = " and ".join(trunk.id for _, trunk in entered)
        seals = "; ".join(f"{seal.holes} of {seal.least_mm:g} to {seal.most_mm:g} mm" for seal in port.seals)
        found = ", ".join(f"{size:g} mm" for size in diameters)
        message = said("no seal of port {port} takes {names} (port_seal)", port=name, names=names)
        if not port.passes(diameters):
            message = said("{names} do not pass the bore of port {port} together (port_seal)", names=names, port=name)
            seals = said("a bore of {bore_mm:g} mm", bore_mm=port.bore_mm)
        yield settled.fault(max(i for i, _ in entered), message, found, seals or said("none: the port has no seal"))
