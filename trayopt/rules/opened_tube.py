"""opened tube: a tube that is opened at a tray leaves no leg outside."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.encoding import only_where
from trayopt.rules.words import listed
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class OpenedTube(Rule[NoParameters]):
    """Broken when a subunit that is divided at the tray has a leg in a tray and another leg in no tray."""

    id = "opened_tube"
    named = "opened tube"
    kind = "always"
    subject = "subunit"
    of_ways = False
    statement = "a leg of a subunit that is opened at a tray lies in no tray"
    why = "The tube ends at the trays. Fibres of it that lie in no tray hang bare in the box and break at the first touch."
    cells = ("stack", "tray", "position")
    kept_by_more = True

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Look for legs without a tray in every opened subunit."""
        for trunk, number in laid.by_subunit:
            subunit = job.subunit_of_leg[trunk, number]
            if not laid.opened(subunit):
                continue
            bare = [str(leg) for leg in subunit.legs(laid.division[trunk, number]) if leg not in laid.place_of]
            if bare:
                yield Breach(
                    subunit.name,
                    said(
                        "the tube of {subunit_name} is opened at a tray and {bare} lies in none|"
                        "the tube of {subunit_name} is opened at a tray and {bare} lie in none",
                        subunit_name=subunit.name,
                        bare=listed(bare),
                        n=len(bare),
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Place either every leg of a division at the tray, or no leg."""
        for trunk in job.trunks:
            if "tray" not in x.divide_options(trunk):
                continue
            when = only_where(x, trunk, "tray")
            for subunit in trunk.subunits:
                for of in x.divisions(subunit):
                    for leg, other in pairwise(x.legs(subunit, of)):
                        post(x.placed(leg) - x.placed(other) == 0, subunit.name, when)

    def say(self, job: Job, subject: str) -> str:
        """Say what has to lie in trays once the tube of a subunit is opened."""
        trunk, _, number = subject.rpartition("/")
        subunit = job.subunit_of_leg[trunk, int(number)]
        spliced = job.spliced_fibres(subunit.leg(1, 1))
        return said(
            "{subject}: if its tube is opened at a tray, all its {subunit_fibres} fibres lie in trays there, "
            "{spliced} spliced and {parked} parked",
            subject=subject,
            subunit_fibres=subunit.fibres,
            spliced=spliced,
            parked=subunit.fibres - spliced,
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say where the legs without a tray go."""
        del job, laid
        return f"park the other legs of {subject} in the same trays or the ones next to them, or keep the subunit whole"
