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


def test_all_trunks_that_tie_a_tray_are_advised() -> None:
    data = worked_example()
    put(data, "trunks.0.cable.subunits.0", {"count": 1, "ribbons": 4, "ribbon_fibres": 12, "diameter_mm": 6})
    job = job_of(data)
    ways = {"P": ("bl", "clockwise", 1), "Q": ("br", "counterclockwise", 1)}
    places = {f"{trunk}:{run}": tray for trunk in "PQ" for run, tray in (("1-24", "left/1"), ("25-48", "left/2"))}
    laid = Laid(job, assignment_of(job, ways, places, {"left": "top"}, {"P": "tray", "Q": "tray"}))
    assert BY_ID["tied_trays"].advise(job, laid, "left/1").endswith(", or divide P or Q at the port")


def test_equal_legs_are_written_out_up_to_the_third() -> None:
    job = job_of(worked_example())
    laid = Laid(job, assignment_of(job, {}, {}))
    rule = BY_ID["equal_groups"]
    assert [rule.advise(job, laid, subject) for subject in ("Q/1", "P/2")] == [
        "divide Q/1 into equal legs of whole ribbons: whole, 1-48; or 1-24, 25-48; or 1-12, 13-24, 25-36 …",
        "divide P/2 into equal legs of whole ribbons: whole, 25-48; or 25-36, 37-48",
    ]


def test_sleeves_are_said_of_a_tray_and_of_a_stack() -> None:
    data = worked_example()
    put(data, "enclosure.stacks.0.tray.sleeves", 3)
    rule = BY_ID["tray_sleeves"]
    assert [rule.say(job_of(data), subject) for subject in ("left", "left/1")] == [
        "left: 2 trays of 3 sleeves of 12 hold 6; all splices of the job need 4",
        "left/1: 1 tray of 3 sleeves of 12 holds 3; all splices of the job need 4",
    ]
