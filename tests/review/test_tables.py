"""The corpus of hand-made tables: each is read and judged as its line in expected.yaml says."""

from __future__ import annotations

import pytest

from tests.review.corpus import EXPECTED, TABLES, reviewed
from trayopt.domain.job import Job
from trayopt.errors import InputError
from trayopt.review.desk import Review, review_table
from trayopt.review.reading import parse_handmade, read_handmade
from trayopt.review.text import verdict


def test_every_table_is_expected() -> None:
    assert sorted(EXPECTED) == sorted(path.name for path in TABLES.glob("*.csv"))
    assert len(EXPECTED) >= 30


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_a_table_is_judged_as_it_should_be(quay: Job, name: str) -> None:
    expected = EXPECTED[name]
    if "errors" in expected:
        with pytest.raises(InputError) as caught:
            read_handmade(quay, TABLES / name)
        said = [f"{fault.line}:{fault.column} {fault.message}" for fault in caught.value.faults]
        assert said == list(expected["errors"])
        return
    review = reviewed(name)
    assert exit_of(review) == expected["exit"]
    found = [
        (
            remark.level,
            remark.rule,
            remark.found.split(":")[0] if remark.level == "damage" else remark.subject,
            " ".join(remark.cells),
        )
        for remark in review.remarks
    ]
    assert found == [tuple(row) for row in expected["findings"]]


@pytest.mark.parametrize("name", sorted(name for name in EXPECTED if not name.startswith("damage")))
def test_every_finding_says_what_is_found_and_how_to_mend_it(quay: Job, name: str) -> None:
    review = reviewed(name)
    for remark in review.remarks:
        assert remark.found
        assert remark.mend
        assert remark.allowed or remark.rule == "complete"
        assert remark.cells or not remark.lines


def exit_of(review: Review) -> int:
    """Give the exit code of a review."""
    return 2 if review.damaged else 0 if review.passed else 1


def test_an_unfinished_table_is_completed_with_the_rest_as_it_is(quay: Job) -> None:
    review = reviewed("bad-half-a-table.csv")
    assert review.completion is not None
    done = review.completion.assignment
    assert done is not None
    for entry in review.made.placed:
        leg = quay.trunk_by_id[entry.run.trunk].subunit_of(entry.run.first).leg_of_run(*entry.run[1:])
        assert leg is not None
        assert done.places[leg] == entry.place
    assert {leg.trunk for leg in done.places} == {"QUAY", "EAST", "WEST"}


def test_rows_in_each_others_way_are_named_and_needed(quay: Job) -> None:
    review = reviewed("bad-rows-in-the-way.csv")
    clash = next(remark for remark in review.remarks if remark.level == "clash")
    assert [line.number for line in clash.lines] == [2, 4]
    assert "proven; without any one of them there is a plan" in clash.found
    assert "row 2: QUAY:1-72 in left/1" in clash.found
    assert "row 4: QUAY:73-144 in right/2" in clash.found


@pytest.mark.slow
def test_a_hundred_thousand_rows_are_read_and_told_in_one_go(quay: Job, good: str) -> None:
    head, *rows = good.splitlines()
    many = [head, *(rows[i % len(rows)] for i in range(100_000))]
    made = parse_handmade(quay, "\n".join(many).encode(), "long.csv")
    assert len(made.faults) == 100_000 - len(rows)
    assert all("this row repeats" in fault.message for fault in made.faults)
    with pytest.raises(InputError, match="too long"):
        parse_handmade(quay, "\n".join([*many, rows[0]]).encode(), "longer.csv")


def test_the_verdict_counts_in_words(quay: Job, good: str) -> None:
    review = review_table(quay, parse_handmade(quay, good.encode(), "good.csv"))
    notes = len(review.remarks)
    assert verdict(review) == f"good.csv: passes; 0 findings against it, {notes} note{'' if notes == 1 else 's'}"


def test_a_table_without_a_plan_in_it_is_no_table(quay: Job) -> None:
    with pytest.raises(InputError, match="empty"):
        parse_handmade(quay, b"\n\n", "empty.csv")
    with pytest.raises(InputError, match="there is no column 'position'"):
        parse_handmade(quay, "trunk,fibres".encode("utf-16"), "wide.csv")
