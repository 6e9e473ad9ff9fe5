"""Readings that come back: the mean of both directions decides, batch by batch; what failed is spliced again."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path

import pytest

from tests.crewsheets.plans import book, built_in, hostile, ported, straight, worked
from trayopt.crewsheets.book import Book
from trayopt.crewsheets.readings import Reading, Readings, read_readings
from trayopt.crewsheets.record import Record
from trayopt.crewsheets.settings import Settings, TestSettings
from trayopt.crewsheets.tables import csv_text
from trayopt.crewsheets.write import Options
from trayopt.domain.plan import Plan
from trayopt.errors import InputError

HEAD = "fibre,wavelength_nm,a_to_b_db,b_to_a_db\n"
SMALL = Settings(tests=TestSettings(batch_fibres=24))


def reading(a_to_b: str | None, b_to_a: str | None) -> Reading:
    return Reading("P", 1, 1310, *(None if text is None else Decimal(text) for text in (a_to_b, b_to_a)))


def test_the_mean_of_both_directions() -> None:
    # Facts: (0.25 + -0.05) / 2 = 0.10.
    assert reading("0.25", "-0.05").mean == Decimal("0.1")


@pytest.mark.parametrize(
    ("a_to_b", "b_to_a", "result"),
    [
        ("0.25", "-0.05", "pass"),
        ("0.2", "0.2", "pass"),
        ("0.21", "0.20", "fail"),
        ("0.6", "-0.2", "pass"),
        ("-0.1", None, "open"),
        (None, "0.05", "open"),
    ],
)
def test_verdicts(a_to_b: str | None, b_to_a: str | None, result: str) -> None:
    assert Readings.none(book(worked())).result(reading(a_to_b, b_to_a)) == result


def full(opened: Book, loss: str = "0.05", **special: tuple[str, str]) -> str:
    """Write a whole record, with other losses for some fibres of side a."""
    lines = []
    for sleeve in opened.sleeves:
        for fibre in range(sleeve.a.first, sleeve.a.last + 1):
            for wave in (1310, 1550):
                a_to_b, b_to_a = special.get(f"f{fibre}", (loss, loss))
                lines.append(f"{sleeve.a.trunk}:{fibre},{wave},{a_to_b},{b_to_a}")
    return HEAD + "\n".join(lines) + "\n"


def record(tmp_path: Path, text: str, settings: Settings = SMALL) -> Record:
    path = tmp_path / "readings.csv"
    path.write_text(text, encoding="utf-8")
    job, plan = worked()
    opened = Book(job, plan, settings)
    return Record(job, plan, read_readings(str(path), opened), Options(settings=settings))


def test_a_full_record_passes(tmp_path: Path) -> None:
    made = record(tmp_path, full(book(worked())))
    assert made.passed
    assert made.counts() == {"pass": 96, "fail": 0, "open": 0}
    # left/1 and left/2 are tied by Q's tube, so that they are one batch, however small a batch may be.
    assert [(batch["trays"], batch["result"]) for batch in made.batches()] == [(["left/1", "left/2"], "pass")]
    assert made.again() == []


def test_a_failure_names_its_sleeve_and_what_to_lift(tmp_path: Path) -> None:
    made = record(tmp_path, full(book(worked()), f14=("0.5", "0.2")))
    assert not made.passed
    assert [batch["result"] for batch in made.batches()] == ["fail"]
    (again,) = made.again()
    # Fibre 14 lies in the second sleeve of left/1; left/2 comes to the bench with it.
    assert (again["fibre_a"], again["fibre_b"], again["tray"], again["sleeve"]) == ("P:14", "Q:14", "left/1", 2)
    assert (again["mean"], again["lift"], again["together"]) == (0.35, "", "left/2")
    assert (again["resplice_run"], again["tries_left"]) == ("P:13-24 × Q:13-24", 3)


def test_what_lies_over_a_batch_that_failed_is_told(tmp_path: Path) -> None:
    """At the port each tray comes alone: left/1 is a batch, and left/2 over it another one."""
    path = tmp_path / "readings.csv"
    job, plan = ported()
    opened = Book(job, plan, SMALL)
    path.write_text(full(opened, f14=("0.5", "0.2")), encoding="utf-8")
    made = Record(job, plan, read_readings(str(path), opened), Options(settings=SMALL))
    assert [batch["result"] for batch in made.batches()] == ["fail", "pass"]
    assert [batch["over_untested"] for batch in made.batches()] == [False, True]
    (again,) = made.again()
    assert (again["lift"], again["together"]) == ("left/2", "")


def test_tries_are_used_up(tmp_path: Path) -> None:
    text = "fibre,wavelength_nm,a_to_b_db,b_to_a_db,resplices\nP:14,1310,0.5,0.5,2\n"
    assert record(tmp_path, text).again()[0]["tries_left"] == 1
    # The tries of a fibre are the most of its rows, and those of a sleeve the most of its fibres, in any order of rows.
    more = text + "P:14,1550,0.05,0.05,1\nP:15,1310,0.05,0.05,1\n"
    assert record(tmp_path, more).again()[0]["tries_left"] == 1


def test_a_fibre_may_be_named_from_side_b(tmp_path: Path) -> None:
    made = record(tmp_path, HEAD + "Q:14,1310,0.1,\n")
    assert made.readings.at("P", 14, 1310) == Reading("P", 14, 1310, Decimal("0.1"), None)


def test_a_gain_from_one_side_leaves_the_splice_open(tmp_path: Path) -> None:
    made = record(tmp_path, HEAD + "P:1,1310,-0.04,\n")
    assert made.counts() == {"pass": 0, "fail": 0, "open": 96}


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("P:99,1310,0.1,0.1", "no splice of the plan holds fibre 'P:99'"),
        ("X:1,1310,0.1,0.1", "no splice of the plan"),
        ("P:1,850,0.1,0.1", "this wavelength is not tested"),
        ("P:1,1310,much,0.1", "this is not a loss"),
        ("P:1,1310,nan,0.1", "this is not a loss"),
        ("P:1,1310,99,0.1", "this is not a loss"),
        ("P:1,1310,0.1,0.1\nP:1,1310,0.2,0.2", "is read twice"),
    ],
)
def test_wrong_rows_are_told_with_their_line(tmp_path: Path, row: str, told: str) -> None:
    with pytest.raises(InputError) as wrong:
        record(tmp_path, HEAD + row + "\n")
    assert told in str(wrong.value)
    assert all(fault.line >= 2 for fault in wrong.value.faults)


def test_all_wrong_rows_are_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(InputError) as wrong:
        record(tmp_path, HEAD + "X:1,1310,0.1,0.1\nP:1,1310,x,y\n")
    assert len(wrong.value.faults) == 3


def test_a_missing_column_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no column 'wavelength'"):
        record(tmp_path, "fibre,a_to_b_db,b_to_a_db\nP:1,0.1,0.1\n")


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_test_record_filled_in_reads_back(tmp_path: Path, language: str) -> None:
    for pair in (worked(), hostile()):
        job, plan = pair
        opened = Book(job, plan, SMALL)
        filled = {
            (sleeve.a.trunk, fibre, wave): Reading(sleeve.a.trunk, fibre, wave, Decimal("0.25"), Decimal("-0.05"))
            for sleeve in opened.sleeves
            for fibre in range(sleeve.a.first, sleeve.a.last + 1)
            for wave in (1310, 1550)
        }
        made = Record(job, plan, Readings.of(opened, filled.values(), {}), Options(language=language, settings=SMALL))
        path = tmp_path / "tests.csv"
        path.write_text(csv_text(made.sheets.tables["tests"], made.sheets.tell.words, "metric"), encoding="utf-8")
        assert dict(read_readings(str(path), opened).by_splice) == filled


def test_filled_in_tables_say_pass_and_fail(tmp_path: Path) -> None:
    made = record(tmp_path, full(book(worked()), f1=("0.31", "0.31")))
    table = made.sheets.tables["tests"]
    assert table.column("result")[:4] == ["FAIL", "FAIL", "pass", "pass"]
    assert table.column("mean")[:3] == [0.31, 0.31, 0.05]
    assert made.sheets.tables["batches"].column("result") == ["FAIL"]
    page = made.sheets.page()
    assert page.count('<td class="fail">FAIL</td>') == 1


def test_the_as_built_document(tmp_path: Path) -> None:
    job, plan = worked()
    opened = Book(job, plan, SMALL)
    path = tmp_path / "readings.csv"
    path.write_text(full(opened), encoding="utf-8")
    made = Record(job, plan, read_readings(str(path), opened), Options(settings=SMALL), measured={"P/1": 1950})
    files = made.files()
    built = json.loads(files["as-built.json"])
    assert built["schema"] == "trayopt/as-built/1"
    assert built["passed"] is True
    assert built["measured"] == [{"leg": "P/1", "measured_mm": 1950, "computed_mm": 1930}]
    assert len(built["readings"]) == 96
    assert built["readings"][0] == {
        "fibre": "P:1", "wavelength_nm": 1310, "a_to_b_db": 0.05, "b_to_a_db": 0.05, "mean_db": 0.05, "result": "pass",
            "in_service": False,
    }  # fmt: skip
    assert Plan.model_validate_json(files["plan.json"]) == plan
    assert built["plan"] == plan.plain()
    assert {"index.html", "lists.xlsx", "tests.csv", "again.csv"} <= set(files)


def test_pins_hold_what_is_built() -> None:
    from tests.crewsheets.plans import WORKED
    from trayopt.api import load_job

    job, plan = worked()
    made = Record(job, plan, Readings.none(book((job, plan))), Options())
    pins = made.pins()
    # Q is divided, which settles where; P is whole throughout, so that it is still open where it would be divided.
    assert [pin.get("divide_at") for pin in pins if "trunk" in pin] == [None, "tray"]
    again = load_job({**WORKED, "pins": pins})
    assert len(again.pins) == 2 + 4
    assert all(pin.built for pin in again.pins)


def test_big_records_are_read_whole(tmp_path: Path) -> None:
    job, plan = straight("2x1728-wall-3x8")
    opened = Book(job, plan, Settings())
    path = tmp_path / "readings.csv"
    path.write_text(full(opened), encoding="utf-8")
    assert len(read_readings(str(path), opened).by_splice) == 3456


def test_readings_of_what_is_in_service_are_kept_and_decide_nothing(tmp_path: Path) -> None:
    job, plan = built_in(worked(), ["left/1"])
    opened = Book(job, plan, SMALL)
    path = tmp_path / "readings.csv"
    # left/1 holds P:1-24 and was built with a loss over the limit; left/2 is new.
    special = {f"f{fibre}": ("0.5", "0.5") for fibre in range(1, 25)}
    path.write_text(full(opened, "0.05", **special), encoding="utf-8")
    made = Record(job, plan, read_readings(str(path), opened), Options(settings=SMALL))
    assert made.passed
    assert made.counts() == {"pass": 48, "fail": 0, "open": 0}
    assert made.again() == []
    kept = made.as_built()["readings"]
    assert len(kept) == 96
    assert {row["fibre"] for row in kept if row["in_service"]} == {f"P:{fibre}" for fibre in range(1, 25)}


@pytest.mark.parametrize(
    ("short", "long", "look"),
    [
        ("0.05", "0.5", "a bend, not the splice: look at entrance, guide and tray first"),
        ("0.2", "0.21", "a bend, not the splice: look at entrance, guide and tray first"),
        ("0.5", "0.5", "splice again"),
        ("0.5", "0.05", "splice again"),
        ("", "0.5", "read the shortest wavelength first: good there means a bend"),
    ],
)
def test_good_at_the_short_wave_and_bad_at_the_long_one_is_a_bend(
    tmp_path: Path, short: str, long: str, look: str
) -> None:
    made = record(tmp_path, HEAD + f"P:14,1310,{short},{short}\nP:14,1550,{long},{long}\n")
    (again,) = made.again()
    assert again["look"] == look


def test_a_batch_fails_by_its_mean_though_every_splice_passes(tmp_path: Path) -> None:
    # The batch is left/1 and left/2 with P:1-48. All of it at 0.1 is the limit of the mean; one splice at 0.2 (its own
    # limit) is over.
    at_limit = record(tmp_path, full(book(worked()), loss="0.1"))
    assert at_limit.passed
    over = record(tmp_path, full(book(worked()), loss="0.1", f14=("0.2", "0.2")))
    assert [batch["result"] for batch in over.batches()] == ["fail"]
    assert over.counts()["fail"] == 0
    # (47 × 0.1 + 0.2) / 48 = 0.102083… (hand-worked).
    assert over.batches()[0]["mean_db"] == [{"wavelength_nm": wave, "db": 0.1021} for wave in (1310, 1550)]


def test_every_default_limit_says_where_it_comes_from_and_no_source_is_borrowed() -> None:
    chosen = TestSettings()
    assert (chosen.limit_db, chosen.batch_mean_db) == (0.2, 0.1)
    assert {chosen.limit_source, chosen.batch_mean_source} == {"common practice in outside plant, no source"}
    own = TestSettings(limit_db=0.15)
    assert (own.limit_source, own.batch_mean_source) == ("as set, no source given", chosen.batch_mean_source)
    assert TestSettings(limit_db=0.15, limit_source="contract").limit_source == "contract"
