"""The commands: what they answer, where they answer it, and how they end."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.run import ROOT, loaded, trayopt
from trayopt import load_job
from trayopt.cli import app
from trayopt.cli.exitcodes import MEANING, Exit
from trayopt.cli.output import Output, table
from trayopt.errors import InputError
from trayopt.formats.json_in import read_plan
from trayopt.rules.registry import BY_ID

HEAVY = {"ortools", "pandas", "numpy", "networkx", "rich", "jinja2", "openpyxl", "distributed"}


def test_help_names_every_command_and_version_its_number() -> None:
    done = trayopt("--help")
    assert done.returncode == Exit.YES
    for name in ("library", "schema", "new"):
        assert f"\n  {name} " in done.stdout
    assert trayopt("--version").stdout == "trayopt 0.1.0\n"
    assert trayopt("library", "list", "-h").returncode == Exit.YES


@pytest.mark.parametrize(
    "arguments",
    [
        ["--help"],
        ["--version"],
        ["library", "list"],
        ["library", "show", "wall-2x6"],
        ["library", "validate"],
        ["schema", "job"],
        ["new", "-"],
    ],
    ids=" ".join,
)
def test_nothing_heavy_is_loaded(arguments: list[str]) -> None:
    assert loaded(*arguments) & HEAVY == set()


def test_list_shows_every_kind() -> None:
    lines = trayopt("library", "list").stdout.splitlines()
    assert lines[0].split() == ["kind", "id", "what", "it", "is"]
    assert {line.split()[0] for line in lines[1:]} == {"tray", "enclosure", "cable", "tubes"}
    rows = json.loads(trayopt("library", "list", "--kind", "tray", "--format", "json").stdout)
    assert {"kind": "tray", "id": "ribbon-96"}.items() <= next(row for row in rows if row["id"] == "ribbon-96").items()
    assert trayopt("library", "list", "--kind", "tray", "-q").stdout.splitlines() == [row["id"] for row in rows]


def test_show_gives_the_file_as_it_is_or_resolved_json() -> None:
    done = trayopt("library", "show", "wall-2x6")
    assert done.stdout == (ROOT / "models" / "enclosures" / "wall-2x6.yaml").read_text(encoding="utf-8")
    assert done.stderr.startswith("enclosure wall-2x6: ")
    data = json.loads(trayopt("library", "show", "wall-2x6", "--format", "json").stdout)
    assert data["stacks"][0]["tray"]["fibres"] == 72
    missing = trayopt("library", "show", "wall-2x7")
    assert missing.returncode == Exit.INPUT
    assert missing.stderr == "library: there is no entry 'wall-2x7'; did you mean 'wall-2x6'?\n"


def test_validate_passes_the_shipped_models_and_fails_bad_ones(tmp_path: Path) -> None:
    assert trayopt("library", "validate", "-q").returncode == Exit.YES
    bad = (
        (ROOT / "models" / "trays" / "ribbon-24.yaml")
        .read_text(encoding="utf-8")
        .replace("min_radius_mm: 30", "min_radius_mm: 300")
    )
    (tmp_path / "ribbon-24.yaml").write_text(bad, encoding="utf-8")
    done = trayopt("library", "validate", tmp_path / "ribbon-24.yaml", "--format", "json")
    assert done.returncode == Exit.NO
    answer = json.loads(done.stdout)
    assert answer["files"] == 1
    assert answer["errors"][0]["message"] == "no turn of this radius fits into the tray"
    assert answer["errors"][0]["line"] is not None
    text = trayopt("library", "validate", "--library", tmp_path)
    assert text.returncode == Exit.NO
    assert "error    " in text.stdout
    assert text.stdout.splitlines()[-1].endswith("1 error, 1 warning")


def test_a_library_that_is_no_folder_is_an_input_error() -> None:
    done = trayopt("library", "list", "--library", "nowhere", "--format", "json")
    assert done.returncode == Exit.INPUT
    assert done.stdout == ""
    assert json.loads(done.stderr)["errors"][0]["source"] == "nowhere"


def test_new_writes_a_job_that_is_read_and_does_not_overwrite(tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    assert trayopt("new", path).returncode == Exit.YES
    assert load_job(path).splices == 432
    before = path.read_text()
    path.write_text("mine")
    done = trayopt("new", path)
    assert done.returncode == Exit.INPUT
    assert done.stderr == f"{path}: there is such a file already; choose another name, or add --force\n"
    assert path.read_text() == "mine"
    assert trayopt("new", path, "--force", "-q").stdout == f"{path}\n"
    assert path.read_text() == before
    assert trayopt("new", "-").stdout == before


def test_every_commented_key_of_the_starter_job_is_one(tmp_path: Path) -> None:
    """Uncommented, the starter job is a job still, but for the joins that ``apart`` only makes up."""
    text = trayopt("new", "-").stdout
    lines = [
        line.replace("# ", "", 1) if line.lstrip().startswith("# ") and ":" in line else line
        for line in text.splitlines()
    ]
    keys = (
        "ports:",
        "travel:",
        "loops:",
        "exposed_mm:",
        "transition_mm:",
        "divide_at:",
        "idle:",
        "rules:",
        "alternate",
        "guide_fill:",
        "tray_pair:",
        "pins:",
        "- {leg",
        "- {trunk",
        "ribbons:",
        "- id: M1",
        "cable:",
        "through:",
        "toward:",
        "slack_mm:",
        "cut:",
        "- {a:",
    )
    kept = [
        new if new.strip().startswith(keys) and "left out" not in new.partition("#")[0] else old
        for new, old in zip(lines, text.splitlines(), strict=True)
    ]
    path = tmp_path / "job.yaml"
    path.write_text("\n".join(kept))
    job = load_job(path)
    assert job.trunks[0].exposed_mm == 6000
    assert [trunk.id for trunk in job.trunks] == ["N1", "S1", "M1.west", "M1.east"]
    assert [unit.number for unit in job.trunks[2].passing] == [3, 4], (
        "cut are the subunit of the join and that of the list"
    )
    assert job.through[0].slack_mm == 12000
    assert len(job.pins) == 2
    assert job.rules["guide_fill"].parameters["fill"] == 0.45


def test_usage_errors_end_in_2_on_stderr() -> None:
    for arguments in (["nothing"], ["library", "list", "--format", "xml"], ["schema"], ["--nothing"]):
        done = trayopt(*arguments)
        assert done.returncode == Exit.INPUT
        assert done.stdout == ""
        assert "Error" in done.stderr


def test_a_reader_that_goes_away_is_no_error() -> None:
    reads, writes = os.pipe()
    os.close(reads)
    done = subprocess.run(
        [sys.executable, "-m", "trayopt", "schema", "job"],
        stdout=writes,
        stderr=subprocess.PIPE,
        check=False,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    os.close(writes)
    assert (done.returncode, done.stderr) == (Exit.PIPE_CLOSED, b"")


class Broken(Exception):  # noqa: N818
    """Something unforeseen."""


def _raise(wrong: BaseException) -> None:
    raise wrong


@pytest.mark.parametrize(
    ("wrong", "code", "said"),
    [
        (
            Broken("no\nidea"),
            Exit.FAULT,
            "trayopt: a fault of trayopt itself: Broken: no idea (run again with -v for the traceback)\n",
        ),
        (
            RecursionError("deep"),
            Exit.FAULT,
            "trayopt: a fault of trayopt itself: RecursionError: deep (run again with -v for the traceback)\n",
        ),
        (KeyboardInterrupt(), Exit.INTERRUPTED, "\ninterrupted\n"),
        (InputError.one("m", source="s"), Exit.INPUT, "s: m\n"),
    ],
)
def test_every_way_out(
    wrong: BaseException, code: Exit, said: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("trayopt.api.json_schema", lambda _: _raise(wrong))
    with pytest.raises(SystemExit) as end:
        app.main(["schema", "job"])
    assert end.value.code == code
    captured = capsys.readouterr()
    assert captured.err == said
    assert captured.out == ""


def test_the_traceback_is_shown_with_v(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr("trayopt.api.json_schema", lambda _: _raise(Broken("x")))
    with pytest.raises(SystemExit):
        app.main(["schema", "job", "-v"])
    assert "Traceback" in capsys.readouterr().err


def test_every_exit_code_has_a_meaning() -> None:
    assert list(MEANING) == list(Exit)


def test_what_is_printed_where(capsys: pytest.CaptureFixture[str]) -> None:
    for output, out, err in (
        (Output(), "text\n", "note\nwarning: warn\n"),
        (Output(quiet=True), "head\n", "warning: warn\n"),
        (Output(format="json"), "1\n", "note\nwarning: warn\n"),
        (Output(verbose=True), "text\n", "note\nwarning: warn\ndetail\n"),
    ):
        output.note("note")
        output.warn("warn")
        output.detail("detail")
        output.answer(lambda: 1, lambda: "text", lambda: "head")
        captured = capsys.readouterr()
        assert (captured.out, captured.err) == (out, err)


def test_tables_fit_a_width() -> None:
    rows = [("tray", "a b c d e f g h i j k l m n o p q"), ("cable", "x")]
    assert table(("kind", "text"), rows, width=30) == (
        "kind   text\ntray   a b c d e f g h i j k l\n       m n o p q\ncable  x\n"
    )
    assert table(("n", "m"), [("1", "22"), ("10", "3")], right=(0, 1)) == " n   m\n 1  22\n10   3\n"
    assert table(("a",), []) == ""


def test_the_starter_job_solves(tmp_path: Path) -> None:
    assert trayopt("new", tmp_path / "job.yaml").returncode == Exit.YES
    done = trayopt("solve", tmp_path / "job.yaml", "-o", tmp_path / "plan.json", "--time-limit", "60", "-q")
    assert (done.returncode, done.stderr) == (Exit.YES, "")
    assert read_plan(tmp_path / "plan.json").value("unplaced") == 0


BOX = ROOT / "models" / "enclosures" / "wall-2x6.yaml"


@pytest.fixture(scope="module")
def two_jobs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, Path]:
    """Write one job in a box whose guides run counterclockwise, the same in a sound box, and a plan of the latter."""
    folder = tmp_path_factory.mktemp("jobs")
    text = BOX.read_text(encoding="utf-8")
    found = re.search(r"guides:\n((?:      - .*\n)+)", text) or re.search(r"guides:\n((?: +- .*\n)+)", text)
    assert found is not None
    turned = "".join(reversed(found[1].splitlines(keepends=True)))
    (folder / "turned.yaml").write_text(text.replace(found[1], turned), encoding="utf-8")
    sound = (ROOT / "models" / "standard" / "2x288-wall-2x6.yaml").read_text(encoding="utf-8")
    good, bad = folder / "good.yaml", folder / "bad.yaml"
    good.write_text(sound, encoding="utf-8")
    bad.write_text(sound.replace("enclosure: wall-2x6", "enclosure: turned.yaml"), encoding="utf-8")
    plan = folder / "plan.json"
    assert trayopt("solve", good, "-o", plan).returncode == Exit.YES
    return good, bad, plan


@pytest.mark.parametrize("command", ["solve", "check", "explain", "mend", "sheets", "compare", "batch"])
def test_hardware_that_cannot_be_built_is_refused_by_every_command(
    command: str, two_jobs: tuple[Path, Path, Path], tmp_path: Path
) -> None:
    _, bad, plan = two_jobs
    more: dict[str, list[str | Path]] = {
        "check": [plan],
        "mend": [plan],
        "sheets": [plan, "-o", tmp_path],
        "compare": [plan, plan],
    }
    done = trayopt(command, bad, *more.get(command, ["-o", tmp_path / "results"] if command == "batch" else []))
    assert done.returncode == Exit.INPUT, done.stderr
    told = done.stderr.replace("\n", " ")
    assert re.search(r"turned\.yaml:\d+:\d+: the guides run counterclockwise", told), done.stderr
    assert not (tmp_path / "index.html").exists()


def test_explain_v_says_why_there_is_a_rule_and_where_its_figures_come_from() -> None:
    job = ROOT / "models" / "standard" / "no-2x864-short-tail-wall-3x8.yaml"
    with_v, without = (trayopt("explain", job, "--ways-out", "0", *more) for more in (["-v"], []))
    assert with_v.returncode == without.returncode == Exit.NO
    rule = BY_ID["exposed"]
    assert f"exposed: {rule.why} Source: {rule.source}.\n" in with_v.stderr
    assert "Source:" not in without.stderr
