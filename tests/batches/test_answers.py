"""What a line says of a job: that it does not fit is said only where it is proven."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from trayopt.batches.answers import wrong_input
from trayopt.batches.manifest import read_manifest
from trayopt.batches.work import Settings, solve_job
from trayopt.errors import Fault, InputError

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


def test_a_conflict_is_told_whole() -> None:
    """Two stacks of 432 fibres would hold 864; that whole ribbons do not fill a tray is the reason."""
    found = answer("pairs", "wall-2x6/2x864-ribbons-of-16_tray", time_limit_s=10)
    assert found["outcome"] == "does_not_fit"
    assert found["conflict"] == ["tray_fibres left", "tray_fibres right"]
    groups = json.loads(found["plan"])["explanation"]["conflicts"][0]["groups"]
    assert found["why"] == "; and ".join(group["because"].rstrip(".") for group in groups)
    assert len(found["why"]) > 300
    assert "fill a tray with 64 fibres at most: all trays take 768 of its 864" in found["why"]


def test_every_fault_of_a_wrong_job_is_told_whole() -> None:
    faults = [Fault("job.yaml", i, 1, f"fault {i} {'x' * 200}") for i in range(1, 26)]
    why = wrong_input(InputError(faults))["why"]
    assert all(f"fault {i} {'x' * 200}" in why for i in range(1, 21))
    assert why.endswith("; and 5 more")
