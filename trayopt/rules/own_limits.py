"""own limits: the port, travel, loops and place of division of a trunk are among those that its owner allows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.domain.trunk import Trunk
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import joined, listed, ribbons_are, several
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class OwnLimits(Rule[NoParameters]):
    """Broken when the port, travel, loops, place of division or ribbon work of a trunk is not in the trunk's own list."""

    id = "own_limits"
    named = "own limits"
    kind = "always"
    subject = "trunk"
    statement = "the trunk has a port, a travel, loops, a place of division or work on its ribbons that the job does not allow it"
    why = "The plan must not change what the owner of a trunk has fixed."
    ways_only = True

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Compare the way of every trunk in the box with its own lists."""
        for trunk in laid.trunks():
            way = laid.ways[trunk.id]
            ports = trunk.allowed_ports(job.enclosure)
            faults: list[str] = []
            if way.port not in ports:
                faults.append(
                    said(
                        "enters at {way_port}, where {ports} is allowed",
                        way_port=way.port,
                        ports=listed(ports, "or") or said("no port"),
                    )
                )
            if way.travel not in trunk.travels:
                faults.append(
                    said(
                        "travels {way_travel}, where {travels} is allowed",
                        way_travel=said(way.travel),
                        travels=listed([said(travel) for travel in trunk.travels], "or"),
                    )
                )
            if way.loops not in trunk.loops:
                faults.append(
                    said(
                        "makes {made}, where {loops} is allowed",
                        made=several(way.loops, "loop"),
                        loops=listed(trunk.loops, "or"),
                    )
                )
            if laid.divide_at[trunk.id] not in trunk.divide_at:
                faults.append(
                    said(
                        "is divided at {at}, where {own} is allowed",
                        at=said(f"the {laid.divide_at[trunk.id]}"),
                        own=_divided(trunk),
                    )
                )
            word = laid.ribbons[trunk.id]
            if word not in trunk.ribbons:
                faults.append(
                    said(
                        "has its ribbons {word}, where {own} is allowed",
                        word=ribbons_are(word),
                        own=_ribbons(trunk),
                    )
                )
            if faults:
                yield Breach(trunk.id, said("{trunk} {faults}", trunk=trunk.id, faults=joined(faults, "; ")))

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Post nothing: ways and divisions of the model are those inside the trunk's own limits."""

    def say(self, job: Job, subject: str) -> str:
        """Say what the trunk's own limits are."""
        trunk = job.trunk_by_id[subject]
        limits = said(
            "{subject}: enters at {ports}, travels {travels}, slack loops {loops}, divided at {own}",
            subject=subject,
            ports=listed(trunk.allowed_ports(job.enclosure), "or") or said("no port"),
            travels=listed([said(travel) for travel in trunk.travels], "or"),
            loops=listed(trunk.loops, "or"),
            own=_divided(trunk),
        )
        if not trunk.may_work_ribbons:
            return limits
        return said("{limits}, its ribbons {ribbons}", limits=limits, ribbons=_ribbons(trunk))

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what the owner of the trunk allows."""
        trunk = job.trunk_by_id[subject]
        if laid.ribbons[subject] not in trunk.ribbons:
            return f"splice {subject} with its ribbons {_ribbons(trunk)}, or ask its owner for other limits"
        ports = trunk.allowed_ports(job.enclosure)
        return (
            f"bring {subject} in at {listed(ports, 'or') or 'no port'}, let it travel {listed(trunk.travels, 'or')} with "
            f"{listed(sorted(set(trunk.loops)), 'or')} loops, divide it at {_divided(trunk)}, or ask its owner for other limits"
        )


def _ribbons(trunk: Trunk) -> str:
    return listed([ribbons_are(word) for word in trunk.ribbons], "or")


def _divided(trunk: Trunk) -> str:
    return listed([said(f"the {at}") for at in trunk.divide_at], "or")
