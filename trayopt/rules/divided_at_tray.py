"""divided at the tray: the legs of a tube that is divided at the trays lie in one stack, tray upon tray."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.encoding import encode_neighbours
from trayopt.track.laid import Laid, LaidLeg

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


def torn(legs: Sequence[LaidLeg]) -> tuple[LaidLeg, LaidLeg] | None:
    """Find the first pair of successive placed legs on two stacks, or at positions that neither stay nor rise by one."""
    for before, leg in pairwise(legs):
        rise = leg.place.position - before.place.position
        if leg.place.stack != before.place.stack or rise not in {0, 1}:
            return before, leg
    return None


def apart(before: LaidLeg, leg: LaidLeg) -> str:
    """Say where two successive legs lie that break the rule."""
    return said(
        "{leg_leg} lies in {leg_place}, {before_leg} in {before_place}; {leg_leg} may lie in {before_place} or one place outward",
        leg_leg=leg.leg,
        leg_place=leg.place,
        before_leg=before.leg,
        before_place=before.place,
    )


class DividedAtTray(Rule[NoParameters]):
    """Broken when legs of a subunit divided at the tray do not follow each other.

    From one placed leg to the next placed leg the stack stays, and the position stays or rises by one.
    """

    id = "divided_at_tray"
    named = "divided at the tray"
    kind = "always"
    subject = "subunit"
    statement = (
        "between two placed legs that follow each other in a subunit divided at the tray, the stack changes, "
        "or the position neither stays nor rises by one"
    )
    why = "The subunit's own tube runs all the way and ends at one stack; its legs part there, from tray to tray."
    cells = ("stack", "tray", "position")
    kept_by_more = True
    odd_by = "stack"

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Follow the placed legs of every subunit divided at the tray."""
        for (trunk, number), legs in laid.by_subunit.items():
            step = torn(legs)
            if step is not None and laid.divide_at[trunk] == "tray":
                yield Breach(
                    f"{trunk}/{number}",
                    said("{trunk} is divided at the tray and {apart}", trunk=trunk, apart=apart(*step)),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Bind each leg to the next leg, in subunits divided at the tray."""
        for trunk in job.trunks:
            if "tray" in x.divide_options(trunk):
                encode_neighbours(x, post, trunk, "tray")

    def say(self, job: Job, subject: str) -> str:
        """Say how the legs of a subunit have to lie."""
        trunk, _, number = subject.rpartition("/")
        subunit = job.subunit_of_leg[trunk, int(number)]
        return said(
            "{subject}: its {subunit_fibres} fibres come in one tube of {subunit_diameter_mm:g} mm to one stack; "
            "its legs lie there in one tray or in trays that follow each other outward",
            subject=subject,
            subunit_fibres=subunit.fibres,
            subunit_diameter_mm=subunit.diameter_mm,
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say where the legs of the subunit go, from the first leg outward."""
        trunk, _, number = subject.rpartition("/")
        legs = laid.by_subunit.get((trunk, int(number)), [])
        if not legs:
            return "lay the legs of the subunit tray upon tray on one stack"
        first = legs[0].place
        return (
            f"lay the legs of {subject} from {first} outward, each in the same tray as the one before or in "
            f"the next tray of {first.stack}; or divide {trunk} at the port"
        )
