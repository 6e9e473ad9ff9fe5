"""What a line says of a job: that it does not fit is said only where it is proven."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from trayopt.batches.manifest import read_manifest
from trayopt.batches.work import Settings, solve_job

SWEEPS = Path(__file__).parents[2] / "models" / "standard" / "sweeps"


def answer(sweep: str, name: str, **settings: Any) -> dict[str, Any]:
    """Solve one job of a shipped sweep."""
    items = read_manifest([SWEEPS / f"{sweep}.yaml"]).items()
    job = next(item for item in items if item.name == f"{sweep}/{name}").job()
    return solve_job(job.plain(), Settings(**settings).plain())


def test_a_search_that_was_stopped_before_a_whole_plan_settles_nothing() -> None:
    found = answer("orders", "cabinet-3x24/2x432_halves_swapped_tray", time_limit_s=0.001, explain=False)
    assert found["outcome"] == "not_settled"
    assert found["stopped"] == "time_limit"
    assert found["why"].startswith("no whole plan was found in the time, nor a proof that there is none; ")


@pytest.mark.parametrize("explain", [False, True])
def test_a_box_without_room_does_not_fit_however_early_the_search_was_stopped(explain: bool) -> None:
    found = answer("pairs", "wall-1x6/2x1728_port", time_limit_s=0.001, explain=explain)
    assert found["outcome"] == "does_not_fit"
