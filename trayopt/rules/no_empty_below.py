"""no_empty_below: no used tray place has an empty one under it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class NoEmptyBelow(Rule[NoParameters]):
    """Broken when a used place above position 1 has an unused place directly under it in its stack."""

    id = "no_empty_below"
    kind = "practice"
    subject = "tray place"
    of_ways = False
    statement = (
        "a used place above position 1 has an unused place directly under it in its stack, of the same kind of tray"
    )
    why = "Legs of inner trays are laid first; a gap filled later is threaded behind what is already laid."
    kept_by_more = True

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Look under every used tray place."""
        for place in laid.trays:
            under = Place(place.stack, place.position - 1)
            if not job.enclosure.stack_by_id[place.stack].begins(place.position) and under not in laid.trays:
                yield Breach(
                    str(place), said("{place} is used and {under}, directly under it, is not", place=place, under=under)
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Let a place be used only if the one under it is."""
        for place in job.enclosure.places:
            if not job.enclosure.stack_by_id[place.stack].begins(place.position):
                post(x.used(place) <= x.used(Place(place.stack, place.position - 1)), str(place))

    def say(self, job: Job, subject: str) -> str:
        """Say what a used place asks of the one under it."""
        stack, _, position = subject.partition("/")
        positions = job.enclosure.stack_by_id[stack].positions
        if position:
            return said(
                "{subject}: position {position} is used only if position {under} under it is used",
                subject=subject,
                position=position,
                under=int(position) - 1,
            )
        return said(
            "{subject}: its {positions} positions are used in their order, the one at the base first, and none "
            "is left empty under a used one",
            subject=subject,
            positions=positions,
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid
        return f"fill the stack from the base: move {subject} inward, or fill what is under it"
