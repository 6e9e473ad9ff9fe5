"""port_seal: one seal of a port takes all trunks that enter there."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.base import EPSILON
from trayopt.domain.hardware import Port
from trayopt.domain.job import Job
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import listed, several
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


def _seals(port: Port) -> str:
    """Say which seals a port has."""
    seals = [f"{several(seal.holes, 'hole')} for {seal.least_mm:g} to {seal.most_mm:g} mm" for seal in port.seals]
    return f"seals of {listed(seals, 'or')}" if seals else "no seals"


class PortSeal(Rule[NoParameters]):
    """Broken when no seal of the port has holes enough for all trunks in it and takes all their diameters."""

    id = "port_seal"
    kind = "physical"
    subject = "port"
    statement = "no seal of the port has holes enough for all trunks that enter there and takes all their diameters"
    why = "A trunk that its seal does not close round lets water in, or cannot be drawn through it."
    blamed = 6
    helped_by = frozenset({"seals", "box"})
    says_all = True
    way_cells = ("port",)
    ways_only = True

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Try the seals of every port on the trunks that enter there."""
        for port in job.enclosure.ports:
            trunks = [trunk for trunk in laid.trunks() if laid.ways[trunk.id].port == port.id]
            diameters = [trunk.cable.diameter_mm for trunk in trunks]
            fits = any(
                seal.holes >= len(trunks)
                and all(seal.least_mm - EPSILON <= diameter <= seal.most_mm + EPSILON for diameter in diameters)
                for seal in port.seals
            )
            if trunks and not fits:
                entering = listed([f"{trunk.id} of {trunk.cable.diameter_mm:g} mm" for trunk in trunks])
                yield Breach(port.id, f"at {port.id} come in {entering}; it has {_seals(port)}")

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Choose one seal a port; it takes the diameter of each trunk that enters, and has holes for all of them."""
        for port in job.enclosure.ports:
            enters = {
                trunk: x.enters(trunk, port.id)
                for trunk in job.trunks
                if any(way.port == port.id for way in x.ways(trunk))
            }
            if not enters:
                continue
            chosen = [x.literal(f"seal {i} of {port.id}") for i in range(len(port.seals))]
            x.require(sum(chosen) <= 1)
            for trunk, literal in enters.items():
                d = trunk.cable.diameter_mm
                takes = [
                    one
                    for one, seal in zip(chosen, port.seals, strict=True)
                    if seal.least_mm - EPSILON <= d <= seal.most_mm + EPSILON
                ]
                post(sum(takes) >= literal, port.id)
            holes = sum(seal.holes * one for one, seal in zip(chosen, port.seals, strict=True))
            post(sum(enters.values()) <= holes, port.id)

    def say(self, job: Job, subject: str) -> str:
        """Say which seals a port has, and what could enter there."""
        port = job.enclosure.port_by_id[subject]
        trunks = [trunk for trunk in job.trunks if subject in trunk.allowed_ports(job.enclosure)]
        able = listed([f"{trunk.id} of {trunk.cable.diameter_mm:g} mm" for trunk in trunks]) or "no trunk"
        return f"{subject}: it has {_seals(port)}; {able} may enter there"

    def need(self, job: Job, subject: str) -> str:
        """Say which seals a port has, what may enter there, which of it no seal takes, and how many trunks one takes at most."""
        port = job.enclosure.port_by_id[subject]
        able = [trunk for trunk in job.trunks if subject in trunk.allowed_ports(job.enclosure)]
        parts = [self.say(job, subject)]
        if port.seals:
            fitting = [
                [t.id for t in able if seal.least_mm <= t.cable.diameter_mm <= seal.most_mm] for seal in port.seals
            ]
            alien = [trunk.id for trunk in able if not any(trunk.id in trunks for trunks in fitting)]
            if alien:
                parts.append(f"{listed(alien)} {'fits' if len(alien) == 1 else 'fit'} none of them")
            most = max(min(seal.holes, len(trunks)) for seal, trunks in zip(port.seals, fitting, strict=True))
            if most < len(able) - len(alien):
                parts.append(f"no more than {most} of them at a time")
        return "; ".join(parts)

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say which trunks could enter elsewhere."""
        trunks = [trunk for trunk, way in laid.ways.items() if way.port == subject]
        others = [port.id for port in job.enclosure.ports if port.id != subject]
        where = f" at {listed(others, 'or')}" if others else ""
        return (
            f"bring one of {listed(trunks)} in{where or ' elsewhere'}, or fit a seal to {subject} that takes them all"
        )
