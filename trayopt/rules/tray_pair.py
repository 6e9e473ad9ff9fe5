"""tray_pair: a tray holds splices of one pair of trunks only."""

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


class TrayPair(Rule[NoParameters]):
    """Broken when a tray holds splices of more than one pair of trunks."""

    id = "tray_pair"
    kind = "practice"
    level = "prefer"
    subject = "tray place"
    of_ways = False
    statement = "a tray holds splices of more than one pair of trunks"
    why = "Work on one route opens only trays of that route."
    helped_by = frozenset({"trays", "tray_types", "divide_at"})

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Collect the pairs of trunks whose splices lie in each used tray place."""
        for place, runs in laid.sleeve_runs.items():
            pairs = dict.fromkeys(f"{run.a.trunk}+{run.b.trunk}" for run in runs)
            if len(pairs) > 1:
                yield Breach(
                    str(place),
                    said(
                        "{place} holds splices of {number} pairs of trunks: {pairs}",
                        place=place,
                        number=len(pairs),
                        pairs=listed(list(pairs)),
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Let at most one pair of trunks have splices in a tray."""
        if len(job.joined_pairs) > 1:
            for place in job.enclosure.places:
                post(sum(x.pair_at(pair, place) for pair in job.joined_pairs) <= 1, str(place))

    def say(self, job: Job, subject: str) -> str:
        """Say how many pairs of trunks there are, and how many trays."""
        trays = trays_of(job, subject).total()
        pairs = [f"{a}+{b}" for a, b in job.joined_pairs]
        return said(
            "{subject}: {trays}, each for one pair of trunks; the job joins {pairs}",
            subject=subject,
            trays=several(trays, "tray"),
            pairs=listed(pairs) or said("none"),
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid, subject
        return "keep the splices of each pair of trunks in trays of their own"
