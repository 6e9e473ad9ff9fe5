"""opposite_travel: two trunks that are joined travel opposite ways round."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.base import TRAVELS
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import several
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class OppositeTravel(Rule[NoParameters]):
    """Broken when two trunks with a join between them, placed or not, both in the box, travel the same way."""

    id = "opposite_travel"
    kind = "practice"
    level = "prefer"
    weight = 3
    subject = "pair of trunks"
    statement = "two trunks with a join between them, both in the box, travel the same way"
    why = "Legs that meet in a tray by opposite entrances lie freely; by the same one they lie over each other."
    says_all = True
    way_cells = ("travel",)
    ways_only = True

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Compare the travel of every joined pair that is in the box."""
        for a, b in job.joined_pairs:
            one, other = laid.ways.get(a), laid.ways.get(b)
            if one is not None and other is not None and one.travel == other.travel:
                yield Breach(
                    f"{a}+{b}",
                    said("{a} and {b} are joined and both travel {one_travel}", a=a, b=b, one_travel=said(one.travel)),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Let at most one of two joined trunks travel in each direction."""
        for a, b in job.joined_pairs:
            for travel in TRAVELS:
                post(x.travels(job.trunk_by_id[a], travel) + x.travels(job.trunk_by_id[b], travel) <= 1, f"{a}+{b}")

    def say(self, job: Job, subject: str) -> str:
        """Say which trunks are joined, and by how many splices."""
        a, _, b = subject.partition("+")
        splices = sum(join.a.count for join in job.joins if {join.a.trunk, join.b.trunk} == {a, b})
        return said(
            "{subject}: {a} and {b} are joined by {splices} and should travel in opposite directions",
            subject=subject,
            a=a,
            b=b,
            splices=several(splices, "splice"),
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid, subject
        return "let one of the two trunks travel the other way round"
