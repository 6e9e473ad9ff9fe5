"""leg tube: a leg that does not travel in its subunit's own tube fits into a tube of the set."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.encoding import only_where
from trayopt.rules.words import several
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class LegTube(Rule[NoParameters]):
    """Broken when no tube of the set holds a placed leg that needs one."""

    id = "leg_tube"
    named = "leg tube"
    kind = "always"
    subject = "subunit"
    statement = "no tube of the set holds a placed leg that needs one"
    why = "A leg that leaves its subunit's tube runs bare through the box unless another tube protects it."
    helped_by = frozenset({"tubes"})
    cells = ("fibres", "from fibres", "from")
    of_divisions = True

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Ask the tube set for a tube for the legs of every subunit."""
        for (trunk, number), legs in laid.by_subunit.items():
            subunit = job.subunit_of_leg[trunk, number]
            of = legs[0].leg.of
            if laid.traveller(subunit, of) is None:
                ribbons = subunit.ribbons // of
                needed = job.trunk_by_id[trunk].cable.bore_mm(ribbons, subunit.ribbon_fibres)
                widest = max(tube.bore_mm for tube in job.tubes.tubes)
                yield Breach(
                    subunit.name,
                    said(
                        "a leg of {ribbons} of {subunit_ribbon_fibres} of {subunit_name} needs a bore of "
                        "{needed:.2f} mm; the widest tube of {id} has {widest:g} mm",
                        ribbons=several(ribbons, "ribbon"),
                        subunit_ribbon_fibres=subunit.ribbon_fibres,
                        subunit_name=subunit.name,
                        needed=needed,
                        id=job.tubes.id,
                        widest=widest,
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Forbid the legs of a division that no tube holds."""
        for subunit in job.subunits:
            trunk = job.trunk_by_id[subunit.trunk]
            for of in x.divisions(subunit):
                for at in x.divide_options(trunk):
                    if x.routes.traveller(trunk, subunit, of, at) is None:
                        placed = x.any_of(*(x.placed(leg) for leg in x.legs(subunit, of)))
                        post(placed == 0, subunit.name, only_where(x, trunk, at))

    def say(self, job: Job, subject: str) -> str:
        """Say which divisions of a subunit fit into a tube."""
        trunk_id, _, number = subject.rpartition("/")
        trunk, subunit = job.trunk_by_id[trunk_id], job.subunit_of_leg[trunk_id, int(number)]
        widest = max(tube.bore_mm for tube in job.tubes.tubes)
        needed = trunk.cable.bore_mm(1, subunit.ribbon_fibres)
        return said(
            "{subject}: the tubes of {id} have bores up to {widest:g} mm; a leg of one ribbon of "
            "{subunit_ribbon_fibres} needs {needed:.2f} mm",
            subject=subject,
            id=job.tubes.id,
            widest=widest,
            subunit_ribbon_fibres=subunit.ribbon_fibres,
            needed=needed,
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid, subject
        return "divide the subunit into more legs, so that each needs a smaller bore, or add a wider tube to the set"
