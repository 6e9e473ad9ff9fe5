"""What rows say alike is read once; what is wrong in it is told of every row."""

from __future__ import annotations

import pytest

from trayopt.domain.job import Job
from trayopt.formats.cells import CellFault
from trayopt.review.desk import review_table
from trayopt.review.reading import parse_handmade
from trayopt.review.remarks import Remark
from trayopt.review.text import MOST_REMARKS, review_text, verdict

HEAD = "trunk,fibres,stack,position,port,travel,loops,built\n"


def test_a_cell_that_is_wrong_in_many_rows_is_told_of_each(quay: Job) -> None:
    rows = [f"QUAY,{12 * i + 1}-{12 * i + 12},lefft,1,,,,maybe\n" for i in range(6)]
    made = parse_handmade(quay, (HEAD + "".join(rows)).encode(), "plan.csv")
    told = [(fault.line, fault.found) for fault in made.faults]
    assert told == [(line, found) for line in range(2, 8) for found in ("'lefft'", "'maybe'")]
    assert made.lost == [2, 3, 4, 5, 6, 7]


def test_a_way_that_contradicts_an_earlier_row_is_told_wherever_it_stands(quay: Job) -> None:
    ways = ("clockwise", "clockwise", "counterclockwise", "clockwise", "counterclockwise")
    rows = [f"QUAY,{12 * i + 1}-{12 * i + 12},left,{i + 1},,{way},,\n" for i, way in enumerate(ways)]
    made = parse_handmade(quay, (HEAD + "".join(rows)).encode(), "plan.csv")
    assert [fault.line for fault in made.faults] == [4, 6]
    assert made.ways["QUAY"]["travel"].line.number == 2


def test_the_trunk_above_is_the_last_one_that_was_read(quay: Job) -> None:
    names = ("QUAY", "EAST", "QUAY", "")
    rows = [f"{name},1-12,left,{i + 1},,,,\n" for i, name in enumerate(names)]
    made = parse_handmade(quay, (HEAD + "".join(rows)).encode(), "plan.csv")
    [fault] = [fault for fault in made.faults if fault.message == "the trunk is missing"]
    assert fault.hint.startswith("if QUAY of a row above is meant")


def test_the_trunk_above_is_the_last_one_also_where_its_row_says_again_what_another_said(quay: Job) -> None:
    rows = ("QUAY,1-12,left,1,,,,\n", "EAST,1-12,left,2,,,,\n", "QUAY,1-12,left,1,,,,\n", ",13-24,left,3,,,,\n")
    made = parse_handmade(quay, (HEAD + "".join(rows)).encode(), "plan.csv")
    assert [fault.message for fault in made.faults] == ["this row repeats row 2", "the trunk is missing"]
    assert made.faults[1].hint.startswith("if QUAY of a row above is meant")


def test_cells_that_contradict_each_other_alike_are_told_each_with_its_own_other_cell(quay: Job) -> None:
    head = HEAD.replace("position,", "position,tray,")
    rows = [f"QUAY,{12 * i + 1}-{12 * i + 12},left,1,left/2,,,,\n" for i in range(3)]
    made = parse_handmade(quay, (head + "".join(rows)).encode(), "plan.csv")
    told = [(item.row.line, item.fault().found, item.beside) for item in made.damage]
    columns = [12 + len(f"{12 * i + 1}-{12 * i + 12}") for i in range(3)]
    assert told == [
        (i + 2, f"'left/2' against '1' in {i + 2}:{columns[i]}", (f"{i + 2}:{columns[i]}",)) for i in range(3)
    ]


def test_a_row_shorter_than_the_headers_reads_as_empty_cells(quay: Job) -> None:
    made = parse_handmade(quay, f"{HEAD}QUAY,1-12,left,1\nQUAY,13-24,left\n".encode(), "plan.csv")
    assert [str(entry.place) for entry in made.entries] == ["left/1"]
    assert [(fault.line, fault.message) for fault in made.faults] == [(3, "a stack without a position")]


def test_a_row_that_is_said_many_times_is_told_each_time_as_the_second_one(quay: Job) -> None:
    say = ("QUAY,1-12,left,1,,,,maybe\n", "EAST,1-12,left,2,,cw,,\n", "QUAY,1-12,left,1,,,,\n", ",13-24,left,3,,,,\n")
    made = parse_handmade(quay, (HEAD + "".join(say) * 4).encode(), "plan.csv")
    told = [(fault.line, fault.message, fault.hint) for fault in made.faults]
    rounds = [[(line - at, *rest) for line, *rest in told if at <= line < at + len(say)] for at in (2, 6, 10, 14)]
    assert len(rounds[1]) == len(rounds[0]) + 2
    assert rounds[1] == rounds[2] == rounds[3]
    assert [line.number for line in made.lines] == list(range(2, 2 + 4 * len(say)))
    assert len(made.entries) == 2


def test_sentences_on_wrong_cells_are_made_only_where_they_are_written(
    quay: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = [f"QUAY,1-12,stack {i},1,,,,maybe\n" for i in range(1000)]
    review = review_table(quay, parse_handmade(quay, (HEAD + "".join(rows)).encode(), "plan.csv"))
    made: list[CellFault] = []
    fault = CellFault.fault
    monkeypatch.setattr(CellFault, "fault", lambda item: made.append(item) or fault(item))  # type: ignore[func-returns-value]
    text = review_text(review)
    assert len(review.remarks) == 2999
    assert len(made) == MOST_REMARKS
    assert "there is no such stack: 'stack 9'" in text
    assert "and 2,799 more" in text
    assert len(review.as_dict()["findings"]) == 2999
    assert len(made) == 2999


@pytest.mark.parametrize(
    ("head", "row", "again"),
    [
        ("A fibres,B fibres", "QUAY:1-12,EAST:1-12", "QUAY:13-24,EAST:1-12"),
        (
            "A trunk,A unit,A ribbon,A fibre in ribbon,B trunk,B unit,B ribbon,B fibre in ribbon",
            "QUAY,1,1,1-12,EAST,1,1,1-12",
            "QUAY,1,2,1-12,EAST,1,1,1-12",
        ),
    ],
)
def test_a_fibre_spliced_again_is_told_at_the_side_that_names_it(quay: Job, head: str, row: str, again: str) -> None:
    made = parse_handmade(quay, f"{head},tray\n{row},left/1\n{again},left/1\n".encode(), "list.csv")
    [fault] = made.faults
    assert fault.message == "EAST:1-12 is spliced in row 2 already"
    assert again[fault.column - 1 :] == again.rpartition(",")[2]


def test_findings_on_a_table_that_cannot_be_read_are_made_only_where_they_are_written(
    quay: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = [f"QUAY,{first}-{first + 6},left,{first % 6 + 1},,,,\n" for first in range(1, 90, 3)]
    text = HEAD + "".join(rows) + "QUAY,100-120,lefft,1,,,,\n"
    whole = review_table(quay, parse_handmade(quay, text.encode(), "plan.csv"))
    failing = sum(remark.fails for remark in whole.remarks[1:])
    assert failing > 10
    assert f"of the rest {failing} findings" in verdict(whole)

    def of_finding(*_: object) -> Remark:
        raise AssertionError("a finding was put into words")

    monkeypatch.setattr("trayopt.review.desk.of_finding", of_finding)
    review = review_table(quay, parse_handmade(quay, text.encode(), "plan.csv"))
    assert verdict(review) == verdict(whole)
