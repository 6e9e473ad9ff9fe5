"""One table in every form that people send: encodings, separators, workbooks, headers, rows above and below, two languages."""

from __future__ import annotations

import csv
import re
import tomllib
from collections.abc import Callable, Sequence
from functools import cache
from importlib.resources import files
from io import BytesIO, StringIO
from typing import Any

import pytest
from openpyxl import Workbook

from tests.review.corpus import EXPECTED, TABLES, scenario
from tests.review.mutations import SOLVER
from tests.review.test_mutations import good
from trayopt.checker import measure
from trayopt.crewsheets.words import LANGUAGES, words_of
from trayopt.crewsheets.write import Options, Sheets
from trayopt.domain.colours import position
from trayopt.domain.job import Job
from trayopt.errors import InputError
from trayopt.formats.tables_in import parse_loose_table
from trayopt.review import columns
from trayopt.review.columns import column_of, is_read
from trayopt.review.desk import review_table
from trayopt.review.handmade import Handmade
from trayopt.review.marked import marked_workbook
from trayopt.review.reading import parse_handmade
from trayopt.review.text import review_text

Rows = Sequence[Sequence[str]]
READABLE = sorted(name for name in EXPECTED if "errors" not in EXPECTED[name])


@cache
def rows_of(name: str) -> tuple[tuple[str, ...], ...]:
    """Give the cells of a table of the corpus, headers first, rows over them and empty ones left out."""
    table = parse_loose_table((TABLES / name).read_bytes(), name, is_read)
    return tuple(tuple(row.texts) for row in (table.head, *table.rows))


def text_of(rows: Rows, separator: str = ",") -> str:
    """Write rows as CSV."""
    stream = StringIO()
    csv.writer(stream, delimiter=separator, lineterminator="\n").writerows(rows)
    return stream.getvalue()


def workbook(rows: Rows) -> bytes:
    """Write rows as a workbook, every cell as text."""
    book = Workbook()
    sheet: Any = book.active
    for row in rows:
        sheet.append([cell or None for cell in row])
    stream = BytesIO()
    book.save(stream)
    return stream.getvalue()


def _titled(rows: Rows) -> Rows:
    return [["Splice plan, quay cabinet"], ["drawn by", "N. N.", "on 2024-05-01", "", "sheet 3"], *rows]


def _signed(rows: Rows) -> Rows:
    below = [
        ["Total", "576", "", "4"],
        ["Summe:", "11"],
        ["Zwischensumme", "72"],
        ["Sub-total", "72"],
        ["Zusammen:", "11"],
        ["gesamt", "576"],
        ["Insgesamt", "576"],
        rows[0],
        ["Checked by: ________________"],
        ["* cut lengths are nominal, see sheet 12"],
        ["", "", "page 2 of 2"],
        ["geprüft", "", "Datum 1.5."],
        ["", "", "", "42"],
    ]
    return [*rows, *below]


def _loud(rows: Rows) -> Rows:
    return [[text.upper().replace(" ", "_") for text in rows[0]], *rows[1:]]


def _backwards(rows: Rows) -> Rows:
    width = max(len(row) for row in rows)
    return [[*row, *[""] * (width - len(row))][::-1] for row in rows]


def _remarked(rows: Rows) -> Rows:
    width = max(len(row) for row in rows)
    head, *others = ([*row, *[""] * (width - len(row))] for row in rows)
    return [[*head, "what the crew says"], *([*row, "fine"] for row in others)]


_PLAIN = str.maketrans("\u2026\u2013", "--")
FORMS: dict[str, Callable[[Rows], bytes]] = {
    "semicolons": lambda rows: text_of(rows, ";").encode(),
    "tabs": lambda rows: text_of(rows, "\t").encode(),
    "sep": lambda rows: b"sep=;\n" + text_of(rows, ";").encode(),
    "mark": lambda rows: b"\xef\xbb\xbf" + text_of(rows).encode(),
    "carriage returns": lambda rows: text_of(rows).replace("\n", "\r\n").encode(),
    "utf-16": lambda rows: text_of(rows, "\t").encode("utf-16"),
    "utf-16 big end first": lambda rows: b"\xfe\xff" + text_of(rows).encode("utf-16-be"),
    "utf-16 without a mark": lambda rows: text_of(rows).encode("utf-16-le"),
    "utf-16-be without a mark": lambda rows: text_of(rows).encode("utf-16-be"),
    "utf-32": lambda rows: text_of(rows).encode("utf-32"),
    "windows-1252": lambda rows: text_of(_titled(rows)).replace("quay", "Kä\u2026").encode("cp1252"),
    "latin-1": lambda rows: text_of(_titled(rows)).translate(_PLAIN).replace("quay", "Kä\u0081").encode("latin-1"),
    "workbook": workbook,
    "title": lambda rows: text_of(_titled(rows)).encode(),
    "title over semicolons": lambda rows: text_of(_titled(rows), ";").encode(),
    "workbook with a title": lambda rows: workbook(_titled(rows)),
    "signed": lambda rows: text_of(_signed(rows)).encode(),
    "workbook, signed": lambda rows: workbook(_signed(rows)),
    "loud headers": lambda rows: text_of(_loud(rows)).encode(),
    "backwards": lambda rows: text_of(_backwards(rows)).encode(),
    "remarks": lambda rows: text_of(_remarked(rows)).encode(),
}


def said(made: Handmade) -> dict[str, Any]:
    """Give what a table says, and what is wrong with it, without the places of its cells."""
    return {
        "entries": [(str(e.run), str(e.place), e.end, e.built, e.cut) for e in made.entries],
        "ways": {trunk: {key: item.value for key, item in way.items()} for trunk, way in made.ways.items()},
        "splices": [(str(s.a), str(s.b), str(s.place), s.sleeve) for s in made.splices],
        "faults": sorted(re.split(r" row |: the columns", fault.message)[0] for fault in made.faults),
        "lost": len(made.lost),
    }


SOME = [
    pytest.param(name, form, marks=[pytest.mark.slow] * ((i + j) % 4 > 0))
    for i, name in enumerate(READABLE)
    for j, form in enumerate(FORMS)
]
"""Every table in every form; every form, and every table, with a quarter of the others in each run."""


@pytest.mark.parametrize(("name", "form"), SOME)
def test_a_table_says_the_same_in_every_form(quay: Job, name: str, form: str) -> None:
    rows = rows_of(name)
    plain = said(parse_handmade(quay, text_of(rows).encode(), "plain.csv"))
    made = parse_handmade(quay, FORMS[form](rows), "form")
    assert said(made) == plain
    assert made.head
    for line in made.lines:
        assert all(line.cell(column) for column in line.spots)


@pytest.mark.parametrize("form", ["utf-16", "utf-32", "windows-1252", "latin-1"])
def test_an_encoding_is_said(quay: Job, form: str) -> None:
    made = parse_handmade(quay, FORMS[form](rows_of("good-plain.csv")), "form.csv")
    assert f"read as {form}" in "; ".join(made.notes).lower()
    review = review_table(quay, made)
    assert review.passed
    assert "note: the file is not UTF-8 text" in review_text(review)
    assert marked_workbook(review)


@pytest.mark.parametrize("raw", [b"trunk,fibres\x00\x01,tray\n", b"\x89PNG\r\n\x1a\n\xff\xfe\x00\x01", b"\xff\xfet"])
def test_what_is_no_text_is_refused(quay: Job, raw: bytes) -> None:
    with pytest.raises(InputError, match=r"binary|no whole UTF-16"):
        parse_handmade(quay, raw, "binary.csv")


def test_rows_around_a_table_are_told_and_change_nothing(quay: Job) -> None:
    rows = rows_of("good-plain.csv")
    review = review_table(quay, parse_handmade(quay, text_of(_signed(_titled(rows))).encode(), "around.csv"))
    assert review.passed
    told = [remark for remark in review.remarks if remark.level == "unread"]
    assert len(told) == 13
    assert len(told) == len(review.remarks)
    assert sum("Checked by" in remark.found for remark in told) == 1
    text = review_text(review)
    assert "the headers are in row 3; rows 1 to 2 above them not read: 'Splice plan, quay cabinet'" in text


@pytest.mark.parametrize(
    "row",
    ["QAUY,1-72,left,1", "QUAY,1-72,,", ",1-72,left,1", "North,1-72,left,1", "Total,blue/orange,left,7", "QUAY,,left,"],
)
def test_a_row_that_says_something_of_a_plan_is_not_passed_over(quay: Job, row: str) -> None:
    made = parse_handmade(quay, f"trunk,fibres,stack,position\nEAST,1-72,left,1\n{row}\n".encode(), "rows.csv")
    assert made.faults or len(made.entries) == 2
    assert not made.unread


def test_one_cell_that_cannot_be_read_leaves_the_rest_to_be_judged(quay: Job) -> None:
    head, *rows = rows_of("bad-too-many-loops.csv")
    plain = {
        (r.rule, r.subject)
        for r in review_table(quay, parse_handmade(quay, text_of([head, *rows]).encode(), "t")).remarks
    }
    assert ("own_limits", "WEST") in plain
    for i, row in enumerate(rows):
        if row[0] == "WEST":
            continue
        for column, text in ((2, "elsewhere"), (3, "x"), (1, "1 to many")):
            spoilt = [[*row[:column], text, *row[column + 1 :]] if k == i else row for k, row in enumerate(rows)]
            review = review_table(quay, parse_handmade(quay, text_of([head, *spoilt]).encode(), "t"))
            assert [r.level for r in review.remarks].count("damage") == 1
            assert {(r.rule, r.subject) for r in review.remarks if r.level != "damage"} <= plain
            assert ("own_limits", "WEST") in {(r.rule, r.subject) for r in review.remarks}
            assert review.made.lost == [i + 2]
            assert "1 cell cannot be read, 1 row lost by it; of the rest" in review_text(review)
            assert row[0]


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_header_and_word_of_our_own_sheets_is_read(language: str) -> None:
    catalogue = tomllib.loads(
        files("trayopt.crewsheets").joinpath("catalogue", f"{language}.toml").read_text(encoding="utf-8")
    )
    said = catalogue["column"]
    wanted = {key: key for key in ("trunk", "port", "travel", "loops", "leg", "fibres", "tray", "end", "cut", "sleeve")}
    wanted |= {"splices": "count", "done": "built", "batch": "note", "circuit": "note", "note": "note", "label": "note"}
    for letter, side in (("a", "from"), ("b", "to")):
        wanted |= {f"{letter}_run": f"{side} fibres", f"{letter}_subunit": f"{side} tube"}
        wanted |= {
            f"{letter}_{part}_colour": f"{side} {column} colour"
            for part, column in (("subunit", "tube"), ("ribbon", "ribbon"), ("fibre", "seat"))
        }
        wanted |= {f"{letter}_ribbon": f"{side} ribbon", f"{letter}_fibre": f"{side} seat"}
    for key, column in wanted.items():
        for header in (said[key], said[key].upper(), f" {said[key].replace(' ', '_')} ", f"{said[key]} [mm]"):
            assert column_of(header) == column, header
    made = scenario()
    head = "trunk,fibres,tray,port,travel,loops"
    for travel, word in catalogue["travel"].items():
        table = parse_handmade(made, f"{head}\nWEST,1-72,left/1,bottom-left,{word},1\n".encode(), "t")
        assert table.ways["WEST"]["travel"].value == travel
    for divide_at, word in catalogue["divide_at"].items():
        table = parse_handmade(made, f"{head},divided at\nWEST,1-72,left/1,bottom-left,,1,{word}\n".encode(), "t")
        assert table.ways["WEST"]["divide_at"].value == divide_at


GROUPS = (
    [(columns._PLACE, "", ""), (columns._WAY, "", ""), (columns._LEG, "", ""), (columns._RUN, "", "")]
    + [(kind, f"{start} ", f"{side} ") for kind in (columns._SIDE, columns._WAY) for side, start in (("from", "from"), ("from", "von"), ("from", "A"), ("to", "to"), ("to", "nach"), ("to", "B"))]  # noqa: E501
)  # fmt: skip


@pytest.mark.parametrize(
    ("header", "column"),
    [(f"{start}{word}", f"{side}{column}") for kind, start, side in GROUPS for column, words in kind.items() for word in words],
)  # fmt: skip
def test_a_header_is_read_in_every_spelling(header: str, column: str) -> None:
    umlauts = header.replace("ä", "ae").replace("ö", "oe").replace("ü", "ue").replace("ß", "ss")
    for text in (header, header.title(), header.upper().replace(" ", "-"), umlauts, f"{header} (mm)", f"{header}:"):
        assert column_of(text) == column, text


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_colour_of_our_own_sheets_is_read(language: str) -> None:
    words = words_of(language)
    for place in range(1, 60):
        assert position(words.colour(place)) == place
        assert position(words.colour(place).upper().replace("ß", "SS")) == place


@pytest.mark.parametrize(
    "name",
    ["worked-example.yaml", "2x432-wall-2x6.yaml", "hub-of-three-wall-2x6.yaml", "2x576-subunits-96-against-144.yaml"],
)
@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("listed", ["splices", "fibres", "marks"])
def test_our_own_lists_are_read_back(name: str, language: str, listed: str) -> None:
    job, assignment = good(name)
    plan = measure(job, assignment, status="feasible", stopped="gap", bounds={}, solver=SOLVER)
    sheets = Sheets(job, plan, Options(language=language))
    made = parse_handmade(job, sheets.files()[f"{listed}.csv"], f"{listed}.csv")
    assert made.faults == []
    assert not any(sheets.safety[listed] in column for column in made.passed_over)
    assert made.lost == []
    places = {}
    for entry in made.runs or made.entries:
        for fibre in range(entry.run.first, entry.run.last + 1):
            places[entry.run.trunk, fibre] = entry.place
    for leg, place in assignment.places.items():
        first, last = job.subunit(leg).leg_run(leg)
        assert {places.get((leg.trunk, fibre), place) for fibre in range(first, last + 1)} == {place}
    for join in job.joins:
        assert all((join.a.trunk, fibre) in places for fibre in range(join.a.first, join.a.last + 1))


def test_cells_that_contradict_each_other_are_told_at_both(quay: Job) -> None:
    for name in ("damage-contradictions.csv", "damage-contradictions-splices.csv"):
        review = review_table(quay, parse_handmade(quay, (TABLES / name).read_bytes(), name))
        told = [remark for remark in review.remarks if remark.level == "damage"]
        assert len(told) >= 5
        assert all(len(remark.cells) == 2 and "contradict" in remark.found for remark in told)


def test_a_column_that_is_not_read_is_named(quay: Job) -> None:
    review = review_table(quay, parse_handmade(quay, (TABLES / "good-unread-columns.csv").read_bytes(), "t.csv"))
    (remark,) = review.remarks
    assert not remark.fails
    assert "column 'cut (m)' is not read, and holds figures, such as '3.55'" in remark.found
    assert remark.mend == "did you mean 'cut'? lengths are in mm"
    text = review_text(review)
    assert "read: trunk, fibres, stack, position, port, travel, loops\n" in text
    assert "not read: cut (m), remarks\n" in text
    assert review.as_dict()["columns_not_read"] == ["cut (m)", "remarks"]


def test_what_a_list_of_splices_does_not_name_is_unplaced(quay: Job) -> None:
    rows = rows_of("good-own-splice-list.csv")
    for gone in (range(1, 2), range(4, 7), range(1, 13), range(22, 23), range(2, 23)):
        kept = [row for i, row in enumerate(rows) if i not in gone]
        review = review_table(quay, parse_handmade(quay, text_of(kept).encode(), "t.csv"), complete_s=60)
        count = sum(int(rows[i][3]) for i in gone)
        assert not review.passed
        assert review.unplaced == review.goals["unplaced"] == review.as_dict()["unplaced"] == count
        missing = [remark for remark in review.remarks if remark.level == "unplaced"]
        assert sum(int(remark.found.split()[0]) for remark in missing) == count
