"""The wheel: whole, the same bytes whoever builds it, and with bounds on what it depends on."""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

from tests.crewsheets.browser import lacking

ROOT = Path(__file__).parents[1]
PACKED = ("trayopt", "models", "README.md", "pyproject.toml")
RELEASED = "1767225600"
"""A day for ``SOURCE_DATE_EPOCH`` (reproducible-builds.org, "SOURCE_DATE_EPOCH specification")."""


def built(folder: Path, touched: int) -> Path:
    """Build the wheel of a copy of the source whose files are of one time."""
    if importlib.util.find_spec("hatchling") is None:
        lacking("the test of the wheel needs hatchling: pip install '.[dev]'")
    source = folder / "source"
    for name in PACKED:
        path = ROOT / name
        if path.is_dir():
            shutil.copytree(path, source / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(path, source / name)
    for path in source.rglob("*"):
        os.utime(path, (touched, touched))
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)],
        cwd=source,
        env={**os.environ, "SOURCE_DATE_EPOCH": RELEASED},
        capture_output=True,
        check=True,
    )
    (wheel,) = folder.glob("*.whl")
    return wheel


def test_two_builds_are_the_same_bytes_and_hold_all_that_is_needed(tmp_path: Path) -> None:
    first, second = (built(tmp_path / name, touched) for name, touched in (("a", 10**9), ("b", 15 * 10**8)))
    assert first.name == second.name
    assert first.read_bytes() == second.read_bytes()
    names = set(zipfile.ZipFile(first).namelist())
    for folder, inside in (("trayopt", "trayopt"), ("models", "trayopt/_models")):
        for path in (ROOT / folder).rglob("*"):
            if path.is_file() and "__pycache__" not in path.parts:
                assert f"{inside}/{path.relative_to(ROOT / folder).as_posix()}" in names
    assert {name.partition("/")[0] for name in names} == {"trayopt", "trayopt-0.1.0.dist-info"}


@pytest.mark.parametrize("extra", [None, "xlsx", "cluster", "desk"])
def test_what_it_depends_on_has_a_lowest_and_a_highest_version(extra: str | None) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    needed = project["dependencies"] if extra is None else project["optional-dependencies"][extra]
    assert needed
    assert [line for line in needed if ">=" not in line or ",<" not in line] == []
