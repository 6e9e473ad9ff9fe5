"""Every standard job of up to 1,728 fibres a trunk: a plan is found, passes its check, and is as good as is known."""

from __future__ import annotations

from pathlib import Path

import pytest

from trayopt import check, load_job
from trayopt.api import Result, solve
from trayopt.domain.job import Job
from trayopt.rules.registry import BY_ID

STANDARD = Path(__file__).parents[2] / "models" / "standard"
MOST_FIBRES = 1728

Goals = tuple[int, int, int, int, int, int, int, int]

PROVEN: dict[str, Goals] = {
    "2x1152-wall-3x8": (0, 0, 0, 32, 16, 0, 155600, 2),
    "2x1152-wall-3x8-port": (0, 0, 0, 32, 16, 0, 155600, 2),
    "2x144-wall-1x12-single": (0, 0, 0, 24, 6, 0, 78000, 0),
    "2x1728-ribbons-of-24": (0, 0, 0, 24, 12, 0, 98400, 0),
    "2x1728-shuffled-whole": (0, 0, 0, 24, 12, 16, 98400, 1),
    "2x1728-wall-3x8": (0, 0, 0, 48, 24, 0, 235600, 0),
    "2x1728-wall-2x9-144": (0, 0, 0, 24, 12, 0, 98400, 0),
    "2x1728-wall-3x8-port": (0, 0, 0, 48, 24, 0, 235600, 0),
    "2x288-swapped-halves-wall-2x6": (0, 0, 4, 8, 4, 3, 28350, 0),
    "2x288-wall-1x12-single": (0, 0, 0, 48, 12, 0, 156600, 0),
    "2x288-wall-2x6": (0, 0, 0, 8, 4, 0, 28350, 0),
    "2x288-wall-2x6-single": (0, 0, 0, 12, 6, 0, 43700, 0),
    "2x432-own-limits-wall-2x6": (0, 0, 0, 12, 6, 0, 65100, 2),
    "2x432-short-tail-wall-3x8": (0, 0, 2, 12, 6, 0, 50100, 2),
    "2x432-shuffled-wall-2x6": (0, 0, 0, 12, 6, 3, 42500, 0),
    "2x432-wall-1x6-two-loops": (0, 0, 0, 12, 6, 0, 50400, 0),
    "2x432-wall-2x6": (0, 0, 0, 12, 6, 0, 42450, 2),
    "2x432-wall-2x6-whole-subunits": (0, 0, 0, 12, 6, 0, 42500, 0),
    "2x576-half-built-wall-2x6": (0, 0, 1, 16, 8, 2, 58500, 2),
    "2x576-mixed-subunits": (0, 0, 0, 14, 7, 0, 67250, 2),
    "2x576-pinned-wall-2x6": (0, 0, 0, 16, 8, 0, 56650, 0),
    "2x576-slotted-8-against-12": (0, 0, 0, 24, 12, 0, 99600, 0),
    "2x576-subunits-96-against-144": (0, 0, 9, 18, 6, 4, 74700, 4),
    "2x576-subunits-96-against-144-port": (0, 0, 3, 18, 6, 0, 74500, 5),
    "2x576-wall-2x10": (0, 0, 0, 12, 6, 0, 49800, 0),
    "2x576-wall-2x6-reserve": (0, 0, 0, 16, 8, 0, 56650, 0),
    "288-through-tap-of-48-wall-2x6": (0, 0, 0, 8, 2, 0, 29900, 0),
    "288-through-second-branch-wall-2x6": (0, 0, 0, 16, 4, 0, 58200, 0),
    "576-through-ring-cut-wall-2x10": (0, 0, 3, 10, 5, 0, 43950, 1),
    "2x864-16-against-12-decided-wall-2x10": (0, 0, 1, 36, 12, 0, 149400, 0),
    "2x864-16-against-12-re-ribbonised-wall-2x10": (0, 0, 0, 36, 12, 0, 149400, 0),
    "mixed-trays-288-later": (0, 0, 4, 10, 5, 0, 42000, 0),
    "mixed-trays-288-separated": (0, 0, 2, 16, 5, 0, 67200, 0),
    "mixed-trays-loose-on-top": (0, 0, 0, 16, 4, 0, 67200, 0),
    "mixed-trays-loose-tubes-of-72": (0, 0, 0, 24, 8, 0, 99600, 2),
    "mixed-trays-ribbons-never-separated": (0, 0, 0, 18, 5, 0, 75600, 0),
    "2x864-one-stack-first-wall-3x8": (0, 0, 0, 24, 12, 0, 109000, 7),
    "2x864-wall-2x10-ribbons-16-against-12": (0, 0, 2, 36, 18, 0, 149400, 0),
    "2x864-wall-3x8-one-at-port": (0, 0, 0, 24, 12, 0, 119600, 0),
    "2x864-wall-3x8-port": (0, 0, 0, 24, 12, 0, 117800, 0),
    "2x864-wall-2x7-two-ends": (0, 0, 0, 24, 12, 0, 94250, 0),
    "2x864-wall-2x6": (0, 0, 0, 24, 12, 0, 84950, 0),
    "2x864-wall-2x8-ribbons-of-16": (0, 0, 0, 12, 6, 0, 56700, 0),
    "864-half-joined-cut-back-wall-2x6": (0, 0, 0, 12, 6, 0, 42450, 2),
    "864-half-joined-wall-2x6": (0, 0, 0, 12, 6, 0, 42450, 2),
    "864-to-2x432-wall-3x8": (0, 0, 0, 24, 12, 0, 120700, 0),
    "four-trunks-two-pairs-wall-3x8": (0, 0, 0, 24, 12, 0, 128500, 0),
    "hub-of-three-wall-2x6": (0, 0, 3, 12, 6, 0, 42600, 2),
    "ring-of-four-apart-wall-2x6": (0, 0, 0, 16, 8, 0, 58050, 0),
    "taps-of-48-wall-2x10": (0, 0, 1, 6, 3, 0, 25250, 1),
    "two-pairs-of-144-wall-1x6": (0, 0, 0, 48, 4, 0, 201600, 0),
    "what-if-2x864-guide-fill-wall-2x6": (0, 0, 6, 24, 12, 0, 127500, 0),
    "worked-example": (0, 0, 1, 4, 2, 0, 10750, 1),
    "working-and-spare-apart-wall-2x10": (0, 0, 0, 12, 4, 0, 49800, 0),
}
"""Goals that are proven in a second or two, and hold on every later day: from runs of this solver, no outside source."""
HARD: dict[str, Goals] = {
    "2x1728-shuffled-subunits": (0, 0, 0, 48, 24, 24, 235600, 2),
    "2x432-mixed-against-144": (0, 0, 3, 15, 5, 0, 62150, 2),
    "2x432-subunits-108-against-144": (0, 0, 4, 15, 3, 0, 60600, 3),
    "2x576-ribbons-of-8-later-wall-2x6": (0, 0, 2, 24, 12, 0, 84950, 0),
    "2x576-ribbons-of-8-decided-wall-2x6": (0, 0, 2, 24, 12, 0, 84950, 0),
    "2x864-shuffled-halves-port": (0, 0, 4, 48, 12, 192, 169900, 2),
    "2x864-subunits-108-against-144-port": (0, 0, 4, 48, 13, 9, 199200, 8),
    "864-to-432-288-144-wall-3x8": (0, 0, 0, 24, 12, 1, 120700, 0),
    "no-144-swapped-halves-wall-2x6": (144, 0, 0, 0, 0, 0, 0, 0),
    "no-2x864-guide-fill-wall-2x6": (288, 0, 0, 16, 8, 0, 85000, 0),
    "no-2x864-16-against-12-sleeves-wall-2x6": (288, 0, 2, 24, 12, 0, 84950, 0),
    "no-288-through-slack-wall-2x6": (48, 0, 0, 0, 0, 0, 0, 0),
    "no-2x864-short-tail-wall-3x8": (864, 0, 0, 0, 0, 0, 0, 0),
    "no-2x864-wall-1x6-trays": (432, 0, 0, 12, 6, 0, 50400, 0),
    "three-awkward-trunks-wall-2x9-144": (0, 0, 6, 31, 6, 0, 128900, 2),
    "unmet-pins-2x288-wall-2x6": (0, 1, 0, 8, 4, 0, 28350, 0),
}
"""Jobs that take longer, with the optimum that longer runs of this solver proved; no outside source."""


def standard(name: str) -> Job:
    return load_job(STANDARD / f"{name}.yaml")


def test_every_standard_job_is_here() -> None:
    names = {
        path.stem
        for path in STANDARD.glob("*.yaml")
        if max(trunk.cable.fibres for trunk in load_job(path).trunks) <= MOST_FIBRES
    }
    assert names == set(PROVEN) | set(HARD)
    assert not set(PROVEN) & set(HARD)


@pytest.mark.parametrize("name", PROVEN)
def test_proven(name: str) -> None:
    result = solve(standard(name))
    assert (result.plan.status, result.plan.stopped) == ("optimal", "proven")
    assert tuple(item.value for item in result.plan.goals) == PROVEN[name]
    assert result.complete


@pytest.mark.slow
@pytest.mark.parametrize("name", HARD)
def test_found_in_time_and_checked(name: str) -> None:
    """What is not proven says so, and neither value nor bound goes beyond what was proven before."""
    job = standard(name)
    result = _found(job)
    plan, known = result.plan, HARD[name]
    values = tuple(item.value for item in plan.goals)
    report = check(job, plan)
    assert report.figures == ()
    assert not report.at("always")
    assert not [item for item in report.at("must") if BY_ID[item.rule].kind == "physical"]
    assert result.complete == (values[0] == values[1] == 0)
    assert (plan.status == "optimal") == all(item.bound == item.value for item in plan.goals)
    assert values >= known
    assert plan.status == "feasible" or values == known
    for item, best in zip(plan.goals, known, strict=True):
        assert item.bound is None or item.bound <= best
        if item.bound != item.value:
            break


@pytest.mark.parametrize(
    ("name", "weight"), [("2x864-shuffled-halves-port", 4), ("three-awkward-trunks-wall-2x9-144", 6)]
)
def test_preferences_that_must_break_are_fewest_and_proven_soon(name: str, weight: int) -> None:
    """Legs of about one size keep more subunits together than those of least legs; their weight meets the outline's bound."""
    plan = solve(standard(name), time_limit_s=4, reproducible=True, explain=False).plan
    goals = {item.goal: (item.value, item.bound) for item in plan.goals}
    assert goals["unplaced"] == goals["broken_must"] == (0, 0)
    assert goals["broken_prefer"] == (weight, weight)


def _found(job: Job) -> Result:
    """Solve with more and more time until there is a plan: how long a first one takes depends on the machine."""
    result = solve(job, time_limit_s=6)
    for limit in (30, 120):
        if result.plan.status == "none":
            result = solve(job, time_limit_s=limit)
    assert result.plan.status != "none"
    return result
