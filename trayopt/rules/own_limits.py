"""own limits: a trunk enters, travels, loops and is divided only as its owner allows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.trunk import Trunk
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import listed, ribbons_are
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class OwnLimits(Rule[NoParameters]):
    """Broken when the trunk has a port, a travel, loops, a place of division or work on its ribbons that is not among its own."""

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
            faults = []
            if way.port not in ports:
                faults.append(f"enters at {way.port}, where {listed(ports, 'or') or 'no port'} is allowed")
            if way.travel not in trunk.travels:
                faults.append(f"travels {way.travel}, where {listed(trunk.travels, 'or')} is allowed")
            if way.loops not in trunk.loops:
                faults.append(f"makes {way.loops} loops, where {listed(trunk.loops, 'or')} is allowed")
            if laid.divide_at[trunk.id] not in trunk.divide_at:
                faults.append(f"is divided at the {laid.divide_at[trunk.id]}, where {_divided(trunk)} is allowed")
            word = laid.ribbons[trunk.id]
            if word not in trunk.ribbons:
                faults.append(f"has its ribbons {ribbons_are(word)}, where {_ribbons(trunk)} is allowed")
            if faults:
                yield Breach(trunk.id, f"{trunk.id} {'; '.join(faults)}")

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Post nothing: ways and divisions of the model are those inside the trunk's own limits."""

    def say(self, job: Job, subject: str) -> str:
        """Say what the trunk's own limits are."""
        trunk = job.trunk_by_id[subject]
        return (
            f"{subject}: enters at {listed(trunk.allowed_ports(job.enclosure), 'or') or 'no port'}, travels "
            f"{listed(trunk.travels, 'or')}, slack loops {listed(trunk.loops, 'or')}, divided at {_divided(trunk)}"
            + (f", its ribbons {_ribbons(trunk)}" if trunk.may_work_ribbons else "")
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what its owner allows."""
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
    return listed([f"the {at}" for at in trunk.divide_at], "or")
