"""The tables of a run, as Markdown, and their place in README.md."""

from __future__ import annotations

import math
import os
import platform
from collections.abc import Iterable, Mapping, Sequence
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from benchmarks.cases import Case
from benchmarks.journal import GOAL_ORDER

BEGIN, END = "<!-- run:begin -->", "<!-- run:end -->"
PROVERS = ("plain_cpsat", "milp_highs")
SEARCHERS = ("habit", "annealing")
NAMES = {
    "trayopt": "trayopt",
    "plain_cpsat": "plain CP-SAT model",
    "milp_highs": "MILP in HiGHS",
    "habit": "habit of the trade",
    "annealing": "simulated annealing",
}
Result = Mapping[str, Any]
"""What ``child.py`` printed last for one case, method and seed."""


def proof_s(result: Result, until: str = "all") -> float | None:
    """Seconds to the proof that was asked for, reading and imports aside; None where there was none."""
    at = result.get("proven_at", {})
    wanted = GOAL_ORDER if until == "all" else GOAL_ORDER[: GOAL_ORDER.index("crossings") + 1]
    if not all(goal in at for goal in wanted):
        return None
    return float(max(at[goal] for goal in wanted))


def gap(result: Result) -> str:
    """Say how far it came: the first goal that is not proven, with value and bound."""
    if not result.get("vector"):
        return str(result.get("error", "no plan"))
    for goal, value, bound in zip(GOAL_ORDER, result["vector"], result["bounds"], strict=True):
        if goal not in result["proven_at"]:
            return f"{goal} {value}, bound {'none' if bound is None else bound}"
    return "proven"


def versions() -> dict[str, str]:
    """Give the versions of what takes part."""
    found = {}
    for package in ("trayopt", "ortools", "highspy"):
        try:
            found[package] = version(package)
        except PackageNotFoundError:
            found[package] = "from source" if package == "trayopt" else "none"
    return found


def report(cases: Mapping[str, Case], results: Sequence[Result], limit_s: float) -> str:
    """Write all tables of a run."""
    said = ", ".join(f"{name} {number}" for name, number in versions().items())
    stamp = results[0]
    machine = (
        f"{platform.system()} {platform.machine()}, {os.cpu_count()} cores, load {stamp.get('load')} before the run"
    )
    head = [
        f"Run of {stamp.get('date')}, revision {stamp.get('revision')}: {said}, Python {platform.python_version()}.",
        f"{machine}. Limit {limit_s:g} s a case.",
        "\n",
    ]
    parts = [_trayopt(cases, results, limit_s)]
    if any(result["method"] != "trayopt" for result in results):
        parts += [_against(cases, results, limit_s), _vectors(results)]
    return "\n".join(head) + "\n\n".join(part for part in parts if part)


def table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Write a table as Markdown."""
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(str(cell) for cell in row) + " |" for row in rows]
    return "\n".join(lines)


def _s(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}" if value < 10 else f"{value:.0f}"


def _trayopt(cases: Mapping[str, Case], results: Sequence[Result], limit_s: float) -> str:
    rows = []
    times, rest = [], []
    met = asked = 0
    for result in results:
        if result["method"] != "trayopt":
            continue
        case, phases = cases[result["case"]], result["phases"]
        took = proof_s(result, case.until)
        times.append(limit_s if took is None else took)
        outside = sum(phases.get(name, 0.0) for name in ("start", "solver_import", "read", "check", "write"))
        rest.append(outside)
        if case.target_s is not None:
            asked += 1
            met += took is not None and took <= case.target_s
        rows.append(
            [
                case.id,
                result["seed"],
                result.get("splices", ""),
                *(
                    _s(phases.get(name))
                    for name in ("start", "solver_import", "read", "build", "search", "check", "write")
                ),
                _s(took) if took is not None else f"> {limit_s:g}",
                "" if case.target_s is None else f"{case.target_s:g}",
                gap(result),
                result.get("peak_mb", ""),
            ]
        )
    if not rows:
        return ""
    middle = sorted(times)[len(times) // 2]
    head = [
        "case", "seed", "splices", "start", "solver import", "read", "build", "search", "check", "write", "to proof",
        "target", "proof", "peak MB",
    ]  # fmt: skip
    return (
        "### trayopt, seconds by phase\n\n"
        "Build: what the solve takes outside the solver (models, bounds, recounts). To proof: build and search, until every "
        "goal is proven, or the goals that the target names.\n\n"
        f"{met} of {asked} targets met; median to proof {_s(middle)} s; all but build and search: at most {_s(max(rest))} s.\n\n"
        + table(head, rows)
        + "\n\n"
        + _goals(results)
    )


def _goals(results: Sequence[Result]) -> str:
    """Tell when each goal was proven, in seconds from the start of the solve."""
    rows = [
        [result["case"], result["seed"], *(_s(result.get("proven_at", {}).get(goal)) for goal in GOAL_ORDER)]
        for result in results
        if result["method"] == "trayopt"
    ]
    return "<details><summary>When each goal was proven, in seconds</summary>\n\n" + table(
        ["case", "seed", *GOAL_ORDER], rows
    ) + "\n\n</details>"  # fmt: skip


def ratios(results: Sequence[Result], method: str, limit_s: float) -> list[float]:
    """Time to proof of a method over that of trayopt, by case and seed; a time-out counts as the limit."""
    own = {(r["case"], r["seed"]): r for r in results if r["method"] == "trayopt"}
    found = []
    for result in results:
        mine = own.get((result["case"], result["seed"]))
        if result["method"] == method and mine is not None:
            ours, theirs = (min(proof_s(r) or limit_s, limit_s) for r in (mine, result))
            found.append(theirs / max(ours, 1e-3))
    return found


def geometric_mean(values: Sequence[float]) -> float:
    """Geometric mean of numbers above 0."""
    return math.exp(sum(math.log(value) for value in values) / len(values))


def _against(cases: Mapping[str, Case], results: Sequence[Result], limit_s: float) -> str:
    by = {(r["case"], r["seed"], r["method"]): r for r in results}
    rows = []
    for case, seed in dict.fromkeys((r["case"], r["seed"]) for r in results if r["method"] in PROVERS):
        row: list[object] = [case, seed]
        for method in ("trayopt", *PROVERS):
            result = by.get((case, seed, method))
            took = None if result is None else proof_s(result)
            row.append("" if result is None else _s(took) if took is not None else f"> {limit_s:g}: {gap(result)}")
        rows.append(row)
    if not rows:
        return ""
    means = [
        f"{NAMES[method]} takes {geometric_mean(found):.1f} times as long to proof ({len(found)} runs)"
        for method in PROVERS
        if (found := ratios(results, method, limit_s))
    ]
    return (
        "### Time to proof against plain models\n\n"
        f"Geometric mean, time-outs counted as {limit_s:g} s: {'; '.join(means)}.\n\n"
        + table(["case", "seed", *(NAMES[m] for m in ("trayopt", *PROVERS))], rows)
    )


def compare(results: Sequence[Result], method: str) -> dict[str, list[tuple[str, int]]]:
    """Sort the runs of a method by whether its plan is worse than that of trayopt, as good or better."""
    own = {(r["case"], r["seed"]): r for r in results if r["method"] == "trayopt"}
    found: dict[str, list[tuple[str, int]]] = {"worse": [], "equal": [], "better": []}
    for result in results:
        key = (result["case"], result["seed"])
        if result["method"] != method or key not in own:
            continue
        # no plan at all is worse than any
        theirs, ours = (tuple(r.get("vector") or [math.inf]) for r in (result, own[key]))
        found["worse" if theirs > ours else "equal" if theirs == ours else "better"].append(key)
    return found


def _vectors(results: Sequence[Result]) -> str:
    methods = [m for m in (*SEARCHERS, *PROVERS) if any(r["method"] == m for r in results)]
    lines = []
    for method in methods:
        found = compare(results, method)
        better = ", ".join(f"{case} (seed {seed})" for case, seed in found["better"])
        lines.append(
            f"- {NAMES[method]}: worse than trayopt in {len(found['worse'])}, equal in {len(found['equal'])}, "
            f"better in {len(found['better'])}{': ' + better if better else ''}"
        )
    rows = [
        [
            result["case"],
            result["seed"],
            NAMES[result["method"]],
            *(result.get("vector") or [gap(result), *[""] * (len(GOAL_ORDER) - 1)]),
            result.get("moves") or "",
        ]
        for result in sorted(results, key=lambda r: (r["case"], r["seed"], list(NAMES).index(r["method"])))
    ]
    return (
        "### Plans\n\nGoal by goal in their order; every plan is measured by the check, and one that breaks what no plan may "
        "break does not count.\n\n"
        + "\n".join(lines)
        + "\n\n<details><summary>All goal vectors</summary>\n\n"
        + table(["case", "seed", "method", *GOAL_ORDER, "plans tried"], rows)
        + "\n\n</details>"
    )


def put(path: Path, text: str) -> None:
    """Put the report between the marks of a file."""
    old = path.read_text(encoding="utf-8")
    before, _, rest = old.partition(BEGIN)
    _, _, after = rest.partition(END)
    path.write_text(f"{before}{BEGIN}\n{text}\n{END}{after}", encoding="utf-8")
