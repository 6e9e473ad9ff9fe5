"""Random jobs are jobs, repeat by their seed, and their tables count what was measured."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from benchmarks import mixes, shares
from benchmarks.journal import GOAL_ORDER
from benchmarks.run import main
from trayopt import load_job
from trayopt.domain.job import Job

SOME = range(1, 2 * len(mixes.FAMILIES) + 1)
LATER = range(mixes.FIRST_JOBS + 1, mixes.FIRST_JOBS + 2 * len(mixes.LATER) + 1)


@pytest.mark.parametrize("index", [*SOME, *LATER])
def test_a_draw_is_a_job_of_its_family(index: int) -> None:
    drawn = mixes.draw(7, index)
    job = load_job(drawn)
    assert mixes.LEAST <= job.splices <= mixes.MOST
    assert 2 <= len(job.trunks) <= 8
    assert mixes.family_of(index) in job.title
    assert mixes.named(mixes.name_of(7, index)) == drawn


def test_seeds_differ_and_draw_what_jobs_may_say() -> None:
    drawn = [mixes.draw(seed, index) for seed in (3, 4) for index in SOME]
    assert len({json.dumps(job) for job in drawn}) == len(drawn)
    keys = {key for job in drawn for key in job} | {key for job in drawn for trunk in job["trunks"] for key in trunk}
    assert {"rules", "pins", "apart", "divide_at", "exposed_mm", "travel", "loops", "ports", "idle"} <= keys


def test_families_that_came_later_draw_what_they_are_for_and_change_no_job_of_the_others() -> None:
    drawn: dict[str, list[Job]] = {name: [] for name in mixes.LATER}
    for index in range(mixes.FIRST_JOBS + 1, mixes.FIRST_JOBS + 31):
        drawn[mixes.family_of(index)].append(load_job(mixes.draw(3, index)))
    assert all(job.through for job in drawn["midspan"])
    assert any(trunk.passing for job in drawn["midspan"] for trunk in job.trunks)
    ends = [{job.other_end.get(join.a.trunk) for join in job.joins} & {join.b.trunk for join in job.joins}
            for job in drawn["midspan"]]  # fmt: skip
    assert any(ends), "now and then a cut tube is joined back"
    assert all(len(stack.kinds) == 2 for job in drawn["mixed_trays"] for stack in job.enclosure.stacks)
    words = {word for job in drawn["widths"] for trunk in job.trunks for word in trunk.ribbons}
    assert {"as_they_are", "split", 12} <= words
    assert any(job.ribbons_open for job in drawn["widths"])
    first = [mixes.family_of(index) for index in range(1, mixes.FIRST_JOBS + 1)]
    assert first[:9] == first[9:18] == list(mixes.FAMILIES)


def result(case: str, seconds: float | None, unplaced: int = 0) -> dict[str, Any]:
    """Give a result as a child tells it."""
    return {
        "case": case, "family": case, "method": "trayopt", "seed": 1, "proven": seconds is not None, "seconds": seconds or 60.0,
        "phases": {"start": 0.5, "solver_import": 0.25, "read": 0.25, "build": 1.0, "search": 1.0},
        "vector": [unplaced, 0, 0, 2, 1, 0, 100, 0], "bounds": [unplaced, 0, 0, 2, 1, 0, 100, 0],
        "proven_at": dict.fromkeys(GOAL_ORDER, seconds) if seconds is not None else {},
    }  # fmt: skip


def test_start_counts_and_what_is_not_proven_counts_as_the_limit() -> None:
    fast, slow, open_ = result("ring", 0.5), result("mesh", 8.5), result("taps", None, unplaced=24)
    assert [shares.whole_s(item) for item in (fast, slow, open_)] == [1.5, 9.5, None]
    assert shares.row("all", [fast, slow, open_], 60.0)[1:5] == [3, "33.3 %", "66.7 %", "66.7 %"]
    assert shares.row("all", [fast, slow, open_], 60.0)[5:] == ["9.50", "60.00"]
    text = shares.shares([fast, slow, open_], 60.0)
    assert "| splices left out | 1 | 0.0 %" in text
    assert text.index("| taps | 1 | taps") < text.index("| mesh | 1 | mesh") < text.index("| ring | 1 | ring")


def test_quantiles_are_values_that_were_measured() -> None:
    values = [float(n) for n in range(1, 11)]
    assert [shares.quantile(values, part) for part in (0.0, 0.1, 0.5, 0.95, 1.0)] == [1.0, 1.0, 5.0, 10.0, 10.0]


@pytest.mark.slow
def test_mixes_run_and_are_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    kept = tmp_path / "results.jsonl"
    assert main(["--mixes", "5", "--only", "mix-5-001", "--limit", "20", "--json", str(kept)]) == 0
    assert "| all | 1 |" in capsys.readouterr().out
    (line,) = kept.read_text(encoding="utf-8").splitlines()
    assert json.loads(line)["case"] == "mix-5-001"
    assert json.loads(line)["revision"]
