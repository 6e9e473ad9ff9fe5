"""Two rows with each other's tray are one finding that names them; what is wrong otherwise is told as it is."""

from __future__ import annotations

import json
from itertools import combinations
from pathlib import Path

import pytest

from tests.cli.run import trayopt
from tests.review.corpus import TABLES
from tests.review.test_forms import rows_of, text_of
from trayopt.api import load_job
from trayopt.domain.job import Job
from trayopt.review.assume import assumed
from trayopt.review.desk import Review, review_table
from trayopt.review.handmade import Handmade
from trayopt.review.reading import parse_handmade
from trayopt.review.remarks import of_finding
from trayopt.review.swapped import folded
from trayopt.rules.judge import judge
from trayopt.track.laid import Laid

ROWS = [list(row) for row in rows_of("good-plain.csv")]
PAIRS = [pair for pair in combinations(range(1, 8), 2) if ROWS[pair[0]][2:4] != ROWS[pair[1]][2:4]]
"""Rows in different trays."""


def judged(quay: Job, rows: list[list[str]]) -> Review:
    """Review a table of legs."""
    return review_table(quay, parse_handmade(quay, text_of(rows).encode(), "t.csv"), complete_s=20)


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_two_rows_that_were_swapped_are_named(quay: Job, one: int, other: int) -> None:
    rows = [list(row) for row in ROWS]
    rows[one][2:4], rows[other][2:4] = rows[other][2:4], rows[one][2:4]
    review = judged(quay, rows)
    (remark,) = (remark for remark in review.remarks if remark.fails)
    assert remark.rule == "swapped"
    first, second = sorted(line.number for line in remark.lines)
    back = [list(row) for row in rows]
    back[first - 1][2:4], back[second - 1][2:4] = back[second - 1][2:4], back[first - 1][2:4]
    assert remark.mend == f"swap the trays of rows {first} and {second}"
    assert judged(quay, back).passed


@pytest.mark.parametrize("lengths", [False, True])
def test_rows_that_were_swapped_are_named_where_lengths_are_written_too(quay: Job, lengths: bool) -> None:
    rows = [list(row) for row in rows_of("good-lengths-written.csv")]
    head = [text.lower() for text in rows[0]]
    swapped = [head.index(name) for name in ("stack", "position", "cut")[: 2 + lengths]]
    one, other = next(
        (i, k) for i, k in combinations(range(1, len(rows)), 2) if all(rows[i][at] != rows[k][at] for at in swapped[1:])
    )
    for at in swapped:
        rows[one][at], rows[other][at] = rows[other][at], rows[one][at]
    (remark,) = (remark for remark in judged(quay, rows).remarks if remark.fails)
    what = "trays and cut lengths" if lengths else "trays"
    assert remark.mend == f"swap the {what} of rows {one + 1} and {other + 1}"
    rows[one][head.index("cut")] = "99"
    assert "swapped" not in {remark.rule for remark in judged(quay, rows).remarks}


def test_rows_that_were_swapped_are_named_where_the_ways_are_left_open(quay: Job) -> None:
    rows = [list(row) for row in ROWS]
    rows[1][2:4], rows[2][2:4] = rows[2][2:4], rows[1][2:4]
    for row in rows[1:]:
        row[4:7] = "", "", ""
    review = judged(quay, rows)
    assert review.completion is not None
    assert review.completion.impossible
    (remark,) = (remark for remark in review.remarks if remark.fails)
    assert remark.mend == "swap the trays of rows 2 and 3"


def test_what_no_swap_mends_is_told_as_it_is(quay: Job) -> None:
    rows = [list(row) for row in ROWS]
    rows[1][2:4], rows[2][2:4] = rows[2][2:4], rows[1][2:4]
    rows[3][3] = "3"
    assert "swapped" not in {remark.rule for remark in judged(quay, rows).remarks}


def test_a_swap_that_leaves_a_finding_its_rows_is_not_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    job = load_job("models/standard/2x1728-wall-2x9-144.yaml")
    trays = [f"{'left' if i % 2 else 'right'}/{i // 2 + 1}" for i in range(12) for _ in range(12)]
    for i, tray in ((3, "left/1"), (30, "left/2"), (70, "right/4"), (100, "left/5")):
        trays[i] = tray
    runs = [f"{12 * i + 1}-{12 * i + 12}" for i in range(144)]
    rows = [f"N1,{run},S1,{run},{tray}" for run, tray in zip(runs, trays, strict=True)]
    text = "\n".join(["from trunk,from fibres,to trunk,to fibres,tray", *rows])
    made = parse_handmade(job, text.encode(), "splices.csv")
    laid = Laid(job, assumed(job, made), made.claims)
    remarks = [of_finding(job, made, laid, finding) for finding in judge(job, laid)]
    assert len({remark.subject for remark in remarks if remark.rule == "tray_fibres"}) == 4
    tried: list[Handmade] = []
    monkeypatch.setattr("trayopt.review.swapped._mended", lambda job, made, laid: tried.append(made))
    assert folded(job, made, laid, remarks) == remarks
    assert not tried


def test_a_table_that_is_wrong_fails_though_its_plan_was_completed(tmp_path: Path) -> None:
    rows = [list(row) for row in rows_of("good-lengths-written.csv")]
    cut = [text.lower() for text in rows[0]].index("cut")
    rows[1][cut] = str(int(rows[1][cut]) - 50)
    table, new = tmp_path / "wrong.csv", tmp_path / "new.json"
    for kept, code in ((rows[:-1], 1), (ROWS[:-1], 0)):
        table.write_text(text_of(kept))
        done = trayopt("check", TABLES / "quay.yaml", table, "--no-best", "-o", new, "--format", "json")
        assert done.returncode == code, done.stderr
        assert not json.loads(done.stdout)["passed"]


def spliced(quay: Job) -> list[list[str]]:
    """Give the good table as a list of splices, twelve a row."""
    laid = judged(quay, ROWS).laid
    assert laid is not None
    found = [["from", "to", "stack", "position", "sleeve"]]
    for join in quay.joins:
        for i in range(0, join.a.count, 12):
            place = laid.place_at(join.a.trunk, join.a.first + i)
            assert place is not None
            runs = [f"{run.trunk}:{run.first + i}-{run.first + i + 11}" for run in (join.a, join.b)]
            sleeve = 1 + sum(row[2:4] == [place.stack, str(place.position)] for row in found)
            found.append([*runs, place.stack, str(place.position), str(sleeve)])
    return found


@pytest.mark.parametrize(
    ("one", "other"),
    [(2, 9), (1, 12), *(pytest.param(*rows, marks=pytest.mark.slow) for rows in ((6, 7), (8, 15), (13, 22)))],
)
@pytest.mark.parametrize(("columns", "what"), [(slice(2, 4), "trays"), (slice(2, 5), "trays and sleeves")])
def test_two_rows_of_a_list_of_splices_that_were_swapped_are_named(
    quay: Job, one: int, other: int, columns: slice, what: str
) -> None:
    rows = spliced(quay)
    assert judged(quay, rows).passed
    rows[one][columns], rows[other][columns] = rows[other][columns], rows[one][columns]
    assert rows[one][2:4] != rows[other][2:4]
    (remark,) = (remark for remark in judged(quay, rows).remarks if remark.fails)
    assert remark.rule == "swapped"
    assert [line.number for line in remark.lines] == [one + 1, other + 1]
    whats = {what, "trays"} if rows[one][4] == rows[other][4] else {what}
    assert remark.mend in {f"swap the {what} of rows {one + 1} and {other + 1}" for what in whats}
