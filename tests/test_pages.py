"""Every page that is no sheet of the crew, written by its command: accessible, whole, and as wide as its window."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import pytest

from tests.cli.run import trayopt
from tests.crewsheets.browser import axe, browser

if TYPE_CHECKING:
    from playwright.sync_api import Browser

STANDARD = Path(__file__).parents[1] / "models" / "standard"
JOB = STANDARD / "2x432-wall-2x6.yaml"
PAGES = ("hardware", "review", "comparison", "batch", "batch job")


def ran(*arguments: str | Path, code: int = 0) -> None:
    done = trayopt(*arguments)
    assert done.returncode == code, done.stdout + done.stderr


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Write each page once; the review has findings."""
    at = tmp_path_factory.mktemp("pages")
    plan, crossed = at / "plan.json", at / "crossed.csv"
    ran("library", "list", "--html", at / "hardware.html")
    ran("solve", JOB, "-o", plan, "-q")
    ran("sheets", JOB, plan, "-o", at / "sheets")
    text = (at / "sheets" / "marks.csv").read_text(encoding="utf-8")
    crossed.write_text(text.replace("left/1", "left/5"), encoding="utf-8")
    ran("check", JOB, crossed, "--html", at / "review.html", code=1)
    ran("compare", JOB, plan, plan, "-o", at / "comparison.html")
    ran("batch", JOB, STANDARD / "no-2x864-short-tail-wall-3x8.yaml", "-o", at / "batch", code=1)
    jobs = sorted((at / "batch").glob("*/*.html"))
    return {
        "hardware": at / "hardware.html", "review": at / "review.html", "comparison": at / "comparison.html",
        "batch": at / "batch" / "index.html", "batch job": jobs[0],
    }  # fmt: skip


@pytest.fixture(scope="module")
def started() -> Iterator[Browser]:
    with browser() as one:
        yield one


@pytest.mark.parametrize(("scheme", "width"), [("light", 390), ("dark", 820), ("light", 1280)])
@pytest.mark.parametrize("page", PAGES)
def test_axe_finds_nothing_and_nothing_reaches_out_of_the_window(
    page: str, scheme: Literal["light", "dark"], width: int, pages: dict[str, Path], started: Browser
) -> None:
    opened = started.new_page(color_scheme=scheme, viewport={"width": width, "height": 900}, bypass_csp=True)
    opened.goto(pages[page].as_uri())
    opened.evaluate(axe())
    found = opened.evaluate(
        "async () => (await axe.run()).violations.map((v) => v.id + ' ' + v.nodes.map((n) => n.html.slice(0, 120)).join(' | '))"
    )
    beyond = opened.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    opened.close()
    assert found == []
    assert beyond <= 0
