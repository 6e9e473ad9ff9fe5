"""port_fill: a port that is a conduit is filled no further than the guideline."""

from __future__ import annotations

from collections.abc import Iterator
from math import floor
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from trayopt.domain.base import EPSILON, Frozen
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, Post, Rule
from trayopt.rules.encoding import enters_by_trunk
from trayopt.rules.words import percent, several
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class PortFillParameters(Frozen):
    """Part of the bore that one, two, or more trunks may fill."""

    one: Annotated[float, Field(gt=0, le=1, allow_inf_nan=False)] = 0.53
    two: Annotated[float, Field(gt=0, le=1, allow_inf_nan=False)] = 0.31
    more: Annotated[float, Field(gt=0, le=1, allow_inf_nan=False)] = 0.40


class PortFill(Rule[PortFillParameters]):
    """Broken when Σ diameter² of the trunks in a port is above fill × bore²; the fill goes by their number."""

    id = "port_fill"
    kind = "practice"
    level = "off"
    subject = "port"
    statement = "the trunks in a port fill more of its bore than the guideline for conduits"
    why = "Cables that fill a conduit jam when they are drawn in."
    source = "NFPA 70 (2014), chapter 9, table 1 (53, 31, 40 %); only a guideline for fibre cable without metal"
    Parameters = PortFillParameters
    way_cells = ("port",)
    ways_only = True

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Compare the squares of the diameters of the trunks in every port with its bore."""
        chosen = self.parameters(job)
        for port in job.enclosure.ports:
            diameters = [trunk.cable.diameter_mm for trunk in laid.trunks() if laid.ways[trunk.id].port == port.id]
            fill = {1: chosen.one, 2: chosen.two}.get(len(diameters), chosen.more)
            filled = sum(diameter**2 for diameter in diameters)
            if filled > fill * port.bore_mm**2 + EPSILON:
                yield Breach(
                    port.id,
                    said(
                        "{trunks} in {port}: {filled} of its bore of {port_bore_mm:g} mm; the guideline is {fill}",
                        trunks=several(len(diameters), "trunk"),
                        port=port.id,
                        filled=percent(filled / port.bore_mm**2),
                        port_bore_mm=port.bore_mm,
                        fill=percent(fill),
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Bound Σ diameter² by the fill for the number of trunks in the port."""
        asked = self.parameters(job)
        for port in job.enclosure.ports:
            enters = enters_by_trunk(x, port)
            if not enters:
                continue
            number = sum(enters.values())
            squares = sum(round(trunk.cable.diameter_mm**2 * 1e6) * literal for trunk, literal in enters.items())
            none, one, two, more = (x.literal(f"{n} in {port.id}") for n in ("none", "one", "two", "more"))
            x.require(none + one + two + more == 1)
            x.require(number == 0, none)
            x.require(number == 1, one)
            x.require(number == 2, two)
            x.require(number >= 3, more)
            for count, fill in ((one, asked.one), (two, asked.two), (more, asked.more)):
                post(squares <= floor(fill * port.bore_mm**2 * 1e6 + 1e-3), port.id, (count,))

    def say(self, job: Job, subject: str) -> str:
        """Say what the guideline is for a port."""
        chosen, port = self.parameters(job), job.enclosure.port_by_id[subject]
        return said(
            "{subject}: of its bore of {port_bore_mm:g} mm one trunk may fill {one}, two {two}, more {more}",
            subject=subject,
            port_bore_mm=port.bore_mm,
            one=percent(chosen.one),
            two=percent(chosen.two),
            more=percent(chosen.more),
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid, subject
        return "take another port for one of the cables, or a wider one"
