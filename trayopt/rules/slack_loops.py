"""slack_loops: a trunk makes at least one slack loop and at most two."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Self

from pydantic import Field, model_validator

from trayopt.domain.base import Frozen
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, Post, Rule
from trayopt.rules.words import listed, several
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class SlackLoopsParameters(Frozen):
    """Fewest and most slack loops of a trunk."""

    least: Annotated[int, Field(ge=0, le=9)] = 1
    most: Annotated[int, Field(ge=0, le=9)] = 2

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.least > self.most:
            raise ValueError(f"least {self.least} of slack_loops is above most {self.most}")
        return self


class SlackLoops(Rule[SlackLoopsParameters]):
    """Broken when the loops of a trunk are outside ``least`` … ``most``."""

    id = "slack_loops"
    kind = "practice"
    subject = "trunk"
    statement = "the loops of a trunk are outside least … most"
    why = "Without a slack loop nothing can be spliced again; each further one fills the track."
    Parameters = SlackLoopsParameters
    helped_by = frozenset({"loops"})
    says_all = True
    way_cells = ("loops",)
    ways_only = True

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Compare the loops of every trunk in the box."""
        chosen = self.parameters(job)
        for trunk, way in laid.ways.items():
            if not chosen.least <= way.loops <= chosen.most:
                yield Breach(
                    trunk,
                    said(
                        "{trunk} makes {loops}; {chosen_least} to {chosen_most} are asked for",
                        trunk=trunk,
                        loops=several(way.loops, "loop"),
                        chosen_least=chosen.least,
                        chosen_most=chosen.most,
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Forbid ways with too few or too many loops."""
        asked = self.parameters(job)
        for trunk in job.trunks:
            wrong = [way for way in x.ways(trunk) if not asked.least <= way.loops <= asked.most]
            if wrong:
                post(sum(x.goes(trunk, way) for way in wrong) <= 0, trunk.id)

    def say(self, job: Job, subject: str) -> str:
        """Say how many loops are good practice, and how many the trunk may make."""
        chosen = self.parameters(job)
        own = listed(job.trunk_by_id[subject].loops, "or")
        return said(
            "{subject}: {chosen_least} to {chosen_most} slack loops are asked for; its own are {own}",
            subject=subject,
            chosen_least=chosen.least,
            chosen_most=chosen.most,
            own=own,
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say how many loops are asked for."""
        del laid
        setting = job.rules["slack_loops"].parameters
        return f"give {subject} {setting.get('least', 1)} to {setting.get('most', 2)} slack loops"
