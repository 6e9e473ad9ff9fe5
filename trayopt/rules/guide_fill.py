"""guide_fill: what passes a guide fills no more than a part of its opening."""

from __future__ import annotations

from collections.abc import Iterator
from math import pi
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from trayopt.domain.base import EPSILON, Frozen
from trayopt.domain.job import Job
from trayopt.rules.base import Breach, Post, Rule
from trayopt.rules.words import several
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class GuideFillParameters(Frozen):
    """``fill`` is the part of a guide's opening that may be filled."""

    fill: Annotated[float, Field(gt=0, le=1, allow_inf_nan=False)] = 0.5


class GuideFill(Rule[GuideFillParameters]):
    """Broken when the cross-sections of all passes of a guide are above ``fill`` × ``opening_mm2``."""

    id = "guide_fill"
    kind = "physical"
    subject = "guide"
    statement = "passes × cross-section of what passes are more than the fill of the guide's opening"
    why = "Tubes that are pressed into a full guide kink, and none can be drawn back out by itself."
    source = "50 % as a limit for trays and guides: from memory, TIA-569"
    Parameters = GuideFillParameters

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Add up the cross-sections of everything that passes each guide."""
        fill = self.parameters(job).fill
        for guide in job.enclosure.track.guides:
            passing = laid.passes(guide.id)
            area = sum(times * pi * item.diameter_mm**2 / 4 for item, times in passing)
            if area > fill * guide.opening_mm2 + EPSILON:
                times = sum(times for _, times in passing)
                yield Breach(
                    guide.id,
                    f"{several(times, 'pass', 'passes')} fill {area:,.0f} mm² of {guide.id}; its opening of "
                    f"{guide.opening_mm2:,.0f} mm² takes {fill * guide.opening_mm2:,.0f} mm² at {fill:.0%}",
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Not yet in the model."""
        raise AssertionError("encoded in a later commit")

    def say(self, job: Job, subject: str) -> str:
        """Say how much a guide takes."""
        fill = self.parameters(job).fill
        guide = next(guide for guide in job.enclosure.track.guides if guide.id == subject)
        tubes = sum(group.count for trunk in job.trunks for group in trunk.cable.subunits)
        return (
            f"{subject}: {fill:.0%} of its opening of {guide.opening_mm2:,.0f} mm² are "
            f"{fill * guide.opening_mm2:,.0f} mm²; "
            f"the trunks have {several(tubes, 'tube')} of their own, and each loop passes once more"
        )
