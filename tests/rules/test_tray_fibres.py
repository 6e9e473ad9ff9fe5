"""What tray_fibres says of trays that leave room unused."""

from __future__ import annotations

from tests.build import job_of
from tests.explainer.planted import box, cable, job, trunk
from trayopt.api import solve
from trayopt.rules.tray_fibres import wasted


def test_legs_that_are_spliced_in_part_leave_room_to_others() -> None:
    """Of two tubes of 12 in a tray of 20, 8 fibres each are spliced to ribbons of 8: 24 and 16 ends, and 40 fit."""
    eights = cable("eights", subunits=2, ribbons=1, ribbon_fibres=8)
    made = job(
        [trunk("P", cable("twelves", subunits=2, ribbons=1)), trunk("Q", eights)],
        [("P:1-8", "Q:1-8"), ("P:13-20", "Q:9-16")],
        enclosure=box(positions=1, fibres=20),
    )
    assert solve(job_of(made), workers=1, explain=False).complete
    assert wasted(job_of(made)) == []


def test_whole_legs_that_fill_no_tray_are_named() -> None:
    made = job(
        [trunk(name, cable("twelves", subunits=2, ribbons=1)) for name in "PQ"],
        [("P:1-24", "Q:1-24")],
        enclosure=box(positions=1, fibres=20),
    )
    assert wasted(job_of(made)) == [
        f"whole legs of {name}, of 12 fibres, fill a tray with 12 fibres at most: all trays take 12 of its 24"
        for name in "PQ"
    ]
