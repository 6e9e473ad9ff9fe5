"""What is made of the lines: the smallest box, what changed, tables and the page."""

from __future__ import annotations

import csv
import json
import sys
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from tests.batches.lines import line, results
from trayopt.batches.changes import MOST_CHANGES
from trayopt.batches.html import write_html
from trayopt.batches.outcomes import OUTCOMES
from trayopt.batches.results import Results
from trayopt.batches.summary import summarize, words
from trayopt.batches.tables import COLUMNS, row, write_csv, write_xlsx
from trayopt.batches.work import Settings
from trayopt.domain.sweep import FACTORS

NASTY = "</script><b>&\"'=1+1\u2028"


def test_the_smallest_box_is_the_one_of_the_least_volume_in_which_a_mix_fits(tmp_path: Path) -> None:
    found = summarize(
        results(
            tmp_path,
            line("s/big/2x288_through", litres=90.0),
            line("s/small/2x288_through", "does_not_fit", litres=20.0),
            line("s/middle/2x288_ring", "fits_with_broken_preference", litres=40.0),
            line("s/middle/2x288_mesh", litres=40.0),
            line("s/small/2x9_through", "does_not_fit", splices=9),
        )
    )
    assert [item.mix for item in found.smallest] == ["2x9", *["2x288"] * 3], "in the order of their fibres"
    assert found.smallest[0].box is None
    told = {
        item.variant: item.box and (item.box.enclosure, item.box.litres, item.box.outcome)
        for item in found.smallest[1:]
    }
    assert told == {
        "": ("big", 90.0, "fits"),
        "mesh": ("middle", 40.0, "fits"),
        "ring": ("middle", 40.0, "fits_with_broken_preference"),
    }
    assert found.counts == {"fits": 2, "fits_with_broken_preference": 1, "does_not_fit": 2}
    assert found.as_dict()["smallest"][0] == {"mix": "2x9", "variant": "", "enclosure": None, "not_settled": []}


def test_rules_joins_and_trays_have_a_smallest_box_each(tmp_path: Path) -> None:
    """A mix that fits a small box with thin rules or other trays does not fit it as it was asked for."""
    lines = []
    for box, litres, rules, tray, outcome in (
        ("small", 20.0, "default", "own", "does_not_fit"),
        ("small", 20.0, "thin", "own", "fits"),
        ("small", 20.0, "default", "ribbon-144", "not_settled"),
        ("big", 90.0, "default", "own", "fits"),
        ("big", 90.0, "thin", "own", "fits"),
        ("big", 90.0, "default", "ribbon-144", "fits"),
    ):
        made = line(f"s/{box}/2x288_{tray}_{rules}", outcome, litres=litres)
        lines.append(
            {**made, "values": {**made["values"], "mix": "2x288", "joins": "through", "rules": rules, "tray": tray}}
        )
    found = summarize(results(tmp_path, *lines))
    assert [(item.variant, item.box and item.box.enclosure, item.not_settled) for item in found.smallest] == [
        ("", "big", ()),
        ("thin", "small", ()),
        ("trays ribbon-144", "big", ("small",)),
    ]


def test_two_sweeps_that_use_the_same_words_are_told_apart(tmp_path: Path) -> None:
    found = summarize(results(tmp_path, line("s/a/2x288_ring"), line("t/b/2x288_ring", litres=5.0)))
    assert [(item.variant, item.box and item.box.enclosure) for item in found.smallest] == [
        ("ring · sweep s", "a"),
        ("ring · sweep t", "b"),
    ]


def test_job_files_that_ask_for_the_same_are_compared_box_by_box(tmp_path: Path) -> None:
    def job(name: str, box: str, litres: float, variant: str, outcome: str = "fits") -> dict[str, Any]:
        made = line(f"s/{box}/2x288", outcome, litres=litres) | {"name": name, "variant": variant}
        return {**made, "values": {**dict.fromkeys(FACTORS, ""), "enclosure": box, "mix": "2 × 288"}}

    found = summarize(
        results(
            tmp_path,
            job("one", "big", 90.0, "x"),
            job("two", "small", 20.0, "x"),
            job("other", "tiny", 10.0, "y", "does_not_fit"),
            job("another", "small", 20.0, "y", "does_not_fit"),
        )
    )
    assert [(item.variant, item.box and item.box.enclosure) for item in found.smallest] == [
        ("another and 1 more", None),
        ("two", "small"),
    ]


def test_boxes_that_are_not_settled_are_told_where_they_may_be_smaller(tmp_path: Path) -> None:
    found = summarize(
        results(
            tmp_path,
            line("s/big/2x288_through", litres=90.0),
            line("s/huge/2x288_through", "not_settled", litres=99.0),
            line("s/tiny/2x288_through", "does_not_fit", litres=5.0),
            line("s/small/2x288_through", "not_settled", litres=20.0),
            line("s/small/2x288_ring", "does_not_fit", litres=20.0),
            line("s/small/2x9_through", "no_plan", litres=20.0, splices=9),
        )
    )
    assert [(item.mix, item.variant, item.not_settled) for item in found.smallest] == [
        ("2x9", "", ("small",)),
        ("2x288", "", ("small",)),
        ("2x288", "ring", ()),
    ]
    page = tmp_path / "index.html"
    write_html(page, Results(tmp_path), found)
    text = page.read_text(encoding="utf-8")
    assert "smaller boxes, not settled" in text
    assert text.count("none of those that were tried") == 1, "of 2x9 nobody knows that"
    assert text.count("none yet") == 1


def test_what_changed_against_an_older_run(tmp_path: Path) -> None:
    older = results(
        tmp_path / "older",
        line("s/a/same"),
        line("s/a/worse"),
        line("s/a/better", goals=(0, 0, 1, 8, 4, 0, 26_188, 1), outcome="fits_with_broken_preference"),
        line("s/a/longer"),
        line("s/a/gone"),
        line("s/a/other"),
        line("s/a/seconds"),
    )
    newer = results(
        tmp_path / "newer",
        line("s/a/same"),
        line("s/a/worse", "does_not_fit", goals=(72, 0, 0, 6, 4, 0, 20_000, 1)),
        line("s/a/better"),
        line("s/a/longer", goals=(0, 0, 0, 8, 4, 2, 26_188, 1)),
        line("s/a/new"),
        line("s/a/other", plan_sha256="another", digest="another"),
        line("s/a/seconds", seconds=99.0, version="9"),
    )
    summary = summarize(newer, older)
    assert summary.changes is not None
    assert [(change.name, change.way, change.before, change.after) for change in summary.changes] == [
        ("s/a/longer", "worse", "0 crossings", "2 crossings"),
        (
            "s/a/worse",
            "worse",
            "fits, 0 splices without a tray, 8 legs, 26,188 mm of legs",
            "does not fit, 72 splices without a tray, 6 legs, 20,000 mm of legs",
        ),
        ("s/a/gone", "gone", "fits", ""),
        ("s/a/other", "changed", "another plan with the same figures", "another plan with the same figures"),
        (
            "s/a/better",
            "better",
            "fits, with a broken preference, 1 weight of broken preferences",
            "fits, 0 weight of broken preferences",
        ),
        ("s/a/new", "new", "", "fits"),
    ]
    assert summary.worse == 3
    assert [change.job_changed for change in summary.changes] == [False, False, False, True, False, False]


def test_no_number_of_changes_hides_one_that_is_worse(tmp_path: Path) -> None:
    count = MOST_CHANGES + 50
    older = [line(f"s/a/m{i:05}", goals=(0, 0, 0, 8, 4, 0, 30_000, 1)) for i in range(count)]
    newer = [line(f"s/a/m{i:05}") for i in range(count)]
    summary = summarize(
        results(tmp_path / "newer", *newer, line("s/z/worse", "does_not_fit")),
        results(tmp_path / "older", *older, line("s/z/worse"), line("s/z/gone")),
    )
    assert (summary.worse, summary.ways) == (2, {"better": count, "worse": 1, "gone": 1})
    assert summary.changes is not None
    assert [change.name for change in summary.changes[:2]] == ["s/z/worse", "s/z/gone"]
    assert len(summary.changes) == MOST_CHANGES + 2
    assert summary.as_dict()["changed"] == {"worse": 1, "gone": 1, "changed": 0, "better": count, "new": 0}


def test_of_a_run_with_other_goals_only_what_means_the_same_is_held_against_it(tmp_path: Path) -> None:
    former = dict(
        zip(("unplaced", "broken_must", "broken_prefer", "legs", "crossings", "out_of_turn"), range(6), strict=True)
    )
    summary = summarize(
        results(tmp_path / "newer", line("s/a/same", digest="new"), line("s/a/less", digest="new")),
        results(
            tmp_path / "older",
            line("s/a/same", plan_sha256="another") | {"goals": former},
            line("s/a/less", plan_sha256="another") | {"goals": former | {"unplaced": 12}},
        ),
    )
    assert summary.changes is not None
    assert [(change.name, change.way, change.before) for change in summary.changes] == [
        ("s/a/same", "changed", "another plan with the same figures"),
        ("s/a/less", "better", "12 splices without a tray"),
    ]


def test_where_trunks_are_divided_is_said_in_words() -> None:
    said = {value: words("divide_at", value) for value in ("tray", "cable", "tray+port", "tray-port", "port-tray+port")}
    assert said == {
        "tray": "divided at the tray",
        "cable": "divided where the cable allows",
        "tray+port": "divided at the tray or the port",
        "tray-port": "divided trunk by trunk at the tray, the port",
        "port-tray+port": "divided trunk by trunk at the port, the tray or the port",
    }


def test_tables_say_how_full_the_trays_are_by_ends_and_how_many_are_tied(tmp_path: Path) -> None:
    (made,) = results(tmp_path, line("s/a/2x288_through", ends=432, capacity=432, tied=3)).lines()
    cells = dict(zip(COLUMNS, row(made), strict=True))
    assert len(set(COLUMNS)) == len(COLUMNS)
    assert (cells["trays"], cells["tied"], cells["ends"], cells["fill"]) == (4, 3, 432, 0.5)


def test_the_digest_names_results_and_not_how_they_came_about(tmp_path: Path) -> None:
    lines = [line("s/a/x"), line("s/a/y"), line("s/a/z", "failed", failure="hang")]
    one = summarize(results(tmp_path / "one", *lines)).digest
    other = summarize(
        results(tmp_path / "other", *({**item, "seconds": 7, "attempts": 2} for item in lines[::-1]))
    ).digest
    assert one == other
    changed = line("s/a/x", goals=(0, 0, 0, 8, 4, 0, 26_189, 1))
    assert summarize(results(tmp_path / "third", changed, *lines[1:])).digest != one


def test_without_openpyxl_no_older_workbook_is_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A workbook of an earlier run would be out of date."""
    found = results(tmp_path, line("s/a/2x288_through"))
    assert write_xlsx(tmp_path / "summary.xlsx", found)
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    assert not write_xlsx(tmp_path / "summary.xlsx", found)
    assert not (tmp_path / "summary.xlsx").exists()


def test_tables_hold_a_row_a_job_and_no_formula(tmp_path: Path) -> None:
    found = results(
        tmp_path,
        line("s/a/2x288_through", title="=1+1", why="-2 is less"),
        line("s/b/2x288_through", "failed", why="x"),
    )
    write_csv(tmp_path / "summary.csv", found)
    with (tmp_path / "summary.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    *columns, last = rows[0]
    assert tuple(columns) == COLUMNS
    assert last.startswith("Safety: ")
    assert "invisible" in last
    assert {row[last] for row in rows} == {""}
    assert (rows[0]["title"], rows[0]["why"], rows[0]["outcome"]) == ("'=1+1", "'-2 is less", "fits")
    assert (rows[0]["fill"], rows[0]["legs"], rows[0]["leg_length_mm"]) == ("0.3333", "8", "26188")
    assert (rows[1]["legs"], rows[1]["plan"], rows[1]["outcome"]) == ("", "", "failed")
    assert [rows[0][key] for key in ("time_limit_s", "gap", "seed", "goal_order", "explain")] == [
        "60.0",
        "",
        "1",
        "",
        "True",
    ]
    assert write_xlsx(tmp_path / "summary.xlsx", found)
    sheet: Any = openpyxl.load_workbook(tmp_path / "summary.xlsx").active
    cells = {cell.value: sheet.cell(2, cell.column) for cell in sheet[1]}
    assert (cells["title"].value, cells["title"].data_type) == ("=1+1", "s")
    assert cells["plan"].hyperlink.target == "plans/s/a/2x288_through.json"
    assert cells["fill"].number_format == "0.0%"
    assert (sheet.cell(1, len(COLUMNS) + 1).value, sheet.cell(2, len(COLUMNS) + 1).value) == (last, None)
    assert sheet.freeze_panes == "B2"


class Page(HTMLParser):
    """Reads what a page refers to, and its data."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.links: list[str] = []
        self.data = ""
        self.scripts = 0
        self.words: list[str] = []
        self._inside = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note what a tag refers to."""
        given = dict(attrs)
        self.links += [str(given[key]) for key in ("href", "src") if key in given]
        self._inside = given.get("id") or "" if tag == "script" else tag
        self.scripts += tag == "script"

    def handle_endtag(self, tag: str) -> None:
        """Leave it."""
        self._inside = ""

    def handle_data(self, data: str) -> None:
        """Keep data and words apart."""
        if self._inside == "data":
            self.data += data
        elif self._inside not in {"style", "script", ""}:
            self.words.append(data)


@pytest.fixture
def page(tmp_path: Path) -> Page:
    """Write the page of some results, with texts that would break out of it."""
    newer = results(
        tmp_path / "newer",
        line("s/a/2x288_through"),
        line("s/b/2x288_through", "does_not_fit", goals=(72, 0, 0, 6, 4, 0, 20_000, 1), why=NASTY),
        line(f"s/{NASTY.replace('/', '')}/2x288_ring", "fits_with_broken_preference"),
    )
    older = results(tmp_path / "older", line("s/b/2x288_through"))
    path = tmp_path / "index.html"
    write_html(path, newer, summarize(newer, older), "older")
    return Page(path.read_text(encoding="utf-8"))


def test_the_page_holds_a_cell_a_job_and_its_texts_stay_texts(page: Page) -> None:
    data = json.loads(page.data)
    assert page.scripts == 2
    assert len(data["cells"]) == 3
    assert {box["id"] for box in data["boxes"]} == {"a", "b", NASTY.replace("/", "")}
    nasty = next(cell for cell in data["cells"] if cell[2] == "does_not_fit")
    assert nasty[11] == NASTY
    assert nasty[12] == "plans/s/b/2x288_through.json"
    rows = [row[:2] for row in data["rows"]]
    assert sorted(rows) == [["2x288", ""], ["2x288", "ring"]]
    assert {cell[0] for cell in data["cells"]} == {0, 1}
    assert set(data["marks"]) == set(data["short"]) == set(OUTCOMES)


def test_the_page_refers_to_nothing_but_plans_and_itself(page: Page) -> None:
    assert all(link.startswith(("#", "plans/")) for link in page.links)
    text = " ".join(page.words)
    assert text.index("Safety: Treat every fibre as live") < text.index("What changed"), "before all else"
    assert "laser light is invisible" in text
    assert "Local codes and licensed or certified work come before" in text
    assert "What changed against older" in text
    assert "1 worse" in text
    assert "2 new" in text
    assert "Smallest enclosure that fits" in text


def test_jobs_without_an_answer_and_settings_that_differ_stand_on_the_page(tmp_path: Path) -> None:
    other = Settings(5.0, seed=2, goals=("crossings", "legs", "leg_length_mm"), explain=False)
    found = results(
        tmp_path,
        *(line(f"s/a/m{i}", "failed", why=f"reason {i}") for i in range(30)),
        line("s/a/x"),
        line("s/a/y", settings=other.plain()),
    )
    summary = summarize(found)
    assert [jobs for _, jobs in summary.settings] == [31, 1]
    write_html(tmp_path / "index.html", found, summary)
    text = " ".join(Page((tmp_path / "index.html").read_text(encoding="utf-8")).words)
    assert all(f"reason {i}" in text for i in range(30))
    assert "31 jobs were solved with one thread, up to 60 s of the solver's own time, seed 1." in text
    assert (
        "1 job was solved with one thread, up to 5 s of the solver's own time, seed 2, "
        "goals in the order crossings, legs, leg_length_mm, no conflict looked for."
    ) in text


def test_a_page_without_results_is_a_page(tmp_path: Path) -> None:
    empty = results(tmp_path)
    write_html(tmp_path / "index.html", empty, summarize(empty))
    assert json.loads(Page((tmp_path / "index.html").read_text()).data)["cells"] == []
