"""The audit of dependencies: what was not looked up is no pass."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import Any

import pytest

FINE: dict[str, Any] = {"name": "click", "version": "8.1.7", "vulns": []}
FAULTY: dict[str, Any] = {
    "name": "jinja2",
    "version": "2.4.1",
    "vulns": [{"id": "CVE-2014-1402", "fix_versions": ["2.7.2"]}],
}
SKIPPED: dict[str, Any] = {"name": "rich", "skip_reason": "Dependency not found on PyPI"}
OURS: dict[str, Any] = {"name": "trayopt", "skip_reason": "Dependency not found on PyPI"}


@pytest.mark.parametrize(
    ("packages", "code", "words"),
    [
        ([FINE, OURS], 0, "1 of 1 packages looked up"),
        ([FINE, FAULTY, SKIPPED], 1, "CVE-2014-1402, mended in 2.7.2"),
        ([FINE, SKIPPED, OURS], 2, "1 of 2 packages looked up"),
        ([SKIPPED], 2, "not looked up: Dependency not found on PyPI"),
        ([OURS], 2, "0 of 0 packages"),
    ],
)
def test_a_package_that_was_not_looked_up_is_no_pass(packages: list[dict[str, Any]], code: int, words: str) -> None:
    spec = importlib.util.spec_from_file_location("audit", Path(__file__).parents[1] / ".ci" / "audit.py")
    assert spec is not None
    assert spec.loader is not None
    audit = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(audit)
    lines, found = audit.told(packages)
    assert found == code
    assert words in "\n".join(lines)
