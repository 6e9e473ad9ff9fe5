"""sheath_window: the window in the sheath of a trunk that goes through is no longer than the cable that can be drawn in."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.domain.through import Through
from trayopt.rules.base import Breach, NoParameters, Post, Rule
from trayopt.rules.words import several
from trayopt.track.laid import Laid
from trayopt.track.lengths import CUT_STEP_MM, lengths_of
from trayopt.track.window import least_mm, most_mm

if TYPE_CHECKING:
    from trayopt.rules.variables import Variables


class SheathWindow(Rule[NoParameters]):
    """Broken when the window of a trunk that goes through is longer than its ``slack_mm``."""

    id = "sheath_window"
    speaks_of = "through"
    kind = "physical"
    subject = "through trunk"
    statement = "the window in the sheath of a trunk that goes through is longer than the slack of its cable"
    why = "A cable that passes has no end to draw on: what is opened and laid in loops is slack from both sides of the box."
    blamed = 0
    helped_by = frozenset({"slack", "loops"})
    of_divisions = True
    way_cells = ("loops", "port", "travel")

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Compare the window of every trunk that goes through with the slack of its cable."""
        for window in laid.windows:
            slack = window.through.slack_mm
            if slack is not None and window.length_mm > slack:
                yield Breach(
                    window.through.trunk,
                    said(
                        "the window in the sheath of {trunk} is {length:,} mm; what is uncut makes {loops}; {slack:,} mm of "
                        "its cable can be drawn in" if window.loops
                        else "the window in the sheath of {trunk} is {length:,} mm; {slack:,} mm of its cable can be drawn in",
                        trunk=window.through, length=window.length_mm, loops=several(window.loops or 0, "loop"), slack=slack,
                    ),
                )  # fmt: skip

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Bound the window from above."""
        for item in job.through:
            if item.slack_mm is not None:
                post(x.window_steps_at_least(item) <= item.slack_mm // CUT_STEP_MM, item.trunk)

    def applies(self, job: Job, subject: str) -> bool:
        """Whether the slack of the cable is known."""
        return any(item.trunk == subject and item.slack_mm is not None for item in job.through)

    def short(self, job: Job) -> bool:
        """Whether a window is longer than the slack, wherever its legs lie."""
        lengths = lengths_of(job)
        return any(item.slack_mm is not None and least_mm(job, item, lengths) > item.slack_mm for item in job.through)

    def say(self, job: Job, subject: str) -> str:
        """Say how long the window is at least where every splice is placed, and how much of the cable can be drawn in."""
        item = _through(job, subject)
        return said(
            "{subject}: the window in its sheath is {least:,} mm or more; {slack}",
            subject=subject,
            least=least_mm(job.as_built, item, lengths_of(job)),
            slack=_drawn_in(item),
        )

    def need(self, job: Job, subject: str) -> str:
        """Say the least length of the window; where the slack is enough for that, also the greatest."""
        item, built = _through(job, subject), job.as_built
        least, most = least_mm(built, item, lengths_of(job)), most_mm(built, item, lengths_of(job))
        if item.slack_mm is None or not least <= item.slack_mm < most:
            return self.say(job, subject)
        return said(
            "{subject}: the window in its sheath is {least:,} to {most:,} mm, by the ways and the places; {slack}",
            subject=subject,
            least=least,
            most=most,
            slack=_drawn_in(item),
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Say what makes a window shorter."""
        del laid
        ends = " or ".join(_through(job, subject).ends)
        return f"let {ends} make fewer loops or go to nearer trays, or agree more slack of {subject}"


def _drawn_in(item: Through) -> str:
    if item.slack_mm is None:
        return said("no limit is given")
    return said("{slack:,} mm of its cable can be drawn in", slack=item.slack_mm)


def _through(job: Job, subject: str) -> Through:
    return next(item for item in job.through if item.trunk == subject)
