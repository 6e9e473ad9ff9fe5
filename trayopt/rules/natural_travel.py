"""natural_travel: a trunk travels in the direction in which its port turns it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import joined
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class NaturalTravel(Rule[NoParameters]):
    """Broken when a trunk travels against the way its port ``turns``."""

    id = "natural_travel"
    kind = "practice"
    level = "prefer"
    subject = "trunk"
    statement = "a trunk travels against the way its port turns"
    why = "A trunk that goes on in the direction in which it comes in is bent least."
    way_cells = ("port", "travel")
    ways_only = True

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Compare the travel of every trunk in the box with its port."""
        for trunk, way in laid.ways.items():
            turns = job.enclosure.port_by_id[way.port].turns
            if turns not in {"both", way.travel}:
                yield Breach(
                    trunk,
                    said(
                        "{trunk} enters at {way_port} and travels {way_travel}; the natural way from there is {turns}",
                        trunk=trunk,
                        way_port=way.port,
                        turns=said(turns),
                        way_travel=said(way.travel),
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Forbid ways against the turn of their port."""
        for trunk in job.trunks:
            against = [
                way for way in x.ways(trunk) if job.enclosure.port_by_id[way.port].turns not in {"both", way.travel}
            ]
            if against:
                post(sum(x.goes(trunk, way) for way in against) <= 0, trunk.id)

    def say(self, job: Job, subject: str) -> str:
        """Say which way the trunk's ports turn."""
        ports = job.trunk_by_id[subject].allowed_ports(job.enclosure)
        turns = joined(
            [said("{port} {turns}", port=port, turns=said(job.enclosure.port_by_id[port].turns)) for port in ports]
        )
        return said("{subject}: it travels the natural way from its port: {turns}", subject=subject, turns=turns)

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid, subject
        return "let the trunk travel as its port turns, or enter at another port"
