"""The search, brute force and a mixed integer program agree on tiny jobs; seeds, starts and local search on another."""

from __future__ import annotations

from collections import Counter

import pytest

from benchmarks.voices import KINDS, middle, tiny
from tests.cli.run import ROOT
from trayopt import load_job
from trayopt.domain.plan import GoalName

BATCH = 5
LONG = {("through", 5010)}
"""A batch that takes three times as long as any other."""


@pytest.mark.parametrize(
    ("kind", "first"),
    [
        pytest.param(kind, first, marks=[pytest.mark.slow] * (first >= 5015 or (kind, first) in LONG))
        for kind in KINDS
        for first in range(5000, 5065, BATCH)
    ],
)
def test_tiny_jobs(kind: str, first: int) -> None:
    met: Counter[tuple[GoalName, bool]] = Counter()
    for seed in range(first, first + BATCH):
        assert not list(tiny(seed, met, kind)), seed
    assert met["trays", True] > met["trays", False]


def test_infeasible_is_asked_again_without_presolve() -> None:
    assert not list(tiny(6634, Counter()))


def test_presolve_that_calls_a_worse_plan_optimal_is_off() -> None:
    assert not list(tiny(803, Counter(), "mixed trays"))


def test_a_program_that_is_wrong_is_heard(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the rows of how much a tray holds, the program finds a plan that brute force does not."""
    monkeypatch.setattr("tests.milp.physical.Physical._fill_trays", lambda self: None)
    assert any("the program has" in words for seed in (5000, 5001, 5002, 5003) for words in tiny(seed, Counter()))


def test_a_voice_that_is_wrong_is_heard(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("benchmarks.voices.least", lambda system, goal: 10**9)
    assert any("the rows say" in words for words in tiny(5000, Counter()))


def test_a_middle_sized_job() -> None:
    assert not list(middle(load_job(ROOT / "models" / "standard" / "2x288-wall-2x6.yaml"), 4.0))
