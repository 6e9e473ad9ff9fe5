"""tray_fibres: a tray holds no more splices and parked fibres than it has places."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import several, trays_of
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class TrayFibres(Rule[NoParameters]):
    """Broken when splices + parked fibres of a tray place are above its tray's ``fibres``."""

    id = "tray_fibres"
    kind = "physical"
    subject = "tray place"
    statement = "splices and parked fibres are more than the tray has places for"
    why = "A tray has one place for each splice and each parked fibre; what is over has nowhere to lie."

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Count splices and parked fibres of every used tray place."""
        for place in laid.trays:
            tray = job.enclosure.tray_at(place)
            splices, parked = laid.splices(place), laid.parked(place)
            if splices + parked > tray.fibres:
                yield Breach(
                    str(place),
                    f"{place} holds {splices} splices and {parked} parked fibres; its tray has {tray.fibres} places",
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Bound the load of every place: a leg brings its unspliced fibres whole and its spliced ones by half."""
        for place in job.enclosure.places:
            post(x.load2_at_least(place) <= 2 * job.enclosure.tray_at(place).fibres, str(place))

    def say(self, job: Job, subject: str) -> str:
        """Say how many fibres the trays of a place or a stack hold, and how many splices the job has."""
        stack, trays = trays_of(job, subject)
        return (
            f"{subject}: {several(trays, 'tray')} of {stack.tray.fibres} {'holds' if trays == 1 else 'hold'} "
            f"{trays * stack.tray.fibres:,} fibres; {job.splices:,} splices are to be placed in all"
        )
