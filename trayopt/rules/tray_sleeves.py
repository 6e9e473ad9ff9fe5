"""tray_sleeves: a tray holds no more splice sleeves than it has places for."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import listed, several, trays_of
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class TraySleeves(Rule[NoParameters]):
    """Broken when the sleeves in a tray place are more than its tray's ``sleeves``."""

    id = "tray_sleeves"
    kind = "physical"
    subject = "tray place"
    statement = "splice sleeves are more than the tray has places for"
    why = "A run shorter than a sleeve takes a whole one: a tray can be out of sleeves before it is out of fibres."
    blamed = 3
    helped_by = frozenset({"trays", "tray_types", "divide_at", "ribbons", "box"})
    of_ways = False

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Count the sleeves of every used tray place."""
        for place in laid.trays:
            tray = job.enclosure.tray_at(place)
            sleeves = laid.sleeves(place)
            if sleeves > tray.sleeves:
                yield Breach(
                    str(place),
                    said(
                        "{place} holds {splices} in {sleeves} of {tray_sleeve_fibres}; its tray has "
                        "{places} for sleeves",
                        place=place,
                        splices=several(laid.splices(place), "splice"),
                        sleeves=several(sleeves, "sleeve"),
                        tray_sleeve_fibres=tray.sleeve_fibres,
                        places=several(tray.sleeves, "place"),
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Bound the sleeves of every place: each side of a run brings half of the sleeves of the run."""
        for place in job.enclosure.places:
            post(x.sleeves2_at_least(place) <= 2 * job.enclosure.tray_at(place).sleeves, str(place))

    def say(self, job: Job, subject: str) -> str:
        """Say how many sleeves the trays of a place or a stack hold, and how many the splices of the job need."""
        trays = trays_of(job, subject)
        size = max(tray.sleeve_fibres for tray in trays)
        needed = sum(run.sleeves(size) for run in job.sleeve_runs)
        kinds = listed(
            [
                said(
                    "{trays} of {sleeves} of {tray_sleeve_fibres}",
                    trays=several(count, "tray"),
                    sleeves=several(tray.sleeves, "sleeve"),
                    tray_sleeve_fibres=tray.sleeve_fibres,
                )
                for tray, count in trays.items()
            ]
        )
        asked = said(
            "{needed:,} at least, whatever is done with ribbons" if job.ribbons_open else "{needed:,}", needed=needed
        )
        return said(
            "{subject}: {kinds} holds {sleeves:,}; all splices of the job need {asked}|"
            "{subject}: {kinds} hold {sleeves:,}; all splices of the job need {asked}",
            subject=subject, kinds=kinds, n=trays.total(), asked=asked,
            sleeves=sum(count * tray.sleeves for tray, count in trays.items()),
        )  # fmt: skip

    def short(self, job: Job) -> bool:
        """Whether all trays together have too few sleeves."""
        have = sum(tray.sleeves for stack in job.enclosure.stacks for tray in stack.by_position)
        size = max(tray.sleeve_fibres for tray in job.enclosure.trays)
        return have < sum(run.sleeves(size) for run in job.sleeve_runs)

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what takes fewer sleeves."""
        del job, laid
        return f"move splices out of {subject}, or divide subunits so that runs fill whole sleeves"
