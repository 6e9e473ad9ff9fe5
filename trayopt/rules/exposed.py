"""exposed: a trunk is stripped no further than its owner allows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from trayopt.domain.assignment import Way
from trayopt.domain.base import Frozen
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job, Trunk
from trayopt.rules.base import Breach, Post, Rule
from trayopt.rules.encoding import forbid_places
from trayopt.rules.words import several
from trayopt.track.laid import Laid
from trayopt.track.lengths import Lengths

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
            strip = self.lengths(job).strip_of(laid, trunk.id)
            if strip > trunk.exposed_mm:
                loops = several(laid.ways[trunk.id].loops, "loop")
                longest = max(laid.legs[trunk.id], key=lambda item: item.route_mm)
                yield Breach(
                    trunk.id,
                    f"{trunk.id} is to be stripped by {strip:,} mm; with {loops} its longest "
                    f"leg {longest.leg} is routed over {longest.route_mm:,} mm; {trunk.exposed_mm:,} mm are exposed",
                )

    def lengths(self, job: Job) -> Lengths:
        """Give what the job adds to routes."""
        return Lengths(**self.parameters(job).model_dump())

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Forbid each way together with the places that it takes too long to reach."""
        lengths = self.lengths(job)
        for trunk in job.trunks:
            limit = trunk.exposed_mm
            if limit is None:
                continue

            def too_long(way: Way, place: Place, end: str, trunk: Trunk = trunk, limit: int = limit) -> bool:
                cut = lengths.cut_mm(trunk.transition_mm, x.routes.route_mm(way, place, end), way.loops)
                return lengths.strip_mm([cut], way.loops) > limit

            forbid_places(x, post, trunk, too_long)

    def say(self, job: Job, subject: str) -> str:
        """Say what the least to strip is, and what is exposed."""
        trunk = job.trunk_by_id[subject]
        loops = min(trunk.loops)
        least = self.lengths(job).strip_mm([], loops)
        exposed = "no limit" if trunk.exposed_mm is None else f"{trunk.exposed_mm:,} mm"
        return f"{subject}: at least {least:,} mm are stripped with {several(loops, 'loop')}; exposed: {exposed}"
