"""reserve: a stack keeps trays in reserve, outward of the last used one."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from trayopt.domain.base import Frozen
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, Post, Rule
from trayopt.rules.words import several
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class ReserveParameters(Frozen):
    """``trays`` is how many places of every stack stay unused."""

    trays: Annotated[int, Field(ge=0, le=1000)] = 1


class Reserve(Rule[ReserveParameters]):
    """Broken when fewer than ``trays`` places of a stack are unused outward of the last used one."""

    id = "reserve"
    kind = "practice"
    level = "off"
    subject = "stack"
    of_ways = False
    statement = "a stack has fewer unused places than `trays` outward of its last used one"
    why = "A re-splice or a later cable needs a free tray that is reached without moving others."
    Parameters = ReserveParameters
    helped_by = frozenset({"trays", "tray_types", "divide_at", "box"})

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Count the unused places outward of the last used one of every stack."""
        asked = self.parameters(job).trays
        for stack in job.enclosure.stacks:
            last = max((place.position for place in laid.trays if place.stack == stack.id), default=0)
            free = stack.positions - last
            if free < asked:
                used = (
                    said("used up to position {last} of {stack_positions}", last=last, stack_positions=stack.positions)
                    if last
                    else said("unused")
                )
                yield Breach(
                    stack.id,
                    said(
                        "{stack} is {used}: {places} in reserve, {asked} asked for",
                        stack=stack.id,
                        used=used,
                        places=several(free, "place"),
                        asked=asked,
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Keep the outermost places of every stack unused."""
        trays = self.parameters(job).trays
        for stack in job.enclosure.stacks:
            if stack.positions < trays:
                post(False, stack.id)
            for position in range(max(1, stack.positions - trays + 1), stack.positions + 1):
                post(x.used(Place(stack.id, position)) == 0, stack.id)

    def say(self, job: Job, subject: str) -> str:
        """Say how many trays of a stack are to stay unused."""
        asked = self.parameters(job).trays
        places = several(job.enclosure.stack_by_id[subject].positions, "place")
        return said(
            "{subject}: {asked} of its {places} stay in reserve, outward of the last used one",
            subject=subject,
            asked=asked,
            places=places,
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid, subject
        return "move the outermost legs inward, or leave the outermost places free"
