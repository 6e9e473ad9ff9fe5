"""What a move on a desk takes: CPU time of the desk by job, with its check, its answer and its file of unsaved changes.

    python -m benchmarks.desk_move [--moves N] [--page]

Prints medians in ms of CPU time of the process, in which the load of the machine has little part. With ``--page`` a browser
presses the keys, and the median from the key to the goals on the page is printed as well, by the clock, for which the machine
should be idle.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import sys
import tempfile
import time
from itertools import cycle
from pathlib import Path
from typing import TYPE_CHECKING

from tests.crewsheets.plans import straight
from trayopt.desk.desk import Desk
from trayopt.desk.server import Served
from trayopt.formats.json_out import dump_rows

if TYPE_CHECKING:
    from playwright.sync_api import Page

STANDARD = Path(__file__).parents[1] / "models" / "standard"
JOBS = ("2x432-wall-2x6", "2x864-wall-3x8-port", "2x1728-wall-3x8", "2x6912-cabinet-4x24")


def opened(name: str, folder: Path) -> Desk:
    """Open a desk with a job and a plan that is laid straight through."""
    shutil.copy(STANDARD / f"{name}.yaml", folder / "job.yaml")
    (folder / "job-plan.json").write_text(dump_rows(straight(name)[1].plain()), encoding="utf-8")
    return Desk(folder / "job.yaml")


def by_desk(desk: Desk, moves: int) -> float:
    """Move a leg to and fro; ms of CPU time of a move, in the median."""
    spent, leg = [], desk.state()["board"]["legs"][0]["leg"]
    for position, _ in zip(cycle((2, 1)), range(moves), strict=False):
        at = desk.state()["at"]
        began = time.process_time()
        desk.act({"at": at, "act": "move", "leg": leg, "stack": "left", "position": position})
        spent.append(1000 * (time.process_time() - began))
    return statistics.median(spent)


def by_page(page: Page, moves: int) -> float:
    """Move a leg by keys; ms from the key to the goals on the page, in the median."""
    page.locator(".chip").first.click()
    for key, _ in zip(cycle(("ArrowUp", "ArrowDown")), range(moves), strict=False):
        page.keyboard.press(key)
        page.wait_for_timeout(400)
    return float(statistics.median(page.evaluate("performance.getEntriesByName('act').map((each) => each.duration)")))


def main() -> int:
    """Measure each job and print a line of it."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--moves", type=int, default=20)
    parser.add_argument("--page", action="store_true")
    chosen = parser.parse_args()
    for name in JOBS:
        with tempfile.TemporaryDirectory() as folder:
            desk = opened(name, Path(folder))
            said = f"{name:24} {by_desk(desk, chosen.moves):6.1f} ms of CPU a move"
            if chosen.page:
                from tests.crewsheets.browser import browser

                with Served(desk) as served, browser() as started:
                    page = started.new_page()
                    page.goto(served.address)
                    page.wait_for_selector("#pictures svg")
                    said += f", {by_page(page, chosen.moves):6.1f} ms on the page"
            print(said, flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
