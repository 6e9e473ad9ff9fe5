"""Two rows with each other's tray are one finding that names them; what is wrong otherwise is told as it is."""

from __future__ import annotations

import json
from itertools import combinations
from pathlib import Path

import pytest

from tests.cli.run import trayopt
from tests.review.corpus import TABLES
from tests.review.test_forms import rows_of, text_of
from trayopt.domain.job import Job
from trayopt.review.desk import Review, review_table
from trayopt.review.reading import parse_handmade

ROWS = [list(row) for row in rows_of("good-plain.csv")]


def judged(quay: Job, rows: list[list[str]]) -> Review:
    """Review a table of legs."""
    return review_table(quay, parse_handmade(quay, text_of(rows).encode(), "t.csv"), complete_s=20)


@pytest.mark.parametrize(("one", "other"), list(combinations(range(1, 8), 2)))
def test_two_rows_that_were_swapped_are_named(quay: Job, one: int, other: int) -> None:
    rows = [list(row) for row in ROWS]
    rows[one][2:4], rows[other][2:4] = rows[other][2:4], rows[one][2:4]
    if rows[one][2:4] == rows[other][2:4]:
        return
    review = judged(quay, rows)
    (remark,) = (remark for remark in review.remarks if remark.fails)
    assert remark.rule == "swapped"
    first, second = sorted(line.number for line in remark.lines)
    back = [list(row) for row in rows]
    back[first - 1][2:4], back[second - 1][2:4] = back[second - 1][2:4], back[first - 1][2:4]
    assert remark.mend == f"swap the trays of rows {first} and {second}"
    assert judged(quay, back).passed


def test_what_no_swap_mends_is_told_as_it_is(quay: Job) -> None:
    rows = [list(row) for row in ROWS]
    rows[1][2:4], rows[2][2:4] = rows[2][2:4], rows[1][2:4]
    rows[3][3] = "3"
    assert "swapped" not in {remark.rule for remark in judged(quay, rows).remarks}


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
    if rows[one][2:4] == rows[other][2:4]:
        return
    (remark,) = (remark for remark in judged(quay, rows).remarks if remark.fails)
    assert remark.rule == "swapped"
    assert [line.number for line in remark.lines] == [one + 1, other + 1]
    whats = {what, "trays"} if rows[one][4] == rows[other][4] else {what}
    assert remark.mend in {f"swap the {what} of rows {one + 1} and {other + 1}" for what in whats}
