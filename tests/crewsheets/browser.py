"""A real browser for the page: Debian's Chromium, headless, driven by Playwright; and axe-core for accessibility."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser

ARGUMENTS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
AXE = "axe-core@4"
WHOLE = "TRAYOPT_TESTS_WHOLE"
"""Set by ``.ci/run``: a test that lacks a program then fails, where it else is skipped with the reason."""


def lacking(what: str) -> NoReturn:
    """Skip a test that lacks a program, with the reason; fail it where every program is to be there."""
    if os.environ.get(WHOLE):
        pytest.fail(what)
    pytest.skip(what)


def chromium() -> str:
    """Find the browser, the one without windows first, as it starts sooner; ``CHROMIUM`` names another one."""
    named = map(shutil.which, ("chromium-headless-shell", "chromium", "chromium-browser"))
    found = os.environ.get("CHROMIUM") or next(filter(None, named), None)
    if found is None:
        lacking("tests of pages need Chromium: apt-get install chromium-headless-shell, or name one in CHROMIUM")
    return found


@contextmanager
def browser() -> Iterator[Browser]:
    """Start the browser, and end it."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium(), args=ARGUMENTS)
        try:
            yield started
        finally:
            started.close()


@cache
def axe() -> str:
    """Give the text of axe-core: from the file ``AXE_CORE``, or installed once from npm into a temporary folder."""
    named = os.environ.get("AXE_CORE")
    if named:
        return Path(named).read_text(encoding="utf-8")
    folder = Path(tempfile.gettempdir()) / f"trayopt-{AXE.replace('@', '-')}"
    script = folder / "node_modules" / "axe-core" / "axe.min.js"
    if not script.exists():
        npm = shutil.which("npm")
        if npm is None:
            lacking(f"tests of accessibility need {AXE}: install npm, or name a copy of axe.min.js in AXE_CORE")
        folder.mkdir(exist_ok=True)
        subprocess.run(
            [npm, "install", "--no-save", "--no-audit", "--no-fund", "--prefix", str(folder), AXE],
            check=True,
            timeout=300,
        )
    return script.read_text(encoding="utf-8")
