"""ribbon_work: a trunk whose ribbons may be spliced as they are is neither split nor re-ribbonised."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.base import AS_THEY_ARE
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import ribbons_are
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class RibbonWork(Rule[NoParameters]):
    """Broken when the ribbons of a trunk are split or re-ribbonised although its list has ``as_they_are``."""

    id = "ribbon_work"
    kind = "practice"
    level = "prefer"
    subject = "trunk"
    statement = "ribbons that may be spliced as they are, are split or re-ribbonised"
    why = "A ribbon in its own matrix is handled once; whatever is done to it first takes time and can break a fibre."
    speaks_of = "ribbons_open"
    ways_only = True
    way_cells = ("ribbons",)
    helped_by = frozenset({"ribbons"})

    def applies(self, job: Job, subject: str) -> bool:
        """Whether the plan may leave the trunk's ribbons as they are, and may do otherwise."""
        own = job.trunk_by_id[subject].ribbons
        return len(own) > 1 and AS_THEY_ARE in own

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Find trunks whose ribbons are worked on without need."""
        for trunk in laid.trunks():
            word = laid.ribbons[trunk.id]
            if AS_THEY_ARE in trunk.ribbons and word != AS_THEY_ARE:
                yield Breach(
                    trunk.id,
                    said(
                        "the ribbons of {trunk} are {word}; as they are, they may be spliced too",
                        trunk=trunk.id,
                        word=ribbons_are(word),
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Leave ribbons as they are."""
        for trunk in job.trunks:
            if AS_THEY_ARE in trunk.ribbons:
                post(x.ribboned(trunk, AS_THEY_ARE) >= 1, trunk.id)

    def say(self, job: Job, subject: str) -> str:
        """Say what the rule asks for."""
        del job
        return said("{subject}: its ribbons are spliced as they are", subject=subject)

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid
        return f"splice the ribbons of {subject} as they are, or say in the job what is done with them"
