"""Tables of jobs whose plans decide where trunks are divided: what they say of it, and the legs that are parked."""

from __future__ import annotations

import csv
from io import StringIO
from typing import Any

import pytest

from tests.review.corpus import TABLES
from trayopt.api import load_job
from trayopt.domain.base import DivideAt
from trayopt.domain.cablework import Leg
from trayopt.domain.decision import RunAt
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.formats.yaml_in import read_yaml
from trayopt.review import desk
from trayopt.review.compare import compare
from trayopt.review.complete import completed_plan
from trayopt.review.desk import Review, review_table
from trayopt.review.mend import mend
from trayopt.review.picture import picture
from trayopt.review.reading import parse_handmade
from trayopt.review.sheet_out import columns_of, plan_rows
from trayopt.review.text import review_text

PARKED = "WEST,121-144,right,2,,,\n"


def job(**divide_at: Any) -> Job:
    """Give the quay's job with trunks that may be divided at either place, save as it is said."""
    data = dict(read_yaml(TABLES / "quay.yaml").data)
    trunks = [{key: value for key, value in trunk.items() if key != "divide_at"} for trunk in data["trunks"]]
    for trunk in trunks:
        if trunk["id"] in divide_at:
            trunk["divide_at"] = divide_at[trunk["id"]]
    return load_job({**data, "trunks": trunks})


QUAY = job()


def review(text: str, of: Job = QUAY) -> Review:
    return review_table(of, parse_handmade(of, text.encode(), "plan.csv"), complete_s=60)


@pytest.fixture
def unsettled(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the time run out before it is known whether a table can be completed."""
    monkeypatch.setattr(desk, "_complete", lambda *_: desk.Completion(None, impossible=False))


def with_column(text: str, header: str, told: dict[str, str]) -> str:
    """Add a column in which the first row of some trunks says something."""
    head, *rows = text.splitlines()
    left = dict(told)
    return "\n".join([f"{head},{header}", *(f"{row},{left.pop(row.partition(',')[0], '')}" for row in rows)]) + "\n"


@pytest.mark.parametrize(
    ("header", "word", "at"),
    [
        ("divide_at", "tray", "tray"), ("divided at", "port", "port"), ("Divided at", "at the tray", "tray"),
        ("aufgeteilt", "Kassette", "tray"), ("geteilt an", "an der Einführung", "port"), ("Aufteilung", "Einführung", "port"),
    ],
)  # fmt: skip
def test_a_table_may_say_where_a_trunk_is_divided(good: str, header: str, word: str, at: DivideAt) -> None:
    text = with_column(good + PARKED * (at == "tray"), header, {"WEST": word})
    found = review(text)
    assert found.made.divide_at == {"WEST": at}
    assert found.laid is not None
    assert found.laid.divide_at["WEST"] == at
    assert found.passed


def test_a_splice_list_may_say_where_each_of_its_trunks_is_divided() -> None:
    head = "from trunk,from fibres,to trunk,to fibres,tray,from divided at,to divided at\n"
    rows = "QUAY,1-72,EAST,1-72,left/1,tray,port\nQUAY,73-144,EAST,73-144,left/2,,\n"
    assert parse_handmade(QUAY, (head + rows).encode(), "plan.csv").divide_at == {"QUAY": "tray", "EAST": "port"}


def test_where_a_trunk_is_divided_is_told_once_and_in_words_that_are_known(good: str) -> None:
    head, *rows = with_column(good, "divide_at", {"WEST": "tray"}).splitlines()
    other = [row[:-1] + ",port" if row.startswith("WEST,25") else row for row in rows]
    (fault,) = parse_handmade(QUAY, "\n".join([head, *other]).encode(), "plan.csv").faults
    assert fault.message == "divide_at of trunk WEST is given twice, and differs"
    wrong = with_column(good, "divide_at", {"WEST": "door"})
    (fault,) = parse_handmade(QUAY, wrong.encode(), "plan.csv").faults
    assert (fault.message, fault.found) == ("a trunk cannot be divided there", "'door'")


@pytest.mark.usefixtures("unsettled")
def test_where_nothing_is_said_it_follows_from_the_list_and_then_from_how_the_legs_lie(good: str) -> None:
    apart = good.replace("EAST,73-144,left,2", "EAST,73-144,right,3").replace(
        "QUAY,73-144,left,2", "QUAY,73-144,right,3"
    )
    for text, of, at in (
        (good + PARKED, QUAY, {"QUAY": "tray", "EAST": "tray", "WEST": "tray"}),
        (good, job(WEST="port"), {"QUAY": "tray", "EAST": "tray", "WEST": "port"}),
        (apart + PARKED, QUAY, {"QUAY": "port", "EAST": "port", "WEST": "tray"}),
        (apart, job(WEST="port", EAST="tray"), {"QUAY": "port", "EAST": "tray", "WEST": "port"}),
    ):
        laid = review(text, of).laid
        assert laid is not None
        assert laid.divide_at == at


def test_rows_of_parked_legs_are_read_and_kept(good: str) -> None:
    found = review(good + PARKED)
    assert found.remarks == ()
    assert found.laid is not None
    assert found.laid.place_of[Leg("WEST", 1, 6, 6)] == Place("right", 2)
    assert found.goals["legs"] == 12


def test_a_parked_leg_that_a_table_leaves_out_is_told_and_placed_by_the_plan_that_completes_it(good: str) -> None:
    found = review(good)
    assert found.passed
    assert [(remark.level, remark.subject, remark.cells) for remark in found.remarks] == [
        ("open", "WEST:121-144", ("12:19",))
    ]
    assert found.goals["legs"] == 12, "judged as it is completed"
    plan = completed_plan(found)
    assert plan is not None
    (row,) = [leg for leg in plan.legs if leg.idle]
    assert (row.leg, row.fibres, row.stack) == ("WEST/1.6", "121-144", "right")
    assert ["WEST", "121-144", "right"] in [cells[:3] for cells in plan_rows(QUAY, plan)]


@pytest.mark.usefixtures("unsettled")
def test_where_it_is_not_completed_the_finding_names_what_is_bare_with_advice_that_was_tried(good: str) -> None:
    found = review(good)
    (remark,) = [remark for remark in found.remarks if remark.fails]
    assert (remark.level, remark.rule, remark.subject) == ("always", "opened_tube", "WEST/1")
    assert "WEST/1.6 lies in none" in remark.found
    assert remark.mend.startswith("park WEST:121-144 in right/2 (tried")


def test_dividing_a_trunk_at_the_port_is_tried_where_its_legs_lie_apart(good: str) -> None:
    apart = good.replace("EAST,73-144,left,2", "EAST,73-144,right,3").replace(
        "QUAY,73-144,left,2", "QUAY,73-144,right,3"
    )
    found = review(with_column(apart + PARKED, "divide_at", {"EAST": "tray", "QUAY": "port"}))
    (remark,) = [remark for remark in found.remarks if remark.rule == "divided_at_tray"]
    assert remark.mend.startswith("divide EAST at the port (tried")


def test_an_idle_leg_of_a_trunk_that_is_divided_at_the_port_lies_in_no_tray(good: str) -> None:
    found = review(with_column(good + PARKED, "divide_at", {"WEST": "port"}))
    (remark,) = [remark for remark in found.remarks if remark.fails]
    assert (remark.rule, remark.subject) == ("idle", "WEST:121-144")


def test_a_plan_as_a_table_says_where_trunks_are_divided_and_comes_back_as_it_was(good: str) -> None:
    plan = review(with_column(good, "divide_at", {"WEST": "port", "EAST": "tray"})).report
    assert plan is not None
    stream = StringIO()
    csv.writer(stream).writerows([columns_of(QUAY), *plan_rows(QUAY, plan.plan)])
    again = review(stream.getvalue())
    assert [remark.rule for remark in again.remarks] == ["breakout"]
    assert again.report is not None
    assert again.report.plan == plan.plan
    assert again.made.divide_at == {"QUAY": "tray", "EAST": "tray", "WEST": "port"}


def test_a_review_says_where_trunks_are_divided_and_which_trays_are_tied(good: str) -> None:
    found = review(good + PARKED)
    text = review_text(found)
    assert "divided: QUAY at the tray, EAST at the tray, WEST at the tray" in text
    assert "tied, so that they come to the bench together: left/1, left/2" in text
    assert found.as_dict()["tied"] == [["left/1", "left/2"], ["right/1", "right/2"]]
    assert found.as_dict()["divide_at"]["WEST"] == "tray"
    (figure,) = [figure for figure in found.figures if figure.name == "most trays tied to each other"]
    assert (figure.value, figure.allowed) == (2, 2)
    assert found.laid is not None
    drawn = picture(QUAY, found.laid)
    assert drawn.count("tied by opened tubes: ") == 2
    assert "tied by opened tubes: left/1, left/2" in drawn


def test_plans_that_divide_a_trunk_elsewhere_differ(good: str) -> None:
    one = review(with_column(good + PARKED, "divide_at", {"WEST": "tray"}))
    other = review(with_column(good, "divide_at", {"WEST": "port"}))
    (row,) = compare(QUAY, one, other).as_dict()["trunks"]
    assert (row["a"].rpartition(", ")[2], row["b"].rpartition(", ")[2]) == (
        "divided at the tray",
        "divided at the port",
    )


def test_parked_legs_that_stay_are_not_moved(good: str) -> None:
    made = parse_handmade(QUAY, (good + PARKED).encode(), "plan.csv")
    found = mend(QUAY, made)
    assert (found.weighed, found.moves, bool(found.beside)) == (0, (), False)
    assert found.plan is not None
    assert [leg.position for leg in found.plan.legs if leg.leg == "WEST/1.6"] == [2]


def test_a_trunk_that_is_divided_elsewhere_is_opened_anew(good: str) -> None:
    made = parse_handmade(QUAY, with_column(good, "divide_at", {"WEST": "port"}).encode(), "plan.csv")
    found = mend(job(WEST="tray"), made)
    assert found.changes.partings == ("WEST",)
    assert found.as_dict()["changes"]["partings"] == ["WEST"]
    texts = [move.text for move in found.moves]
    assert "divide WEST at the tray instead of the port" in texts
    assert any("BREAKS" not in text and text.startswith("hold a written release for west") for text in texts)
    assert any(move.do == "lay in" and "WEST/1.6" in move.what for move in found.moves)
    assert "1.6" not in " ".join(str(run) for run in found.beside.taken_out)


def test_what_is_parked_and_marked_as_built_stays(good: str) -> None:
    head, *rows = (good + PARKED).splitlines()
    text = "\n".join([f"{head},built", *(f"{row},{'yes' if ',right,' in row else ''}" for row in rows)])
    made = parse_handmade(QUAY, text.encode(), "plan.csv")
    assert RunAt("WEST", 121, 144, Place("right", 2)) in [RunAt(*e.run, e.place) for e in made.built() if e.place]
    found = mend(QUAY, made)
    assert found.weighed == 0
