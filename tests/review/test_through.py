"""Tables of jobs with a trunk that goes through, and with trays of several kinds: what is read, what is told, what is advised."""

from __future__ import annotations

from typing import Any

import pytest

from trayopt.api import load_job
from trayopt.domain.job import Job
from trayopt.review.desk import Review, review_table
from trayopt.review.mend import mend
from trayopt.review.reading import parse_handmade
from trayopt.review.sheet_out import notes_of

JOB: dict[str, Any] = {
    "schema": "trayopt/job/2",
    "enclosure": "wall-2x10",
    "trunks": [
        {"id": "M1", "cable": "ribbon-576-6x96", "through": True, "toward": ["west", "east"]},
        {"id": "B1", "cable": "ribbon-288-6x48"},
    ],
    "joins": [
        {"a": "M1.west:1-48", "b": "B1:1-48", "name": "tap"},
        {"a": "M1.west:97-192", "b": "M1.east:97-192", "name": "cut by mistake"},
    ],
}
HEAD = "trunk,fibres,stack,position,port,travel,loops\n"
ROWS = (
    "M1.west,1-96,left,1,bottom-left,clockwise,1\n"
    "M1.west,97-192,right,1,,,\n"
    "M1.east,97-192,right,1,bottom-right,counterclockwise,1\n"
    "B1,1-48,left,1,top-left,counterclockwise,1\n"
)
RUNS = "from,to,tray,sleeve\nM1.west:1-48,B1:1-48,left/1,\nM1.west:97-192,M1.east:97-192,right/1,\n"


@pytest.fixture(scope="module")
def job() -> Job:
    return load_job(JOB)


def review(job: Job, text: str) -> Review:
    return review_table(job, parse_handmade(job, text.encode(), "plan.csv"), complete_s=60)


def test_rows_name_the_ends_of_a_trunk_that_goes_through(job: Job) -> None:
    found = review(job, HEAD + ROWS)
    assert (found.passed, found.remarks) == (True, ())
    assert found.goals["unplaced"] == 0
    runs = review(job, RUNS)
    assert runs.passed
    assert {remark.level for remark in runs.remarks} == {"open"}


def test_the_way_of_an_end_without_rows_is_missed_too(job: Job) -> None:
    """Both ends are in the box as soon as one has a leg there: the window in the sheath hangs on both ways."""
    only = load_job({**JOB, "joins": JOB["joins"][:1]})
    found = review(
        only, HEAD + "M1.west,1-96,left,1,bottom-left,clockwise,1\nB1,1-48,left,1,top-left,counterclockwise,1\n"
    )
    assert found.passed
    assert [(remark.subject, remark.found) for remark in found.remarks] == [
        ("M1.east", "port, travel, loops of M1.east not given, so nothing is proven")
    ]


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("M1", ("trunk M1 goes through the box and has two ends", "M1.west or M1.east", "")),
        ("M1.wets", ("there is no such trunk", "M1.west, M1.east, B1", "did you mean 'M1.west'?")),
        ("M1-west", ("there is no such trunk", "M1.west, M1.east, B1", "did you mean 'M1.west'?")),
    ],
)
def test_a_name_that_is_no_end_is_told_with_the_ends(job: Job, written: str, says: tuple[str, str, str]) -> None:
    remark = review(job, HEAD + ROWS.replace("M1.west,1-96", f"{written},1-96")).remarks[0]
    assert (remark.level, remark.cells) == ("damage", ("2:1",))
    assert (remark.found.partition(": ")[0], remark.allowed, remark.mend) == says


def test_an_uncut_tube_in_a_tray_is_told_and_nothing_is_advised_but_to_leave_it_whole(job: Job) -> None:
    """A row for a tube that passes uncut: no advice divides or moves it."""
    found = review(job, HEAD + ROWS + "M1.west,193-288,left,2,,,\n")
    (remark,) = found.remarks
    assert (remark.rule, remark.subject, remark.level) == ("uncut_tube", "M1.west/3", "always")
    assert remark.mend.startswith("take M1.west:193-288 out of left/2: the tube stays whole (tried")
    mended = mend(job, parse_handmade(job, (HEAD + ROWS + "M1.west,193-288,left,2,,,\n").encode(), "plan.csv"))
    assert mended.plan is not None
    assert "M1.west/3" not in {leg.leg for leg in mended.plan.legs}


def test_a_splice_of_an_uncut_tube_breaks_its_rule_at_its_own_cell(job: Job) -> None:
    found = review(job, RUNS.replace("M1.west:1-48,", "M1.west:193-240,"))
    (remark,) = [remark for remark in found.remarks if remark.rule == "uncut_tube"]
    line = next(i for i, row in enumerate(RUNS.splitlines(), start=1) if "M1.west:1-48," in row)
    assert (remark.subject, remark.level, remark.cells) == ("M1.west/3", "always", (f"{line}:1",))
    assert remark.found.endswith("the job splices it to nothing; M1.west/3 passes uncut")
    assert "take M1.west/3 out of the trays" in remark.mend
    assert not [remark for remark in found.remarks if remark.rule == "joins"]


def test_a_tube_that_is_spliced_to_itself_though_it_passes_uncut_is_told_once(job: Job) -> None:
    head = RUNS.splitlines()[0]
    empty = "," * (head.count(",") - 1)
    found = review(job, f"{RUNS.rstrip()}\nM1.west:193-204,M1.east:193-204{empty}\n")
    (remark,) = [remark for remark in found.remarks if remark.rule == "uncut_tube"]
    assert remark.found.endswith("M1.west/3 and M1.east/3 pass uncut")
    assert len(remark.cells) == 2


def test_an_empty_table_says_which_trays_a_stack_carries() -> None:
    mixed = load_job("models/standard/mixed-trays-288-separated.yaml")
    (line,) = [line for line in notes_of(mixed) if line.startswith("stack:")]
    assert "3 × ribbon-72 and 2 × single-36" in line


@pytest.mark.parametrize(("position", "says"), [(4, "separated_ribbons"), (6, "no such position: '6'")])
def test_rows_go_by_the_tray_of_their_position(position: int, says: str) -> None:
    """Positions 4 and 5 carry trays of 36 single fibres: a leg of 36 ribbon fibres lies there, separated."""
    mixed = load_job("models/standard/mixed-trays-288-separated.yaml")
    rows = "".join(
        f"{trunk},{first}-{first + 35},stack,{at},,,\n"
        for trunk in ("N1", "S1")
        for first, at in zip(range(1, 289, 36), (1, 1, 2, 2, 3, 3, position, 5), strict=True)
    )
    found = review(mixed, HEAD + rows)
    said = [f"{remark.rule} {remark.found}" for remark in found.remarks if remark.level != "open"]
    assert any(says in text for text in said)
    if position == 4:
        assert found.passed
        assert sum(remark.rule == "separated_ribbons" for remark in found.remarks) == 2
