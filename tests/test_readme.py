"""The README is true: its files are read, its generated parts are up to date, its commands are named."""

from __future__ import annotations

import os
import re
import runpy
import subprocess
import sys
from pathlib import Path

import pytest

import trayopt
from trayopt import load_job
from trayopt.library.entries import survey
from trayopt.library.find import Library

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```yaml\n(.*?)```", README, re.DOTALL)
TUTORIAL = re.findall(r"^<!-- tutorial -->\n```sh\n(.*?)^```$", README, re.DOTALL | re.MULTILINE)
PYTHON = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
JOBS = [block for block in BLOCKS if "schema: trayopt/job/2" in block]
ENTRIES = [block for block in BLOCKS if block not in JOBS]


@pytest.mark.parametrize("block", JOBS)
def test_jobs_are_read(block: str, tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(block, encoding="utf-8")
    assert load_job(path).trunks


@pytest.mark.parametrize("block", ENTRIES, ids=lambda block: block.split()[1])
def test_entries_can_be_built(block: str, tmp_path: Path) -> None:
    name = re.search(r"^id: (\S+)$", block, re.MULTILINE)
    assert name is not None
    path = tmp_path / f"{name[1]}.yaml"
    path.write_text(block, encoding="utf-8")
    found = survey(Library(), [path])
    assert (found.errors, found.warnings) == ([], [])
    assert len(found.entries) == 1


def test_every_kind_of_file_is_shown() -> None:
    assert {block.split()[1] for block in ENTRIES} == {"tray", "enclosure", "cable", "tubes"}
    assert len(JOBS) == 3


@pytest.mark.parametrize("block", PYTHON)
def test_code_runs(block: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "models").symlink_to(ROOT / "models")
    monkeypatch.chdir(tmp_path)
    exec(compile(block, "README.md", "exec"), {})


def test_every_use_case_is_shown_in_code() -> None:
    imported = re.findall(r"^from trayopt import (.+)$", "\n".join(PYTHON), re.MULTILINE)
    assert ", ".join(imported).split(", ") == sorted(trayopt.__all__)
    called = re.sub(r"^from .+$", "", "\n".join(PYTHON), flags=re.MULTILINE)
    assert all(f"{name}(" in called for name in trayopt.__all__)


def test_generated_parts_are_up_to_date() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "cogapp", "--check", "-P", "README.md"],
        cwd=ROOT,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, "run: cog -r -P README.md"


def test_pictures_are_up_to_date() -> None:
    for path, text in runpy.run_path(str(ROOT / ".ci" / "readme.py"))["pictures"]().items():
        assert path.read_text(encoding="utf-8") == text, "run: python .ci/readme.py"
        assert f'src="{path.relative_to(ROOT)}"' in README


@pytest.mark.parametrize("marker", ["run", "test"])
def test_the_two_commands_stand_behind_their_markers(marker: str) -> None:
    assert re.search(rf"^<!-- {marker} -->\n```sh\n.+?\n```$", README, re.MULTILINE | re.DOTALL)


def test_the_tutorial_leads_from_a_tape_to_sheets(tmp_path: Path) -> None:
    """Its blocks are one run of a shell that ends at the first command that fails."""
    program = tmp_path / "bin" / "trayopt"
    program.parent.mkdir()
    program.write_text(f'#!/bin/sh\nexec {sys.executable} -m trayopt "$@"\n', encoding="utf-8")
    program.chmod(0o755)
    home = tmp_path / "home"
    home.mkdir()
    path = f"{program.parent}{os.pathsep}{os.environ['PATH']}"
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", "\n".join(TUTORIAL)],
        cwd=home, capture_output=True, text=True, check=False, env={**os.environ, "PATH": path, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert (home / "mended" / "sheets" / "index.html").is_file()
    assert "2 files: 0 errors, 0 warnings" in done.stdout
    for name in ("measure", "yard-box", "job"):
        assert (home / f"{name}.svg").read_text(encoding="utf-8").startswith("<?xml")
    words = README[README.index("## From tape measure to sheets") :]
    assert len(words[: words.index("\n## ", 3)].splitlines()) <= 60, "longer than a page"


def test_the_first_150_lines_say_what_it_is_with_two_commands_a_plan_and_an_explanation() -> None:
    head = "\n".join(README.splitlines()[:150])
    for part in (
        "<!-- run -->",
        "<!-- test -->",
        "Goals, in the order in which they count",
        "Ways out, the cheapest first",
    ):
        assert part in head
