"""Every page has a content policy under which its own script runs, and nothing that a template forgot to escape.

No page holds a control character, whatever a title holds.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.crewsheets.browser import browser
from tests.strategies import worked_example
from trayopt import batch, compare, judge, load_job, sheets, solve
from trayopt.cli.app import group
from trayopt.formats.json_out import dump
from trayopt.pictures.base import Picture
from trayopt.pictures.catalogue import Shown, catalogue_page
from trayopt.pictures.page import content_policy
from trayopt.review.html import compare_html, review_html

if TYPE_CHECKING:
    from playwright.sync_api import Browser

NASTY = "\a\x1b[31m</title></style></script><script>document.title='run'</script><img src=x onerror=\"document.title='run'\">"
PAGES = ("sheets/index.html", "review.html", "compare.html", "batch/index.html", "batch/plan.html", "library.html")
SLIPPED = "<script>document.title='run'</script><img src='data:,x' onerror=\"document.title='run'\">"
"""What a template would let through that does not escape."""


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write a page of every kind, of a job whose title, trunks and joins are markup."""
    folder = tmp_path_factory.mktemp("pages")
    data = worked_example()
    data["title"] = NASTY
    data["joins"][0]["name"] = "<img src=x onerror=alert(1)>"
    job = load_job(data)
    plan = solve(job, reproducible=True).plan
    sheets(job, plan).write(folder / "sheets")
    (folder / "review.html").write_text(review_html(judge(job, plan, best=False)), encoding="utf-8")
    (folder / "compare.html").write_text(compare_html(compare(job, plan, plan)), encoding="utf-8")
    (folder / "job.yaml").write_text(dump(data), encoding="utf-8")
    batch([folder / "job.yaml"], folder / "batch", workers=1)
    (page,) = (folder / "batch").glob("plans/*.html")
    page.rename(folder / "batch" / "plan.html")
    group(["library", "list", "--html", str(folder / "library.html"), "-q"], standalone_mode=False)
    return folder


@pytest.fixture(scope="module")
def opened() -> Iterator[Browser]:
    """Have a browser for all tests of the file."""
    with browser() as started:
        yield started


@pytest.mark.parametrize("name", PAGES)
def test_a_page_loads_nothing_and_runs_its_own_script_alone(pages: Path, opened: Browser, name: str) -> None:
    path = pages / name
    text = path.read_text(encoding="utf-8")
    policy = re.search(r'<meta http-equiv="Content-Security-Policy" content="([^"]+)">', text)
    assert policy is not None
    scripts = re.findall(r"<script>(.*?)</script>", text, re.DOTALL)
    assert policy[1].replace("&#39;", "'") == content_policy(*scripts)
    assert "<img" not in text.partition("<script")[0]
    page = opened.new_page()
    told: list[str] = []
    page.on("console", lambda message: told.append(message.text))
    page.on("pageerror", lambda fault: told.append(str(fault)))
    page.goto(path.as_uri())
    title = page.title()
    assert title != "run"
    assert told == []
    slipped = path.with_name("slipped.html")
    slipped.write_text(text.replace("</body>", SLIPPED + "</body>"), encoding="utf-8")
    page.goto(slipped.as_uri())
    assert page.title() == title
    assert len(told) == 2, "the policy refuses the script and the handler"
    page.close()


def test_the_page_of_hardware_is_printed_with_contents_first_and_a_whole_picture_on_a_page(
    tmp_path: Path, opened: Browser
) -> None:
    """A box whose tables are long is made smaller; it is not cut at the end of a page, and no page stays half empty."""
    tall = [Shown("enclosure", f"b{n}", "", f"b{n}.yaml", Picture(f"b{n}", 700, 700 + 400 * n, "")) for n in range(4)]
    path = tmp_path / "list.html"
    path.write_text(catalogue_page(tall), encoding="utf-8")
    inch = 96.0
    page = opened.new_page(viewport={"width": round((210 - 24) / 25.4 * inch), "height": 900})
    page.emulate_media(media="print")
    page.goto(path.as_uri())
    heights = page.locator("figure").evaluate_all("all => all.map((each) => each.getBoundingClientRect().height)")
    assert max(heights) < (297 - 24) / 25.4 * inch
    contents = page.locator("nav[aria-label='contents']")
    assert contents.locator("a").all_inner_texts() == ["Boxes", *(each.id for each in tall)]
    assert contents.evaluate("each => getComputedStyle(each).breakAfter") == "page"
    page.close()


@pytest.mark.parametrize("page", PAGES)
def test_no_page_holds_a_control_character(pages: Path, page: str) -> None:
    text = (pages / page).read_text(encoding="utf-8")
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f]", text)
