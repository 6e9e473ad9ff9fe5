"""The commands check, mend, compare and new --table: what they answer, write and end with."""

from __future__ import annotations

import json
import re
from pathlib import Path

from tests.cli.run import loaded, trayopt
from trayopt.formats.json_in import read_plan

TABLES = Path(__file__).parent / "tables"
JOB = TABLES / "quay.yaml"
HEAVY = {"ortools", "pandas", "numpy", "networkx", "rich", "jinja2", "openpyxl", "distributed"}


def test_check_ends_with_yes_no_or_damage() -> None:
    for name, code in (("good-plain.csv", 0), ("bad-gap-at-the-base.csv", 1), ("damage-dates.csv", 2)):
        done = trayopt("check", JOB, TABLES / name, "--no-best", "--format", "json")
        assert done.returncode == code, done.stderr
        data = json.loads(done.stdout)
        assert data["schema"] == "trayopt/review/1"
        assert data["passed"] == (code == 0)
    done = trayopt("check", JOB, TABLES / "damage-no-such-headers.csv")
    assert done.returncode == 2
    assert "there is no column 'fibres'" in done.stderr


def test_check_reads_a_table_from_standard_input_and_compares_with_the_best() -> None:
    done = trayopt("check", JOB, "-", stdin=(TABLES / "good-but-not-best.csv").read_bytes())
    assert done.returncode == 0
    assert "<stdin>: passes" in done.stdout
    assert "distance" in done.stdout


def test_check_writes_the_page_and_the_sheet(tmp_path: Path) -> None:
    files: list[str | Path] = ["--html", tmp_path / "review.html", "--xlsx", tmp_path / "back.xlsx"]
    done = trayopt("check", JOB, TABLES / "bad-overlap.csv", "--no-best", "-q", *files)
    assert done.returncode == 1
    assert done.stdout.startswith(str(TABLES / "bad-overlap.csv"))
    assert (tmp_path / "review.html").read_text().startswith("<!doctype html>")
    assert (tmp_path / "back.xlsx").read_bytes().startswith(b"PK")


def test_check_completes_an_unfinished_table(tmp_path: Path) -> None:
    new = tmp_path / "whole.json"
    done = trayopt("check", JOB, TABLES / "bad-half-a-table.csv", "--no-best", "-o", new)
    assert done.returncode == 0, done.stderr
    assert "unfinished, and can be completed as it is" in done.stdout
    assert read_plan(new).value("unplaced") == 0
    assert trayopt("check", JOB, new, "-q").returncode == 0
    done = trayopt("check", JOB, TABLES / "bad-rows-in-the-way.csv", "--no-best", "-o", tmp_path / "none.json")
    assert done.returncode == 1
    assert not (tmp_path / "none.json").exists()


def test_a_plan_document_is_checked_without_anything_heavy(tmp_path: Path) -> None:
    plan = tmp_path / "plan.json"
    assert trayopt("check", JOB, TABLES / "good-plain.csv", "--no-best", "-q", "-o", plan).returncode == 0
    assert loaded("check", JOB, plan) & HEAVY == set()
    data = json.loads(plan.read_text())
    data["legs"][0]["cut_mm"] -= 50
    plan.write_text(json.dumps(data))
    done = trayopt("check", JOB, plan, "--format", "json")
    assert done.returncode == 1
    assert json.loads(done.stdout)["figures"][0]["path"] == "legs[QUAY/1.1].cut_mm"


def test_a_note_on_a_plan_document_names_each_place_once(tmp_path: Path) -> None:
    job, plan, page = tmp_path / "job.yaml", tmp_path / "plan.json", tmp_path / "page.html"
    trunks = "".join(f"  - {{id: {name}, cable: ribbon-864-6x144}}\n" for name in ("N1", "S1"))
    job.write_text(
        f"schema: trayopt/job/2\ntitle: once\nenclosure: wall-3x8\ntrunks:\n{trunks}"
        "joins: [{a: 'N1:1-432', b: 'S1:1-432'}]\npins: [{trunk: N1, divide_at: port}]\n"
    )
    assert trayopt("solve", job, "-o", plan).returncode == 0
    done = trayopt("check", job, plan, "--no-best", "--html", page)
    note = next(line for line in done.stdout.splitlines() if "breakout N1" in line)
    assert note.count("trunks[0]") == 1
    assert note.endswith("legs[N1/1.1], legs[N1/1.2], legs[N1/2.1], legs[N1/2.2], legs[N1/3.1] and 1 more]")
    assert page.read_text().count("legs[N1/2.1]") == 1
    assert "trayopt solve finds the best plan" in done.stdout
    assert "trayopt mend" not in done.stdout, "a plan that keeps every must has nothing to mend"


def test_mend_writes_a_plan_that_passes(tmp_path: Path) -> None:
    for name in ("new.json", "new.csv", "new.xlsx"):
        new = tmp_path / name
        done = trayopt("mend", JOB, TABLES / "bad-two-stacks-at-the-tray.csv", "-o", new, "-q")
        assert done.returncode == 0, done.stderr
        assert done.stdout.startswith("proven: no plan")
        assert trayopt("check", JOB, new, "--no-best", "-q").returncode == 0
    done = trayopt("mend", JOB, tmp_path / "new.csv", "--format", "json", "--weights", "legs=7")
    data = json.loads(done.stdout)
    assert data["weighed"] == data["bound"] == 0
    assert data["weights"]["legs"] == 7


def test_mend_says_no_where_what_is_built_forbids_it() -> None:
    done = trayopt("mend", JOB, TABLES / "bad-gap-at-the-base.csv", "--built", "left/1-3")
    assert done.returncode == 1
    assert re.search(r"proven: no plan keeps every must and \S+ in left/\d \(row \d+\), which is built", done.stdout)
    for wrong in (["--built", "left/9"], ["--weights", "legs=many"], ["--weights", "miles=3"]):
        assert trayopt("mend", JOB, TABLES / "good-plain.csv", *wrong).returncode == 2


def test_compare_answers_and_writes_a_page(tmp_path: Path) -> None:
    plans = [TABLES / "good-plain.csv", TABLES / "good-but-not-best.csv"]
    done = trayopt("compare", JOB, *plans, "-o", tmp_path / "two.html")
    assert done.returncode == 0
    assert "A is better: broken_prefer 0 in A, 3 in B" in done.stdout
    assert (tmp_path / "two.html").read_text().count("<svg") == 2


def test_new_writes_an_empty_table_once(tmp_path: Path) -> None:
    for name in ("empty.csv", "empty.xlsx"):
        table = tmp_path / name
        assert trayopt("new", JOB, "--table", table).returncode == 0
        assert trayopt("new", JOB, "--table", table).returncode == 2
        assert trayopt("new", JOB, "--table", table, "--force", "-q").stdout == f"{table}\n"
    assert (
        (tmp_path / "empty.csv")
        .read_text()
        .startswith("trunk,fibres,stack,position,port,travel,loops,divide_at,end,cut,built\n")
    )
