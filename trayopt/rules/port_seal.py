"""port_seal: one seal of a port takes all trunks that enter there."""

from __future__ import annotations

from collections.abc import Iterator
from math import floor
from typing import TYPE_CHECKING

from trayopt.domain.base import EPSILON
from trayopt.domain.hardware import Port
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.encoding import enters_by_trunk
from trayopt.rules.words import joined, listed, several
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


def _seals(port: Port) -> str:
    """Say which seals a port has."""
    seals = [
        said(
            "{holes} for {seal_least_mm:g} to {seal_most_mm:g} mm",
            holes=several(seal.holes, "hole"),
            seal_least_mm=seal.least_mm,
            seal_most_mm=seal.most_mm,
        )
        for seal in port.seals
    ]
    return said("seals of {seals}", seals=listed(seals, "or")) if seals else said("no seals")


def _bore_binds(port: Port) -> bool:
    """Whether cables that a seal of the port takes may still be too thick together for its bore."""
    return any(not port.passes([seal.most_mm] * seal.holes) for seal in port.seals)


class PortSeal(Rule[NoParameters]):
    """Broken when no seal of the port has holes enough for all trunks in it and takes all their diameters."""

    id = "port_seal"
    kind = "physical"
    subject = "port"
    statement = (
        "no seal of the port has enough holes for the trunks that enter there and takes all their diameters; or the bore "
        "is too small for the two thickest of them side by side, or for all of them (by the sum of diameter²)"
    )
    why = "A seal that is too wide for its trunk lets water in; a trunk that is too thick cannot be drawn through."
    blamed = 6
    helped_by = frozenset({"seals", "box"})
    says_all = True
    way_cells = ("port",)
    ways_only = True

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Try the seals and the bore of every port on the trunks that enter there."""
        for port in job.enclosure.ports:
            trunks = [trunk for trunk in laid.trunks() if laid.ways[trunk.id].port == port.id]
            diameters = [trunk.cable.diameter_mm for trunk in trunks]
            fits = any(seal.holes >= len(trunks) and all(seal.takes(d) for d in diameters) for seal in port.seals)
            if not trunks or (fits and port.passes(diameters)):
                continue
            entering = listed(
                [
                    said("{trunk} of {diameter_mm:g} mm", trunk=trunk.id, diameter_mm=trunk.cable.diameter_mm)
                    for trunk in trunks
                ]
            )
            has = (
                said("it has a bore of {port_bore_mm:g} mm", port_bore_mm=port.bore_mm)
                if fits
                else said("it has {seals}", seals=_seals(port))
            )
            yield Breach(
                port.id, said("entering at {port}: {entering}; {has}", port=port.id, entering=entering, has=has)
            )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Choose one seal a port; it takes the diameter of each trunk that enters, and has holes for all of them.

        Where the seals leave it open, trunks that do not pass the bore side by side do not enter together: of those
        thicker than half of it there is at most one, and none that is too thick for a thinner one beside it.
        """
        for port in job.enclosure.ports:
            enters = enters_by_trunk(x, port)
            if not enters:
                continue
            chosen = [x.literal(f"seal {i} of {port.id}") for i in range(len(port.seals))]
            x.require(sum(chosen) <= 1)
            for trunk, literal in enters.items():
                takes = [
                    one for one, seal in zip(chosen, port.seals, strict=True) if seal.takes(trunk.cable.diameter_mm)
                ]
                post(sum(takes) >= literal, port.id)
            holes = sum(seal.holes * one for one, seal in zip(chosen, port.seals, strict=True))
            post(sum(enters.values()) <= holes, port.id)
            if not _bore_binds(port):
                continue
            bore = port.bore_mm
            thick = [trunk for trunk in enters if 2 * trunk.cable.diameter_mm > bore + EPSILON]
            if len(thick) > 1:
                post(sum(enters[trunk] for trunk in thick) <= 1, port.id)
            for trunk, literal in enters.items():
                d = trunk.cable.diameter_mm
                beside = [enters[other] for other in thick if other.cable.diameter_mm + d > bore + EPSILON]
                if d > bore + EPSILON:
                    post(literal == 0, port.id)
                elif trunk not in thick and beside:
                    post(literal + sum(beside) <= 1, port.id)
            squares = sum(round(trunk.cable.diameter_mm**2 * 1e6) * literal for trunk, literal in enters.items())
            post(squares <= floor(bore**2 * 1e6 + 1e-3), port.id)

    def say(self, job: Job, subject: str) -> str:
        """Say which seals a port has, its bore where they leave more than it takes, and what could enter there."""
        port = job.enclosure.port_by_id[subject]
        trunks = [trunk for trunk in job.trunks if subject in trunk.allowed_ports(job.enclosure)]
        able = listed(
            [
                said("{trunk} of {diameter_mm:g} mm", trunk=trunk.id, diameter_mm=trunk.cable.diameter_mm)
                for trunk in trunks
            ]
        ) or said("no trunk")
        return said(
            "{subject}: it has {seals} in a bore of {bore:g} mm; {able} may enter there" if _bore_binds(port)
            else "{subject}: it has {seals}; {able} may enter there",
            subject=subject, seals=_seals(port), bore=port.bore_mm, able=able,
        )  # fmt: skip

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
                parts.append(
                    said("{alien} fits none of them|{alien} fit none of them", alien=listed(alien), n=len(alien))
                )
            most = max(min(seal.holes, len(trunks)) for seal, trunks in zip(port.seals, fitting, strict=True))
            if most < len(able) - len(alien):
                parts.append(said("no more than {most} of them at a time", most=most))
        return joined(parts, "; ")

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say which trunks could enter elsewhere."""
        trunks = [trunk for trunk, way in laid.ways.items() if way.port == subject]
        others = [port.id for port in job.enclosure.ports if port.id != subject]
        where = f" at {listed(others, 'or')}" if others else ""
        port = job.enclosure.port_by_id[subject]
        passes = port.passes([job.trunk_by_id[trunk].cable.diameter_mm for trunk in trunks])
        fit = f", or fit a seal to {subject} that takes them all" if passes else ""
        return f"bring one of {listed(trunks)} in{where or ' elsewhere'}{fit}"
