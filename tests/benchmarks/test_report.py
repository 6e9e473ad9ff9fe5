"""Tables and charts say what was measured."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from benchmarks import charts, report
from benchmarks.cases import registry
from benchmarks.journal import GOAL_ORDER

STAMP = {
    "revision": "abc",
    "date": "2026-11-28",
    "load": 0.1,
    "command": "python -m benchmarks.run",
    "versions": "v",
    "machine": "m",
}
VECTOR = [0, 0, 0, 12, 6, 0, 39272, 1]


def result(case: str, method: str, seconds: float | None, vector: list[int] | None = None) -> dict[str, Any]:
    proven = seconds is not None
    vector = VECTOR if vector is None else vector
    return {
        **STAMP,
        "case": case, "method": method, "seed": 1, "limit_s": 60.0, "splices": 432, "peak_mb": 100, "seconds": seconds or 60.0,
        "phases": {"start": 0.1, "read": 0.2, "build": 0.3, "search": 0.4}, "vector": vector, "proven": proven,
        "bounds": vector if proven else [0, None, None, None, None, None, None, None],
        "proven_at": dict.fromkeys(GOAL_ORDER, seconds) if proven else {"unplaced": 1.0}, "events": [[0.1, "unplaced", 432, 0]],
    }  # fmt: skip


def test_time_outs_count_as_the_limit() -> None:
    case = "2x432-wall-2x6"
    results = [result(case, "trayopt", 0.6), result(case, "plain_cpsat", None), result(case, "milp_highs", 6.0)]
    assert report.ratios(results, "plain_cpsat") == pytest.approx([100.0])
    assert report.ratios(results, "milp_highs") == pytest.approx([10.0])
    assert report.geometric_mean([10.0, 1000.0]) == pytest.approx(100.0)


def test_plans_are_compared_goal_by_goal() -> None:
    case = "2x432-wall-2x6"
    longer = [*VECTOR[:5], VECTOR[5] + 1, 0]
    results = [result(case, "trayopt", 0.6), result(case, "habit", None, longer), result(case, "annealing", None)]
    assert report.compare(results, "habit")["worse"] == [(case, 1)]
    assert report.compare(results, "annealing")["equal"] == [(case, 1)]
    nothing = [result(case, "trayopt", 0.6), result(case, "habit", None, [])]
    assert report.compare(nothing, "habit")["worse"] == [(case, 1)]


def test_the_exponent_is_fitted() -> None:
    fitted = charts.fit([(size, 0.001 * size**1.5) for size in (432, 864, 1728)])
    assert fitted is not None
    assert fitted[0] == pytest.approx(1.5)


def test_no_exponent_comes_from_two_points() -> None:
    assert charts.fit([(432, 1.0), (864, 2.0), (864, 2.5)]) is None


def test_rows_that_do_not_say_what_they_are_of_are_refused() -> None:
    named = result("straight-432", "trayopt", 0.5)
    for name in report.NAMED_BY:
        with pytest.raises(ValueError, match=f"row 2 .straight-864. lacks {name}: run it again"):
            report.newest([named, {k: v for k, v in result("straight-864", "trayopt", 1.0).items() if k != name}])


def test_the_last_result_of_a_case_counts_and_the_worst_seed_is_shown() -> None:
    cases = registry()
    first = result("straight-432", "trayopt", None)
    again, other = result("straight-432", "trayopt", 0.5), result("straight-432", "trayopt", 2.5) | {"seed": 2}
    text = report.report(cases, [first, again, other])
    assert "| straight-432 | 2 of 2 |" in text
    assert "1 of 1 targets met by every seed, 0 of them" in text
    missed = result("straight-432", "trayopt", None) | {"seed": 2}
    assert "0 of 1 targets met by every seed" in report.report(cases, [again, missed])


def test_a_target_that_is_met_with_goals_left_open_is_counted_apart() -> None:
    found = result("pairs-8-13824", "trayopt", None)
    found["proven_at"] = dict.fromkeys(GOAL_ORDER[: GOAL_ORDER.index("crossings") + 1], 0.3)
    text = report.report(registry(), [found])
    assert "1 of 1 targets met by every seed, 1 of them with a goal left unproven" in text
    assert "| > 60 | 0.30 | up to crossings |" in text


def test_the_cases_of_the_baselines_are_told() -> None:
    results = [result("straight-432", method, 1.0) for method in report.NAMES]
    results += [result("straight-864", method, 1.0) for method in ("trayopt", "plain_cpsat")]
    text = report.report(registry(), results)
    assert "All four baselines ran on these cases (1): straight-432. That is fewer than 12." in text
    assert "    python -m benchmarks.run\n" in text


def test_fewer_than_three_seeds_are_told_and_the_chart_takes_the_worst_of_what_all_of_them_proved() -> None:
    cases = registry()
    sizes = (432, 864, 1728)
    seeds = [result(f"straight-{n}", "trayopt", 0.001 * n * seed) | {"seed": seed} for n in sizes for seed in (1, 2, 3)]
    assert "fewer than 3 seeds" not in report.report(cases, seeds)
    assert "1 of 3 cases ran with fewer than 3 seeds." in report.report(cases, seeds[1:])
    drawn = charts.growth(cases, seeds)
    assert drawn is not None
    assert drawn[0].count("<circle") == len(sizes) + 1, "a mark a case, and one in the legend"
    unproven = result("straight-864", "trayopt", None) | {"seed": 2}
    drawn = charts.growth(cases, [*(r for r in seeds if (r["case"], r["seed"]) != ("straight-864", 2)), unproven])
    assert drawn is not None
    assert drawn[1] == {}, "no exponent from two points"


def test_open_goals_never_rise_and_end_at_none() -> None:
    points = charts.open_goals(result("2x432-wall-2x6", "trayopt", 0.6))
    assert points[0][1] == 8
    assert points[-1] == (0.6, 0.0)
    heights = [height for _, height in points]
    assert heights == sorted(heights, reverse=True)


def test_a_goal_that_is_proven_is_not_taken_for_the_next() -> None:
    found = result("2x432-wall-2x6", "milp_highs", None)
    found["proven_at"] = {"unplaced": 1.0, "broken_must": 2.0}
    found["events"] = [
        [0.5, "unplaced", 8, 4],
        [1.0, "unplaced", 0, 0],
        [2.0, "broken_must", 0, 0],
        [3.0, "broken_prefer", 4, 3],
    ]
    assert charts.open_goals(found) == [
        (0.01, 8.0),
        (0.5, 7.5),
        (1.0, 7.0),
        (1.0, 7.0),
        (2.0, 6.0),
        (2.0, 6.0),
        (3.0, 5.25),
        (60.0, 5.25),
    ]


def test_charts_are_svg_and_reports_stand_between_the_marks(tmp_path: Path) -> None:
    cases = registry()
    results = [result(f"straight-{n}", "trayopt", 0.001 * n) for n in (432, 864, 1728)]
    results.append(result("straight-432", "plain_cpsat", None))
    drawn = charts.growth(cases, results)
    assert drawn is not None
    assert drawn[1]["straight joins"] == pytest.approx(1.0)
    for text in (drawn[0], charts.gaps(results, "straight-432")):
        assert ET.fromstring(text).tag.endswith("svg")
    page = tmp_path / "README.md"
    page.write_text(f"before\n{report.BEGIN}\nold\n{report.END}\nafter\n", encoding="utf-8")
    report.put(page, report.report(cases, results))
    text = page.read_text(encoding="utf-8")
    assert text.startswith("before\n")
    assert text.endswith("\nafter\n")
    assert "old" not in text
    assert "straight-1728" in text
