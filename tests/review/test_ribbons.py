"""What is done with ribbons in tables made by hand: read, judged, mended and written; lists of the sheets are read back.

Three ribbons of 16 are spliced to four of 12 in one tray: as they are in 6 sleeves, split or made into 12 in 4.
"""

from __future__ import annotations

import csv
from io import StringIO
from pathlib import Path

import pytest

from tests.crewsheets.test_ribbons import sixteen_on_twelve
from trayopt.api import explain, load_job
from trayopt.crewsheets.write import Options, Sheets
from trayopt.domain.base import RibbonWord, remade
from trayopt.domain.job import Job
from trayopt.review.answers import mended_text
from trayopt.review.desk import Review, review_table
from trayopt.review.mend import mend
from trayopt.review.plans import handmade_of
from trayopt.review.reading import parse_handmade
from trayopt.review.sheet_out import columns_of, empty_rows, notes_of, plan_rows, write_table
from trayopt.review.text import review_text

HEAD = "trunk,fibres,stack,position,port,travel,loops,divide_at,{header}\n"
ROWS = "P,1-48,left,1,bl,clockwise,1,tray,{word}\nQ,1-48,left,1,br,counterclockwise,1,tray,\n"


def job_of(*words: RibbonWord) -> Job:
    job = sixteen_on_twelve("split")[0]
    return remade(job, trunks=(remade(job.trunks[0], ribbons=words or ("as_they_are", "split", 12)), job.trunks[1]))


def review(text: str | bytes, of: Job | None = None, name: str = "plan.csv") -> Review:
    of = of or job_of()
    return review_table(of, parse_handmade(of, text if isinstance(text, bytes) else text.encode(), name))


def table(word: object, header: str = "ribbons") -> str:
    return HEAD.format(header=header) + ROWS.format(word=word)


@pytest.mark.parametrize(
    ("header", "word", "done"),
    [
        ("ribbons", "as_they_are", "as_they_are"), ("Ribbons", "as they are", "as_they_are"), ("ribbons", "split", "split"),
        ("ribbons", "12", 12), ("ribbon work", "re-ribbonised into 12", 12), ("ribbon work", "made into 12", 12),
        ("Bändchenarbeit", "wie sie sind", "as_they_are"), ("Arbeit an Bändchen", "geteilt", "split"),
        ("Bändchenarbeit", "neu gebildet zu 12", 12), ("Bändchenarbeit", "12er", 12),
        ("Baendchenarbeit", "unverändert", "as_they_are"),
    ],
)  # fmt: skip
def test_a_table_may_say_what_is_done_with_ribbons(header: str, word: str, done: RibbonWord) -> None:
    found = review(table(word, header))
    assert found.laid is not None
    assert found.laid.ribbons["P"] == done
    assert found.made.ribbons == {"P": done}
    assert found.laid.sleeves(next(iter(found.laid.trays))) == (6 if done == "as_they_are" else 4)
    assert "not told" not in str(found.remarks)


def test_where_a_table_does_not_say_it_that_is_told_and_what_breaks_least_is_taken() -> None:
    found = review(table(""))
    assert found.laid is not None
    assert found.laid.ribbons["P"] == "as_they_are"
    (remark,) = found.remarks
    assert (remark.level, remark.found) == ("open", "ribbons of P not given, so nothing is proven")
    assert review(table(""), job_of(12)).remarks == ()


@pytest.mark.parametrize(
    ("word", "says"),
    [("spilt", "did you mean 'split'?"), ("97", "a number is the width"), ("1", "a number is the width"), ("yes", "")],
)
def test_what_cannot_be_read_is_told_with_what_is_allowed(word: str, says: str) -> None:
    (remark,) = [remark for remark in review(table(word)).remarks if remark.level == "damage"]
    assert remark.found == f"this is not work on ribbons: '{word}'"
    assert (remark.allowed, remark.cells) == ("as_they_are, split, 12", ("2:35",))
    assert says in remark.mend


def test_two_rows_of_a_trunk_may_not_say_different_things() -> None:
    rows = "P,1-24,left,1,,,,,split\nP,25-48,left,1,,,,,12\nQ,1-48,left,1,,,,,\n"
    (remark,) = [remark for remark in review(HEAD.format(header="ribbons") + rows).remarks if remark.level == "damage"]
    assert remark.found == "ribbons of trunk P is given twice, and differs: '12'"


def test_what_its_owner_does_not_allow_breaks_its_own_limits_at_that_cell() -> None:
    (remark,) = review(table("split"), job_of(12)).remarks
    assert (remark.rule, remark.cells) == ("own_limits", ("2:35",))
    assert remark.mend.startswith("splice P with its ribbons re-ribbonised into 12 (tried")


def test_a_preference_that_the_table_breaks_is_told_with_a_change_that_was_tried() -> None:
    by_rule = {remark.rule: remark for remark in review(table(12)).remarks}
    assert by_rule.keys() == {"ribbon_work", "re_ribbonised"}
    assert by_rule["ribbon_work"].mend.startswith("splice P with its ribbons as they are (tried")
    assert by_rule["re_ribbonised"].cells == ("2:35",)


def test_a_count_of_ribbons_is_read_as_nothing_where_the_job_does_nothing_with_them() -> None:
    found = review(table(3), job_of("as_they_are"))
    (remark,) = found.remarks
    assert remark.found == "column 'ribbons' is not read, and holds figures, such as '3'"
    split = review(table("geteilt", "Bändchenarbeit"), job_of("as_they_are"))
    assert [(item.rule, item.subject) for item in split.remarks if item.level == "always"] == [("own_limits", "P")]


def test_mend_keeps_what_a_table_says_and_a_change_of_it_is_a_move() -> None:
    job = job_of()
    kept = mend(job, parse_handmade(job, table(12).encode(), "plan.csv"))
    assert not kept.changes
    assert kept.plan is not None
    assert kept.plan.trunks[0].ribbons == 12
    only = job_of("split")
    made = mend(only, parse_handmade(only, table(12).encode(), "plan.csv"))
    assert (made.changes.ribbons, made.weighed, made.proven) == (("P",), 20, True)
    assert made.as_dict()["changes"]["ribbons"] == ["P"]
    assert "splice P with its ribbons split instead of re-ribbonised into 12" in mended_text(made)


def test_explain_says_that_expected_work_on_ribbons_cannot_be_kept(tmp_path: Path) -> None:
    (tmp_path / "plan.csv").write_text(table(12))
    found = explain(job_of("split"), tmp_path / "plan.csv", reproducible=True, ways_out=0)
    assert found.summary.count("P with its ribbons re-ribbonised into 12 cannot be kept (proven)") == 1


@pytest.mark.parametrize("word", ["as_they_are", "split", "12"])
@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_a_plan_as_a_table_says_it_and_comes_back_as_it_was(word: str, form: str, tmp_path: Path) -> None:
    job, plan, _ = sixteen_on_twelve(word)
    write_table(tmp_path / f"plan.{form}", job, plan_rows(job, plan))
    again = review((tmp_path / f"plan.{form}").read_bytes(), job, f"plan.{form}")
    assert again.report is not None
    assert again.report.plan.trunks == plan.trunks
    assert handmade_of(job, plan, "plan.json").ribbons == again.made.ribbons == {"P": 12 if word == "12" else word}
    said = "re-ribbonised into 12" if word == "12" else word.replace("_", " ")
    assert f"\nribbons: P {said}\n" in review_text(again)


def test_the_column_is_there_only_where_the_job_says_something_of_it() -> None:
    plain = job_of("as_they_are")
    assert "ribbons" not in columns_of(plain)
    assert {len(row) for row in empty_rows(plain)} == {len(columns_of(plain))}
    assert {len(row) for row in empty_rows(job_of())} == {len(columns_of(job_of()))}
    assert any("ribbons as they are, split or re-ribbonised into 12" in line for line in notes_of(job_of()))
    assert not any("as_they_are" in line for line in notes_of(plain))


@pytest.mark.parametrize("word", ["as_they_are", "split", "12"])
@pytest.mark.parametrize("lang", ["en", "de"])
def test_lists_of_the_sheets_are_read_back(word: str, lang: str) -> None:
    """The workbook says it in its list of jackets; a list of splices alone by the number of its sleeves."""
    job, plan, _ = sixteen_on_twelve(word)
    files = Sheets(job, plan, Options(language=lang)).files()
    book = files["lists.xlsx"]
    assert isinstance(book, bytes)
    assert review(book, job, "lists.xlsx").made.ribbons == {"P": 12 if word == "12" else word}
    listed = review(files["splices.csv"], job, "splices.csv")
    laid = listed.laid
    assert laid is not None
    assert laid.ribbons["P"] == ("as_they_are" if word == "as_they_are" else "split")
    assert any(note.startswith("what is done with ribbons follows from the sleeves") for note in listed.made.notes)


def test_the_list_of_jackets_has_the_column_only_where_ribbons_are_worked() -> None:
    job, plan, _ = sixteen_on_twelve("12")
    text = Sheets(job, plan, Options()).files()["strip.csv"]
    head, first, second = csv.reader(StringIO(text.decode() if isinstance(text, bytes) else text))
    at = head.index("ribbon work")
    assert (first[at], second[at]) == ("re-ribbonised into 12", "")
    usual = load_job("models/standard/worked-example.yaml")
    assert "ribbons" not in columns_of(usual)
