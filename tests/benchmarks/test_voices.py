"""The search, brute force and the rows of certificates in HiGHS agree on tiny jobs; seeds, starts and local search on another."""

from __future__ import annotations

from collections import Counter

import pytest

from benchmarks.voices import middle, tiny
from tests.cli.run import ROOT
from trayopt import load_job
from trayopt.domain.plan import GoalName

BATCH = 20


@pytest.mark.parametrize(
    "first", [pytest.param(first, marks=[pytest.mark.slow] * (first > 5000)) for first in range(5000, 5200, BATCH)]
)
def test_tiny_jobs(first: int) -> None:
    met: Counter[tuple[GoalName, bool]] = Counter()
    for seed in range(first, first + BATCH):
        assert not list(tiny(seed, met)), seed
    assert met["trays", True] > met["trays", False]


def test_infeasible_is_asked_again_without_presolve() -> None:
    assert not list(tiny(6634, Counter()))


def test_a_voice_that_is_wrong_is_heard(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("benchmarks.voices.least", lambda system, goal: 10**9)
    assert any("the rows say" in words for words in tiny(5000, Counter()))


def test_a_middle_sized_job() -> None:
    assert not list(middle(load_job(ROOT / "models" / "standard" / "2x288-wall-2x6.yaml"), 4.0))
