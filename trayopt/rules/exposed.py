"""exposed: a trunk is stripped no further than its owner allows."""

from __future__ import annotations

from collections.abc import Iterator
from types import MappingProxyType
from typing import TYPE_CHECKING

from trayopt.domain.assignment import Way
from trayopt.domain.hardware import Enclosure, Place
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.domain.trunk import Trunk
from trayopt.rules.base import Breach, Post, Rule
from trayopt.rules.encoding import forbid_places
from trayopt.rules.words import several
from trayopt.track.laid import Laid
from trayopt.track.lengths import Lengths
from trayopt.track.routes import routes_of, ways_to

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


TRY_MM = 40
"""The length that each attempt at a splice takes off either side, in mm: common practice, no source."""


class Exposed(Rule[Lengths]):
    """Broken when ``strip_mm`` is above the trunk's ``exposed_mm``."""

    id = "exposed"
    kind = "physical"
    subject = "trunk"
    statement = "more jacket has to come off than the trunk may expose"
    why = "Jacket that is not there to take off, or that may not be taken off, cannot free a longer leg."
    Parameters = Lengths
    blamed = 0
    helped_by = frozenset({"loops", "exposed"})
    says_all = True
    of_divisions = True

    usual_words = MappingProxyType({"allowance_mm": "π × the greatest width_mm of the box's guides, rounded up"})

    def usual(self, box: Enclosure | None) -> dict[str, int | float]:
        """Allow a lay at the outer edge of the widest guide instead of its middle."""
        found = super().usual(box)
        return found if box is None else found | {"allowance_mm": box.outer_lay_mm}

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Compare the length to strip of every trunk in the box with what it has exposed."""
        for trunk in laid.trunks():
            if trunk.exposed_mm is None:
                continue
            strip = self.parameters(job).strip_of(laid, trunk.id)
            if strip > trunk.exposed_mm:
                loops = several(laid.ways[trunk.id].loops, "loop")
                longest = max(laid.legs[trunk.id], key=lambda item: item.route_mm)
                yield Breach(
                    trunk.id,
                    said(
                        "{trunk} has to be stripped by {strip:,} mm; with {loops} its longest leg {longest_leg} travels "
                        "{longest_route_mm:,} mm; only {trunk_exposed_mm:,} mm may be exposed",
                        trunk=trunk.id,
                        strip=strip,
                        loops=loops,
                        longest_leg=longest.leg,
                        longest_route_mm=longest.route_mm,
                        trunk_exposed_mm=trunk.exposed_mm,
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Forbid each pair of a way and a place for which too much has to be stripped."""
        lengths = self.parameters(job)
        for trunk in job.trunks:
            limit = trunk.exposed_mm
            if limit is None:
                continue

            def too_long(way: Way, place: Place, end: str, trunk: Trunk = trunk, limit: int = limit) -> bool:
                cut = lengths.cut_mm(trunk.transition_mm, x.routes.route_mm(way, place, end), way.loops)
                return lengths.strip_mm([cut], way.loops) > limit

            forbid_places(x, post, trunk, too_long)

    def applies(self, job: Job, subject: str) -> bool:
        """Whether the trunk has a limit of exposed length."""
        return job.trunk_by_id[subject].exposed_mm is not None

    def say(self, job: Job, subject: str) -> str:
        """Say what the least to strip is, and what is exposed."""
        trunk = job.trunk_by_id[subject]
        loops = min(trunk.loops)
        least = self.parameters(job).strip_mm([], loops)
        exposed = said("no limit") if trunk.exposed_mm is None else said("{exposed:,} mm", exposed=trunk.exposed_mm)
        return said(
            "{subject}: with {loops}, at least {least:,} mm have to be stripped; exposed: {exposed}",
            subject=subject,
            least=least,
            loops=several(loops, "loop"),
            exposed=exposed,
        )

    def need(self, job: Job, subject: str) -> str:
        """Say the least that is to be stripped of a trunk, and what is exposed; where that may be enough, also the most."""
        trunk = job.trunk_by_id[subject]
        lengths, known = self.parameters(job), routes_of(job)
        found = []
        for way, place, end in ways_to(job, job.as_built.trunk_by_id[subject]):
            cut = lengths.cut_mm(trunk.transition_mm, known.route_mm(way, place, end), way.loops)
            found.append((lengths.strip_mm([cut], way.loops), way, place))
        exposed = said("no limit") if trunk.exposed_mm is None else said("{exposed:,} mm", exposed=trunk.exposed_mm)
        if not found:
            return said("{subject}: no way leads it to a tray; exposed: {exposed}", subject=subject, exposed=exposed)
        strip, way, place = min(found)
        most = max(found)[0]
        if trunk.exposed_mm is not None and strip <= trunk.exposed_mm < most:
            return said(
                "{subject}: {least:,} to {most:,} mm have to be stripped, depending on the way and the place; exposed: {exposed}",
                subject=subject,
                least=strip,
                most=most,
                exposed=exposed,
            )
        return said(
            "{subject}: the least to strip is {strip:,} mm (by {way_port}, {way_travel}, {loops}, to {place}); "
            "exposed: {exposed}",
            subject=subject,
            strip=strip,
            way_port=way.port,
            way_travel=said(way.travel),
            loops=several(way.loops, "loop"),
            place=place,
            exposed=exposed,
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid, subject
        return "choose a nearer stack, fewer loops or the other way round; or agree a longer exposed_mm with the owner"
