"""exposed: a trunk is stripped no further than its owner allows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from trayopt.domain.base import Frozen
from trayopt.domain.job import Job
from trayopt.rules.base import Breach, Post, Rule
from trayopt.rules.words import several
from trayopt.track import routes
from trayopt.track.laid import Laid, LaidLeg

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class ExposedParameters(Frozen):
    """Lengths in mm: kept to splice again, allowed a turn, least to strip, and what a second loop adds."""

    resplice_mm: Annotated[int, Field(ge=0, le=100_000)] = 120
    allowance_mm: Annotated[int, Field(ge=0, le=100_000)] = 100
    least_mm: Annotated[int, Field(ge=0, le=100_000)] = 3000
    extra_loop_mm: Annotated[int, Field(ge=0, le=100_000)] = 1000


class Exposed(Rule[ExposedParameters]):
    """Broken when ``strip_mm`` is above the trunk's ``exposed_mm``."""

    id = "exposed"
    kind = "physical"
    subject = "trunk"
    statement = "the length to strip is above what the trunk has exposed"
    why = "Jacket that is not there to take off, or that may not be taken off, cannot free a longer leg."
    Parameters = ExposedParameters

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Compare the length to strip of every trunk in the box with what it has exposed."""
        for trunk in laid.trunks():
            if trunk.exposed_mm is None:
                continue
            strip = self.strip_mm(job, laid, trunk.id)
            if strip > trunk.exposed_mm:
                loops = several(laid.ways[trunk.id].loops, "loop")
                longest = max(laid.legs[trunk.id], key=lambda item: item.route_mm)
                yield Breach(
                    trunk.id,
                    f"{trunk.id} is to be stripped by {strip:,} mm; with {loops} its longest "
                    f"leg {longest.leg} is routed over {longest.route_mm:,} mm; {trunk.exposed_mm:,} mm are exposed",
                )

    def cut_mm(self, job: Job, laid: Laid, leg: LaidLeg) -> int:
        """Length at which a placed leg is cut, from the jacket's end."""
        chosen = self.parameters(job)
        return routes.cut_mm(
            job.trunk_by_id[leg.leg.trunk].transition_mm,
            leg.route_mm,
            laid.ways[leg.leg.trunk].loops,
            resplice_mm=chosen.resplice_mm,
            allowance_mm=chosen.allowance_mm,
        )

    def strip_mm(self, job: Job, laid: Laid, trunk: str) -> int:
        """Length of jacket to take off a trunk in the box."""
        chosen = self.parameters(job)
        cuts = [self.cut_mm(job, laid, leg) for leg in laid.legs[trunk]]
        return routes.strip_mm(
            cuts, laid.ways[trunk].loops, least_mm=chosen.least_mm, extra_loop_mm=chosen.extra_loop_mm
        )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Not yet in the model."""
        raise AssertionError("encoded in a later commit")

    def say(self, job: Job, subject: str) -> str:
        """Say what the least to strip is, and what is exposed."""
        chosen, trunk = self.parameters(job), job.trunk_by_id[subject]
        loops = min(trunk.loops)
        least = chosen.least_mm + chosen.extra_loop_mm * (loops - 1)
        exposed = "no limit" if trunk.exposed_mm is None else f"{trunk.exposed_mm:,} mm"
        return f"{subject}: at least {least:,} mm are stripped with {several(loops, 'loop')}; exposed: {exposed}"
