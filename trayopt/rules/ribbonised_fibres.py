"""ribbonised_fibres: loose fibres stay out of trays for ribbons, where a stack has trays for single fibres as well."""

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


class RibbonisedFibres(Rule[NoParameters]):
    """Broken when loose fibres of two trunks are spliced to each other in a tray whose sleeves take several fibres.

    Notes
    -----
    Loose fibres that are spliced to ribbons break nothing: in a tray for single fibres the ribbons would be separated, which is
    what ``separated_ribbons`` speaks of.
    """

    id = "ribbonised_fibres"
    kind = "practice"
    level = "off"
    subject = "tray place"
    of_ways = False
    statement = (
        "splices between loose fibres lie in a tray for ribbons, of a box whose stacks carry several kinds of trays"
    )
    why = "Loose fibres that share a sleeve are made into ribbons first, and trays for ribbons stay free for ribbons."
    speaks_of = "mixed"
    helped_by = frozenset({"trays", "tray_types", "box"})

    def applies(self, job: Job, subject: str) -> bool:
        """Whether the place, or one of the stack, is for ribbons."""
        return job.mixed and any(str(place) == subject or place.stack == subject for place in job.ribbon_places)

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Find splices of loose fibres in trays for ribbons."""
        for place in job.ribbon_places if job.mixed else ():
            pairs = dict.fromkeys((run.a.trunk, run.b.trunk) for run in laid.sleeve_runs.get(place, ()))
            loose = [f"{a}+{b}" for a, b in pairs if not any(job.trunk_by_id[end].in_ribbons for end in (a, b))]
            if loose:
                yield Breach(
                    str(place),
                    said(
                        "splices between loose fibres in {place}, a tray for ribbons: {pairs}",
                        place=place,
                        pairs=listed(loose),
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Keep splices between trunks of loose fibres out of trays for ribbons."""
        loose = {trunk.id for trunk in job.trunks if not trunk.in_ribbons}
        pairs = [pair for pair in job.joined_pairs if loose.issuperset(pair)]
        for place in job.ribbon_places if job.mixed else ():
            for pair in pairs:
                post(x.pair_at(pair, place) <= 0, str(place))

    def say(self, job: Job, subject: str) -> str:
        """Say what the rule asks for."""
        del job
        return said("{subject}: trays for ribbons take no splices between loose fibres", subject=subject)

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid
        return (
            f"move the loose fibres of {subject} to a tray for single fibres, or let the rule be off where they may be made "
            f"into ribbons"
        )
