"""What is advised names the trunks that a breach is about, and no others."""

from __future__ import annotations

from tests.build import assignment_of, job_of
from tests.case_files import put
from tests.strategies import worked_example
from trayopt import load_job
from trayopt.library.find import shipped
from trayopt.rules.registry import BY_ID
from trayopt.track.laid import Laid


def test_only_the_trunks_that_tie_a_tray_are_advised_to_be_divided_at_the_port() -> None:
    """P/1 ties left/1 and left/2, and Q/1 ties right/1 and right/2."""
    data = worked_example()
    for i in (0, 1):
        put(data, f"trunks.{i}.cable.subunits.0", {"count": 2, "ribbons": 2, "ribbon_fibres": 12, "diameter_mm": 5})
    data["rules"]["tied_trays"] = {"level": "prefer", "trays": 1}
    job = job_of(data)
    ways = {"P": ("bl", "clockwise", 1), "Q": ("br", "counterclockwise", 1)}
    places = {"P:1-12": "left/1", "P:13-24": "left/2", "Q:25-36": "right/1", "Q:37-48": "right/2"}
    laid = Laid(job, assignment_of(job, ways, places, {"left": "top", "right": "top"}, {"P": "tray", "Q": "tray"}))
    rule = BY_ID["tied_trays"]
    for subject, trunk in (("left/2", "P"), ("right/1", "Q")):
        assert subject in {breach.subject for breach in rule.check(job, laid)}
        assert rule.advise(job, laid, subject) == (
            f"let subunits end where trays end, so that none goes on from {subject} to the next tray, "
            f"or divide {trunk} at the port"
        )


def test_both_ends_of_a_trunk_that_goes_through_are_advised() -> None:
    job = load_job(shipped() / "standard" / "288-through-tap-of-48-wall-2x6.yaml")
    (item,) = job.through
    one, other = item.ends
    laid = Laid(job, assignment_of(job, {}, {}))
    assert BY_ID["sheath_window"].advise(job, laid, item.trunk) == (
        f"let {one} or {other} make fewer loops or go to nearer trays, or agree more slack of {item.trunk}"
    )


def test_divisions_are_listed_with_or() -> None:
    assert BY_ID["equal_groups"].say(job_of(worked_example()), "Q/1") == (
        "Q/1: 4 ribbons of 12 can be divided into 1, 2 or 4 equal groups"
    )
