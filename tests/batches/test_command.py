"""The command: what it answers, how it ends, and what it loads."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.batches.lines import line, results
from tests.batches.sweeps import write_sweep
from tests.cli.run import loaded, trayopt
from trayopt import load_job
from trayopt.batches.manifest import read_manifest
from trayopt.batches.results import Results
from trayopt.batches.summary import summarize
from trayopt.cli.commands.batch import _exit
from trayopt.cli.exitcodes import Exit
from trayopt.library.find import shipped
from trayopt.library.job_out import as_file

STANDARD = shipped() / "standard"


def test_jobs_sweeps_and_folders_end_in_one_answer(tmp_path: Path) -> None:
    sweep = write_sweep(tmp_path / "s.yaml", ["pair"], "trays: [own, ribbon-144]")
    job = STANDARD / "2x288-wall-2x6.yaml"
    done = trayopt("batch", sweep, job, "-o", tmp_path / "out", "--time-limit", "20", "--no-explain", "--workers", "1")
    assert done.returncode == Exit.NO, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0].split() == ["mix", "smallest", "enclosure", "litres", "trays", "how"]
    assert "3 jobs: 2 fits, 1 does not fit" in lines
    assert lines[-1].endswith(f"see {tmp_path / 'out' / 'index.html'}")
    page = (tmp_path / "out" / "plans" / "2x288-wall-2x6.html").read_text(encoding="utf-8")
    assert "<h1>2 x 288</h1>" in page
    assert "1: N1:1-12 – S1:1-12" in page
    assert Results(tmp_path / "out").line("2x288-wall-2x6")["page"] == "plans/2x288-wall-2x6.html"  # type: ignore[index]
    again = trayopt("batch", sweep, job, "-o", tmp_path / "out", "--time-limit", "20", "--no-explain", "--resume", "-q")
    assert again.stdout == "3 jobs: 2 fits, 1 does not fit\n"
    against = trayopt(
        *("batch", job, "-o", tmp_path / "new", "--against", tmp_path / "out", "--time-limit", "20", "--format", "json")
    )
    assert against.returncode == Exit.NO, "two jobs are gone"
    answer = json.loads(against.stdout)
    assert [(change["name"], change["way"]) for change in answer["changes"]] == [
        ("s/wall-1x6/pair_own", "gone"),
        ("s/wall-1x6/pair_ribbon-144", "gone"),
    ]
    assert answer["outcomes"]["fits"] == 1


def test_names_and_single_jobs_are_printed_without_a_run(tmp_path: Path) -> None:
    sweep = write_sweep(tmp_path / "s.yaml", ["a", "b"])
    assert trayopt("batch", sweep, "--list").stdout.split() == ["s/wall-1x6/a", "s/wall-1x6/b"]
    shown = trayopt("batch", sweep, "--show", "s/wall-1x6/b").stdout
    (tmp_path / "b.yaml").write_text(shown)
    (_, item) = read_manifest([sweep]).items()
    assert load_job(tmp_path / "b.yaml").digest == item.job().digest
    wrong = trayopt("batch", sweep, "--show", "wall-1x6/b")
    assert wrong.returncode == Exit.INPUT
    assert "did you mean 's/wall-1x6/b'?" in wrong.stderr


@pytest.mark.parametrize("path", sorted(STANDARD.glob("*.yaml"))[::4], ids=lambda path: path.stem)
def test_a_job_that_is_written_out_is_the_same_job(path: Path) -> None:
    job = load_job(path)
    assert load_job(as_file(job)).digest == job.digest


def test_usage_and_input_end_in_2(tmp_path: Path) -> None:
    sweep = write_sweep(tmp_path / "s.yaml", ["a"])
    missing = trayopt("batch", sweep)
    assert (missing.returncode, missing.stdout) == (Exit.INPUT, "")
    assert "Missing option '-o'" in missing.stderr
    nowhere = trayopt("batch", tmp_path / "no.yaml", tmp_path / "none", "-o", tmp_path / "out")
    assert nowhere.returncode == Exit.INPUT
    assert nowhere.stderr.count("there is no such file or folder") == 2
    assert not (tmp_path / "out").exists()
    older = trayopt("batch", sweep, "-o", tmp_path / "out", "--against", tmp_path)
    assert older.returncode == Exit.INPUT
    assert "there is no results.jsonl in this folder" in older.stderr
    bad = tmp_path / "bad.yaml"
    bad.write_text((STANDARD / "2x288-wall-2x6.yaml").read_text().replace("wall-2x6", "wall-2x7"))
    done = trayopt("batch", bad, "-o", tmp_path / "out", "-q")
    assert done.returncode == Exit.INPUT
    assert done.stderr.startswith(f"warning: bad: {bad}:4:12: there is no enclosure 'wall-2x7'")
    assert Results(tmp_path / "out").line("bad")["outcome"] == "wrong_input"  # type: ignore[index]


@pytest.mark.parametrize(
    ("outcomes", "code"),
    [
        (["fits", "fits_with_broken_preference"], Exit.YES),
        (["fits", "does_not_fit"], Exit.NO),
        (["does_not_fit", "no_plan"], Exit.NOTHING),
        (["does_not_fit", "not_settled"], Exit.NOTHING),
        (["no_plan", "wrong_input"], Exit.INPUT),
        (["wrong_input", "failed"], Exit.FAULT),
        ([], Exit.YES),
    ],
)
def test_the_exit_code_is_that_of_the_gravest(outcomes: list[str], code: Exit, tmp_path: Path) -> None:
    lines = [line(f"s/a/m{i}", outcome) for i, outcome in enumerate(outcomes)]
    assert _exit(summarize(results(tmp_path, *lines))) == code


def test_what_only_lists_or_solves_elsewhere_loads_nothing_heavy(tmp_path: Path) -> None:
    sweep = write_sweep(tmp_path / "s.yaml", ["a"])
    heavy = {"ortools", "pandas", "numpy", "rich", "jinja2", "openpyxl", "distributed"}
    assert loaded("batch", sweep, "--list") & heavy == set()
    assert loaded("batch", sweep, "-o", tmp_path / "out", "-q") & {"ortools", "pandas", "distributed", "rich"} == set()
