"""The library's own files are parsed once for a process, and read anew where their text is another."""

from __future__ import annotations

from pathlib import Path

import pytest

from trayopt import load_job
from trayopt.api import library_survey
from trayopt.domain.hardware import Tray
from trayopt.formats.locate import Located
from trayopt.formats.yaml_in import parse_yaml
from trayopt.library import resolve
from trayopt.library.find import FOLDERS, Library, shipped
from trayopt.library.resolve import Resolver

JOB = shipped() / "standard" / "2x432-wall-2x6.yaml"
TRAY = shipped() / "trays" / "ribbon-72.yaml"


@pytest.fixture
def parsed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Note the name of each file that is parsed from here on, with nothing known from before."""
    names: list[str] = []

    def noted(text: str, source: str) -> Located:
        names.append(source)
        return parse_yaml(text, source)

    monkeypatch.setattr(resolve, "parse_yaml", noted)
    resolve._shipped_data.cache_clear()
    return names


def test_each_is_parsed_once_for_all_jobs_and_surveys(parsed: list[str]) -> None:
    first = library_survey()
    assert (
        len(parsed)
        == len(set(parsed))
        == sum(len(list((shipped() / folder).glob("*.yaml"))) for folder in FOLDERS.values())
    )
    job = load_job(JOB)
    again = library_survey()
    assert len(parsed) == first.files
    assert [entry.model for entry in again.entries] == [entry.model for entry in first.entries]
    assert load_job(JOB).digest == job.digest


def test_a_file_with_another_text_is_read_anew(parsed: list[str]) -> None:
    def fibres(texts: dict[Path, str]) -> int:
        _, tray = Resolver(Library(), texts).file(TRAY)
        assert isinstance(tray, Tray)
        return tray.fibres

    text = TRAY.read_text(encoding="utf-8")
    assert fibres({}) == 72
    assert fibres({TRAY: text.replace("fibres: 72", "fibres: 60")}) == 60
    assert fibres({}) == 72
    assert len(parsed) == 1


def test_a_file_that_changes_on_the_disk_is_read_anew(
    parsed: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(resolve, "shipped", lambda: tmp_path)
    path = tmp_path / TRAY.name
    for said in ("fibres: 72", "fibres: 60", "fibres: 60"):
        path.write_text(TRAY.read_text(encoding="utf-8").replace("fibres: 72", said), encoding="utf-8")
        _, tray = Resolver(Library()).file(path)
        assert isinstance(tray, Tray)
        assert f"fibres: {tray.fibres}" == said
    assert len(parsed) == 2
