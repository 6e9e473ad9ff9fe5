"""separated_ribbons: ribbons stay out of trays for single fibres, where a stack has others as well."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import listed
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class SeparatedRibbons(Rule[NoParameters]):
    """Broken when a leg of ribbons lies in a tray whose sleeves take one fibre each."""

    id = "separated_ribbons"
    kind = "practice"
    level = "prefer"
    subject = "tray place"
    of_ways = False
    statement = "a leg of ribbons lies in a tray for single fibres, of a box whose stacks carry several kinds of trays"
    why = "Ribbons in single sleeves are separated fibre by fibre: the slowest splices there are, and the easiest to break."
    speaks_of = "mixed"
    helped_by = frozenset({"trays", "tray_types", "box"})

    def applies(self, job: Job, subject: str) -> bool:
        """Whether the place, or one of the stack, is for single fibres."""
        return job.mixed and any(str(place) == subject or place.stack == subject for place in job.single_places)

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Find legs that lie in the wrong trays for single fibres."""
        for place in job.single_places if job.mixed else ():
            legs = [leg for leg in laid.trays.get(place, ()) if job.trunk_by_id[leg.trunk].in_ribbons]
            if legs:
                yield Breach(
                    str(place),
                    said(
                        "{legs} of ribbons in {place}, whose sleeves take one fibre each",
                        legs=listed(legs),
                        place=place,
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Keep trunks of ribbons out of trays for single fibres."""
        for place in job.single_places if job.mixed else ():
            for trunk in job.trunks:
                if trunk.in_ribbons:
                    post(x.trunk_at(trunk, place) <= 0, str(place))

    def say(self, job: Job, subject: str) -> str:
        """Say what the rule asks for."""
        del job
        return said("{subject}: trays for single fibres take no leg of ribbons", subject=subject)

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid
        return (
            f"move the ribbons of {subject} to a tray for ribbons, or let the rule be off where they may be separated"
        )
