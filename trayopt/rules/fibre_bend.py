"""fibre_bend: a tray bends no fibre tighter than its class allows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.base import EPSILON
from trayopt.domain.cable import FIBRE_RADIUS_MM
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import joined, listed
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class FibreBend(Rule[NoParameters]):
    """Broken when a placed leg lies in a tray whose ``min_radius_mm`` is below the radius of its fibre class."""

    id = "fibre_bend"
    kind = "physical"
    subject = "subunit"
    statement = "a placed leg lies in a tray that bends tighter than its fibre class allows"
    why = "Fibre that is stored too tightly loses light, and ages."
    source = (
        "ITU-T G.657 (11/2016), tables of clause 8: A1 10, A2 and B2 7.5, B3 5 mm; ITU-T G.652 (11/2016), table 2: D 30 "
        "mm; least radii at which macrobending loss is given"
    )
    blamed = 8
    helped_by = frozenset({"trays", "tray_types", "divide_at", "box"})
    says_all = True
    cells = ("stack", "tray", "position")

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Compare the trays of every subunit's legs with its fibre class."""
        for (trunk, number), legs in laid.by_subunit.items():
            fibre = job.trunk_by_id[trunk].cable.fibre
            least = FIBRE_RADIUS_MM[fibre]
            for item in legs:
                tray = job.enclosure.tray_at(item.place)
                if tray.min_radius_mm < least - EPSILON:
                    yield Breach(
                        f"{trunk}/{number}",
                        said(
                            "{item_leg} lies in {item_place}, whose tray bends to {tray_min_radius_mm:g} mm; "
                            "{fibre} may be bent to {least:g} mm",
                            item_leg=item.leg,
                            item_place=item.place,
                            tray_min_radius_mm=tray.min_radius_mm,
                            fibre=fibre,
                            least=least,
                        ),
                    )
                    break

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Forbid stacks whose trays bend tighter than the fibre allows."""
        for subunit in job.subunits:
            radius = FIBRE_RADIUS_MM[job.trunk_by_id[subunit.trunk].cable.fibre]
            for stack in job.enclosure.stacks if x.divisions(subunit) else ():
                tight = [tray.min_radius_mm < radius - EPSILON for tray in stack.by_position]
                if all(tight):
                    post(x.any_on(subunit, stack.id) == 0, subunit.name)
                    continue
                for place in (Place(stack.id, i + 1) for i, is_tight in enumerate(tight) if is_tight):
                    for of in x.divisions(subunit):
                        for leg in x.legs(subunit, of):
                            post(x.at(leg, place) <= 0, subunit.name)

    def say(self, job: Job, subject: str) -> str:
        """Say what the fibre class of a subunit asks of its trays."""
        fibre = job.trunk_by_id[subject.rpartition("/")[0]].cable.fibre
        radii = joined(
            said(
                "{stack} {radii} mm",
                stack=stack.id,
                radii=listed([said("{radius:g}", radius=tray.min_radius_mm) for tray in stack.kinds]),
            )
            for stack in job.enclosure.stacks
        )
        return said(
            "{subject}: {fibre} may be bent to {least:g} mm; the trays bend to: {radii}",
            subject=subject,
            fibre=fibre,
            least=FIBRE_RADIUS_MM[fibre],
            radii=radii,
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid, subject
        return "move the leg to a stack whose trays have a larger radius"
