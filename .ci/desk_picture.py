"""Draws .readme/desk.png, the picture of the desk that README.md shows: python .ci/desk_picture.py (needs Chromium)."""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from tests.crewsheets.browser import browser
from trayopt.api import load_job, solve
from trayopt.desk.desk import Desk
from trayopt.desk.server import Served
from trayopt.formats.json_out import dump_rows

ROOT = Path(__file__).parents[1]


def main() -> None:
    """Open a desk with the best plan of a job, send a trunk the other way round, and take a leg in hand."""
    with tempfile.TemporaryDirectory() as name:
        job = Path(name) / "job.yaml"
        shutil.copy(ROOT / "models" / "standard" / "2x432-wall-2x6.yaml", job)
        plan = solve(load_job(job), reproducible=True).plan
        (job.parent / "job-plan.json").write_text(dump_rows(plan.plain()), encoding="utf-8")
        with Served(Desk(job)) as served, browser() as started:
            page = started.new_page(viewport={"width": 1280, "height": 800}, device_scale_factor=0.75)
            page.goto(served.address)
            page.select_option('[data-key="travel N1"]', "counterclockwise")
            page.click('[data-leg="N1/3.2"]')
            page.wait_for_selector("#pictures svg")
            page.wait_for_selector(".hand")
            page.mouse.move(900, 780)
            page.evaluate("scrollTo(0, 0)")
            page.screenshot(path=str(ROOT / ".readme" / "desk.png"))


if __name__ == "__main__":
    main()
