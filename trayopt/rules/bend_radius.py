"""bend_radius: the track bends no tube and no leg below its least radius."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.base import EPSILON
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.encoding import only_where
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class BendRadius(Rule[NoParameters]):
    """Broken when the tube that travels for a placed leg has a least radius above the track's ``min_radius_mm``."""

    id = "bend_radius"
    kind = "physical"
    subject = "subunit"
    statement = "the track bends more tightly than the tube of a placed leg, or what passes uncut, may be bent"
    why = "A buffer tube that is bent too sharply kinks, which costs light or breaks fibres."
    source = (
        "7 CFR 1755.200 (1995), (e)(4)(iv): buffer tubes, usually 38 to 76 mm; ICEA S-87-640 (2000), scope: ten times the "
        "diameter of a cable at rest"
    )
    blamed = 7
    helped_by = frozenset({"tubes", "divide_at", "box"})
    cells = ("fibres", "from fibres", "from")
    of_divisions = True
    of_uncut = True

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Compare what travels for the legs of every subunit with the track."""
        track = job.enclosure.track.min_radius_mm
        for (trunk, number), legs in laid.by_subunit.items():
            subunit = job.subunit_of_leg[trunk, number]
            goes = laid.traveller(subunit, legs[0].leg.of)
            if goes is not None and goes.radius_mm > track + EPSILON:
                what = (
                    said("the tube of {subunit_name}", subunit_name=subunit.name)
                    if goes.own
                    else said("the tube round the legs of {subunit_name}", subunit_name=subunit.name)
                )
                yield Breach(
                    subunit.name,
                    said(
                        "{what}, {goes_diameter_mm:g} mm, may be bent to {goes_radius_mm:g} mm; the track bends "
                        "it to {track:g} mm",
                        what=what,
                        goes_diameter_mm=goes.diameter_mm,
                        goes_radius_mm=goes.radius_mm,
                        track=track,
                    ),
                )

        for window in laid.windows:
            for unit in job.trunk_by_id[window.through.ends[0]].passing:
                if unit.radius_mm > track + EPSILON:
                    yield Breach(
                        unit.name,
                        said(
                            "the tube of {unit_name}, {unit_diameter_mm:g} mm, passes uncut and may be bent to "
                            "{unit_radius_mm:g} mm; the track bends it to {track:g} mm",
                            unit_name=unit.name,
                            unit_diameter_mm=unit.diameter_mm,
                            unit_radius_mm=unit.radius_mm,
                            track=track,
                        ),
                    )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Forbid legs and trunks with tubes that need a wider bend than the track gives."""
        for item in job.through:
            enters = job.trunk_by_id[item.ends[0]]
            for unit in enters.passing:
                if unit.radius_mm > job.enclosure.track.min_radius_mm + EPSILON:
                    post(x.in_box(enters) <= 0, unit.name)
        for subunit in job.subunits:
            trunk = job.trunk_by_id[subunit.trunk]
            for of in x.divisions(subunit):
                for at in x.divide_options(trunk):
                    tube = x.routes.traveller(trunk, subunit, of, at)
                    if tube is not None and tube.radius_mm > job.enclosure.track.min_radius_mm + EPSILON:
                        placed = x.any_of(*(x.placed(leg) for leg in x.legs(subunit, of)))
                        post(placed == 0, subunit.name, only_where(x, trunk, at))

    def say(self, job: Job, subject: str) -> str:
        """Say which radius the track has, and which radius a subunit's tube needs."""
        trunk, _, number = subject.rpartition("/")
        subunit = job.subunit_of_leg[trunk, int(number)]
        return said(
            "{subject}: the track bends to {min_radius_mm:g} mm; its own tube of {subunit_diameter_mm:g} mm may "
            "be bent to {subunit_radius_mm:g} mm",
            subject=subject,
            min_radius_mm=job.enclosure.track.min_radius_mm,
            subunit_diameter_mm=subunit.diameter_mm,
            subunit_radius_mm=subunit.radius_mm,
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        trunk, _, number = subject.rpartition("/")
        if int(number) in job.trunk_by_id[trunk].uncut:
            return f"choose a box with a wider track for the tubes that pass uncut, or have {subject} cut"
        del laid
        return "divide the subunit so that a thinner tube travels, or keep it whole if its own tube bends further"
