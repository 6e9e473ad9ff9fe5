"""tied_trays: opened tubes tie few trays to each other."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from trayopt.domain.base import Frozen
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, Post, Rule
from trayopt.rules.words import listed, several
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class TiedTraysParameters(Frozen):
    """``trays`` is the greatest number of trays that may be tied to each other."""

    trays: Annotated[int, Field(ge=1, le=1000)] = 2


class TiedTrays(Rule[TiedTraysParameters]):
    """Broken when the group of places to which opened tubes tie a used place has more places than ``trays``.

    Two places are tied if an opened subunit has legs in both. A group has all places that are tied directly or by others.
    """

    id = "tied_trays"
    kind = "practice"
    level = "prefer"
    subject = "tray place"
    statement = "opened tubes tie the tray to more trays than may come to the bench together"
    why = "What a tube ties together comes to the bench together: to splice one tray again, all of them are lifted."
    Parameters = TiedTraysParameters
    helped_by = frozenset({"trays", "tray_types", "divide_at", "box"})
    of_divisions = True
    of_ways = False

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Count the places of every tied group."""
        most = self.parameters(job).trays
        group_of = {place: group for group in laid.tied for place in group}
        for place in laid.trays:
            group = group_of.get(place, [place])
            if len(group) > most:
                yield Breach(
                    str(place),
                    said(
                        "opened tubes tie {group}: {trays} come to the bench together; at most {most} should",
                        group=listed([str(other) for other in group]),
                        trays=several(len(group), "tray"),
                        most=most,
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Forbid every run of ``trays`` ties in a row, at each place that it ties.

        Legs of an opened tube lie on one stack at positions that stay or rise by one, so that a tied group is a run of places
        of a stack, each tied to the next.
        """
        most = self.parameters(job).trays
        for stack in job.enclosure.stacks:
            ties = [x.ties_next(Place(stack.id, position)) for position in range(1, stack.positions)]
            for start in range(len(ties) - most + 1):
                run = ties[start : start + most]
                for position in range(start + 1, start + most + 2):
                    post(sum(run) <= most - 1, str(Place(stack.id, position)))

    def say(self, job: Job, subject: str) -> str:
        """Say how many trays may be tied to each other."""
        most = self.parameters(job).trays
        return said(
            "{subject}: opened tubes tie at most {trays} to each other", subject=subject, trays=several(most, "tray")
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what makes the tied group smaller."""
        del job
        trunks = {
            leg.trunk
            for group in laid.tied
            if subject in map(str, group)
            for place in group
            for leg in laid.trays[place]
            if leg.of > 1 and laid.divide_at[leg.trunk] == "tray"
        }
        return (
            f"let subunits end where trays end, so that none goes on from {subject} to the next tray, or divide "
            f"{listed(sorted(trunks), 'or') or 'a trunk'} at the port"
        )
