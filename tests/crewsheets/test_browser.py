"""What happens to tests of pages on a machine without the programs that they need."""

from __future__ import annotations

import pytest

from tests.crewsheets.browser import WHOLE, axe, chromium


@pytest.fixture(autouse=True)
def _bare(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("CHROMIUM", "AXE_CORE", WHOLE):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("PATH", "")


def test_a_missing_program_is_a_reason_to_skip() -> None:
    with pytest.raises(pytest.skip.Exception, match="apt-get install chromium"):
        chromium()


def test_where_everything_has_to_run_a_missing_program_is_a_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(WHOLE, "1")
    with pytest.raises(pytest.fail.Exception, match="need Chromium"):
        chromium()


def test_the_accessibility_checker_names_what_it_needs(monkeypatch: pytest.MonkeyPatch, tmp_path: object) -> None:
    monkeypatch.setattr("tests.crewsheets.browser.tempfile.gettempdir", lambda: str(tmp_path))
    axe.cache_clear()
    with pytest.raises(pytest.skip.Exception, match="install npm"):
        axe()
