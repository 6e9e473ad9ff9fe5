"""``trayopt new``: hardware from answers on the command line or at a terminal, and the sheet to measure with."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.cli.run import ROOT, trayopt
from trayopt.cli.commands.new import KINDS, NAMES
from trayopt.cli.exitcodes import Exit
from trayopt.library.starters.questions import QUESTIONS
from trayopt.pictures.measuring import LETTERS, SAMPLE, Asked, measuring_sheet

BOX = ("size=480x560x140", "stacks=2", "trays=6", "tray=ribbon-72", "ring=55", "bottom=3x50", "left=1x50")
GIVEN = {
    "enclosure": BOX,
    "tray": ("fibres=72", "sleeve=12", "size=120x300x10"),
    "cable": ("construction=ribbon", "diameter=22", "subunits=3", "ribbons=12", "width=12"),
    "tubes": ("tubes=3.8/5, 5/6.5",),
}


def options(answers: tuple[str, ...]) -> list[str]:
    return [part for answer in answers for part in ("--answer", answer)]


@pytest.mark.parametrize("kind", KINDS)
def test_hardware_from_answers_passes_validate_at_once(kind: str, tmp_path: Path) -> None:
    file = tmp_path / "mine.yaml"
    done = trayopt("new", "--kind", kind, file, *options(GIVEN[kind]))
    assert done.returncode == Exit.YES, done.stderr
    assert "--picture mine.svg" in done.stdout
    assert trayopt("library", "validate", file, "-q").stdout == "1 file: 0 errors, 0 warnings\n"
    assert "# assumed: " in file.read_text(encoding="utf-8")


def test_a_box_of_answers_holds_a_job(tmp_path: Path) -> None:
    """Two trunks of 432 are planned in it, with proof, as in the box that the job names at first."""
    assert (
        trayopt("new", "--kind", "enclosure", tmp_path / "mine.yaml", *options((*BOX, "guide=50x80"))).returncode == 0
    )
    assert trayopt("new", tmp_path / "job.yaml").returncode == 0
    text = (tmp_path / "job.yaml").read_text(encoding="utf-8").replace("enclosure: wall-3x8", "enclosure: mine.yaml")
    (tmp_path / "job.yaml").write_text(text, encoding="utf-8")
    done = trayopt("solve", tmp_path / "job.yaml", "-q", "--reproducible")
    assert (done.returncode, done.stderr) == (Exit.YES, "")


def test_a_box_of_answers_with_trays_of_two_kinds_is_planned_by_its_places(tmp_path: Path) -> None:
    """Four trays of 72 for ribbons under two of 48 for single fibres: 288 fibres take the four, and no ribbon is separated."""
    box = [answer for answer in BOX if not answer.startswith("stacks")]
    answers = options((*box, "stacks=1", "mixed=5-6: single-48", "guide=50x80"))
    assert trayopt("new", "--kind", "enclosure", tmp_path / "mine.yaml", *answers).returncode == Exit.YES
    assert trayopt("new", tmp_path / "job.yaml").returncode == Exit.YES
    text = (tmp_path / "job.yaml").read_text(encoding="utf-8").replace("enclosure: wall-3x8", "enclosure: mine.yaml")
    text = text.replace("ribbon-432-3x144", "ribbon-288-2x144").replace("1-432", "1-288")
    (tmp_path / "job.yaml").write_text(text, encoding="utf-8")
    done = trayopt("solve", tmp_path / "job.yaml", "--reproducible")
    assert (done.returncode, done.stderr) == (Exit.YES, "")
    assert "Trays: 4 of 6 in use" in done.stdout


def test_the_trunk_that_the_starter_job_offers_goes_through(tmp_path: Path) -> None:
    """Its lines without their comment marks make a job that is planned as it is, with two cut tubes and two that pass."""
    text = trayopt("new", "-").stdout.splitlines()
    first = next(i for i, line in enumerate(text) if "- id: M1" in line)
    last = next(i for i, line in enumerate(text) if "cut by mistake" in line)
    offered = [
        line.replace("# ", "", 1) if i == last or (first <= i and line.startswith("  # ")) else line
        for i, line in enumerate(text[: last + 1])
    ]
    (tmp_path / "job.yaml").write_text("\n".join(offered), encoding="utf-8")
    done = trayopt("solve", tmp_path / "job.yaml", "--reproducible")
    assert (done.returncode, done.stderr) == (Exit.YES, "")
    assert "uncut" in done.stdout


def test_without_a_terminal_every_answer_that_is_missing_is_named(tmp_path: Path) -> None:
    done = trayopt("new", "--kind", "tray", tmp_path / "mine.yaml", "-a", "fibres=72")
    assert done.returncode == Exit.INPUT
    assert done.stderr.splitlines() == [
        "tray: there is no answer to size: outside in mm: width x length x height; --answer size=120x300x10",
        "tray: there is no answer to sleeve: fibres that one sleeve protects; --answer sleeve=12",
        "2 errors",
    ]
    assert not (tmp_path / "mine.yaml").exists()


def test_on_a_terminal_it_asks_and_asks_again_where_an_answer_cannot_be_read(tmp_path: Path) -> None:
    keyboard, screen = os.openpty()
    run = subprocess.Popen(
        [sys.executable, "-m", "trayopt", "new", "--kind", "tray", "mine.yaml", "-a", "sleeve=12"],
        stdin=screen, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    os.write(keyboard, b"six\n72\n120x300x10\n")
    out, asked = run.communicate(timeout=60)
    os.close(keyboard)
    os.close(screen)
    assert run.returncode == Exit.YES
    assert b"1/3 splices that it holds, such as 72" in asked
    assert b"allowed: a whole number from 1 to 2,000" in asked
    assert b"sleeve protects" not in asked
    assert out == b"mine.yaml written; next: trayopt library show mine.yaml --picture mine.svg\n"
    assert "fibres: 72 " in (tmp_path / "mine.yaml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--kind", "tray", "--sheet"], "only one of --kind, --sheet and --table can be given"),
        (["-a", "fibres=72"], "--answer goes with --kind"),
        (["--kind", "tray", "-a", "fibres"], "an answer is written NAME=VALUE"),
        (["--kind", "tray", "-a", "fibres=1", "-a", "fibres=2"], "--answer fibres is given twice"),
    ],
)
def test_what_does_not_go_together_is_refused(arguments: list[str], says: str, tmp_path: Path) -> None:
    done = trayopt("new", tmp_path / "mine.yaml", *arguments)
    assert done.returncode == Exit.INPUT
    assert says in done.stderr


def test_a_name_that_can_be_no_id_is_refused(tmp_path: Path) -> None:
    done = trayopt("new", "--kind", "tray", tmp_path / "my tray.yaml", *options(GIVEN["tray"]))
    assert done.returncode == Exit.INPUT
    assert "no entry can have this id; found 'my tray'" in done.stderr


def test_the_help_names_every_answer() -> None:
    assert {kind: tuple(names.split(", ")) for kind, names in NAMES.items()} == {
        kind: tuple(question.name for question in questions) for kind, questions in QUESTIONS.items()
    }


def test_the_measuring_sheet_is_one_page_that_asks_for_every_answer(tmp_path: Path) -> None:
    from trayopt.domain.hardware import Enclosure
    from trayopt.library.find import Library
    from trayopt.library.resolve import Resolver

    assert list(LETTERS) == [question.name for question in QUESTIONS["enclosure"]]
    sample = Resolver(Library()).entry("enclosure", SAMPLE)
    assert isinstance(sample, Enclosure)
    asked = {kind: [Asked(each.name, each.asks, each.example) for each in found] for kind, found in QUESTIONS.items()}
    picture = measuring_sheet(asked, sample)
    assert picture.height <= picture.width * 2**0.5, "higher than a page of A4"
    assert ([text.text for text in picture.outside()], picture.overlaps()) == ([], [])
    assert [text.full for text in picture.texts if text.full and text.full != text.text] == []
    assert trayopt("new", "--sheet", tmp_path / "sheet.svg").returncode == 0
    texts = [node.text for node in ElementTree.parse(tmp_path / "sheet.svg").iter() if node.tag.endswith("}text")]
    assert {question.asks for question in QUESTIONS["enclosure"]} <= set(texts)
    assert any(text and "laser light is invisible" in text for text in texts)
    assert set(LETTERS.values()) <= set(texts)
