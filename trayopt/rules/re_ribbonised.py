"""re_ribbonised: a trunk is not re-ribbonised if less work is allowed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import listed, ribbons_are
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class ReRibbonised(Rule[NoParameters]):
    """Broken when a trunk is re-ribbonised although its list has less work."""

    id = "re_ribbonised"
    kind = "practice"
    level = "prefer"
    subject = "trunk"
    statement = "ribbons that may be spliced as they are, or split, are re-ribbonised"
    why = "Ribbons that are made anew cost minutes each, glue or tape, and a jig at the bench; a split costs a cut."
    speaks_of = "ribbons_open"
    ways_only = True
    way_cells = ("ribbons",)
    helped_by = frozenset({"ribbons"})

    def applies(self, job: Job, subject: str) -> bool:
        """Whether the plan may re-ribbonise the trunk, and may do less."""
        trunk = job.trunk_by_id[subject]
        return 0 < len(trunk.keeps_or_splits) < len(trunk.ribbons)

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Find trunks that are re-ribbonised without need."""
        for trunk in laid.trunks():
            word = laid.ribbons[trunk.id]
            if trunk.keeps_or_splits and isinstance(word, int):
                less = listed([ribbons_are(other) for other in trunk.keeps_or_splits], "or")
                yield Breach(
                    trunk.id,
                    said(
                        "the ribbons of {trunk} are {word}; they may be {less} too",
                        trunk=trunk.id,
                        word=ribbons_are(word),
                        less=less,
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Require less work than re-ribbonising."""
        for trunk in job.trunks:
            if trunk.keeps_or_splits:
                post(sum(x.ribboned(trunk, word) for word in trunk.keeps_or_splits) >= 1, trunk.id)

    def say(self, job: Job, subject: str) -> str:
        """Say what the rule asks for."""
        less = listed([ribbons_are(word) for word in job.trunk_by_id[subject].keeps_or_splits], "or")
        return said("{subject}: its ribbons are {less}, and not made anew", subject=subject, less=less)

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid
        return f"do not re-ribbonise {subject}, or say in the job that it is"
