"""subunit_together: the legs of a subunit that was divided at the port lie in one stack, tray upon tray."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.divided_at_tray import apart, torn
from trayopt.rules.encoding import encode_neighbours
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class SubunitTogether(Rule[NoParameters]):
    """Broken like "divided at the tray", for a trunk that is divided at the port."""

    id = "subunit_together"
    kind = "practice"
    level = "prefer"
    weight = 2
    subject = "subunit"
    of_ways = False
    statement = (
        "between two placed legs that follow each other in a subunit divided at the port, the stack changes, "
        "or the position neither stays nor rises by one"
    )
    why = "Parts of a subunit are easier to find again where they lie in neighbouring trays of one stack."
    cells = ("stack", "tray", "position")
    kept_by_more = True

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Follow the placed legs of every subunit divided at the port."""
        del job
        for (trunk, number), legs in laid.by_subunit.items():
            step = torn(legs)
            if step is not None and laid.divide_at[trunk] == "port":
                yield Breach(
                    f"{trunk}/{number}",
                    said(
                        "the legs of {trunk}/{number} do not lie together: {apart}",
                        trunk=trunk,
                        number=number,
                        apart=apart(*step),
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Bind each leg to the next leg, in subunits divided at the port."""
        for trunk in job.trunks:
            if "port" in x.divide_options(trunk):
                encode_neighbours(x, post, trunk, "port")

    def say(self, job: Job, subject: str) -> str:
        """Say how the legs of a subunit should lie."""
        trunk, _, number = subject.rpartition("/")
        subunit = job.subunit_of_leg[trunk, int(number)]
        return said(
            "{subject}: its {subunit_fibres} fibres lie in one tray, or in trays that follow each other in one stack",
            subject=subject,
            subunit_fibres=subunit.fibres,
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what to change."""
        del job, laid, subject
        return "keep the legs of the subunit on one stack, in one tray or in trays that follow each other"
