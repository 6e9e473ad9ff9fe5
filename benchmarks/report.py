"""The tables of a run, as Markdown, and their place in README.md."""

from __future__ import annotations

import math
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


NAMED_BY = ("revision", "date", "limit_s", "seed", "load", "command", "versions", "machine")
"""What every row of results carries, so that a table can say what was measured."""


def newest(results: Sequence[Result]) -> list[Result]:
    """Keep the last result of each case, method and seed.

    Raises
    ------
    ValueError
        Where a row does not say of what revision, day, limit, seed and load it is: it cannot stand beside others.
    """
    last: dict[tuple[str, str, int], Result] = {}
    for number, result in enumerate(results, start=1):
        lacking = [name for name in NAMED_BY if name not in result]
        if lacking:
            raise ValueError(f"row {number} ({result.get('case', 'no case')}) lacks {', '.join(lacking)}: run it again")
        last.pop((key := (str(result["case"]), str(result["method"]), int(result["seed"]))), None)
        last[key] = result
    return list(last.values())


def report(cases: Mapping[str, Case], results: Sequence[Result]) -> str:
    """Write all tables of some results, and what they are of: revisions, days, versions, machines, commands."""
    results = newest(results)
    head = [
        f"{label}: {', '.join(dict.fromkeys(str(result[name]) for result in results))}."
        for label, name in (
            ("Revision", "revision"),
            ("Day", "date"),
            ("Versions", "versions"),
            ("Machine", "machine"),
        )
    ]
    commands = dict.fromkeys(str(result["command"]) for result in results)
    head.append("\nThe tables come from:\n\n" + "\n".join(f"    {command}" for command in commands) + "\n\n")
    parts = [_trayopt(cases, results)]
    if any(result["method"] != "trayopt" for result in results):
        parts += [_against(results), _vectors(results)]
    return "\n".join(head) + "\n\n".join(part for part in parts if part)


def table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Write a table as Markdown."""
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(str(cell) for cell in row) + " |" for row in rows]
    return "\n".join(lines)


def _s(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}" if value < 10 else f"{value:.0f}"


def _worst(case: Case, results: Sequence[Result]) -> Result:
    """Give the seed that took longest to the goals of the target, then to all goals; one that did not prove them first."""

    def key(result: Result) -> tuple[float, float]:
        took, whole = proof_s(result, case.until), proof_s(result)
        return math.inf if took is None else took, math.inf if whole is None else whole

    return max(results, key=key)


def _trayopt(cases: Mapping[str, Case], results: Sequence[Result]) -> str:
    by_case: dict[str, list[Result]] = {}
    for result in results:
        if result["method"] == "trayopt":
            by_case.setdefault(str(result["case"]), []).append(result)
    if not by_case:
        return ""
    rows, times, rest = [], [], []
    met = asked = open_ = 0
    for name, found in by_case.items():
        case, result = cases[name], _worst(cases[name], found)
        phases, limit_s = result["phases"], result["limit_s"]
        took, whole = proof_s(result, case.until), proof_s(result)
        times.append(limit_s if whole is None else whole)
        rest.append(sum(phases.get(part, 0.0) for part in ("start", "solver_import", "read", "check", "write")))
        if case.target_s is not None:
            asked += 1
            good = took is not None and took <= case.target_s
            met += good
            open_ += good and whole is None
        rows.append(
            [
                case.id,
                f"{result['seed']} of {len(found)}",
                result.get("splices", ""),
                *(
                    _s(phases.get(part))
                    for part in ("start", "solver_import", "read", "build", "search", "check", "write")
                ),
                _s(whole) if whole is not None else f"> {limit_s:g}",
                _s(took) if took is not None else f"> {limit_s:g}",
                case.until if case.until == "all" else f"up to {case.until}",
                "" if case.target_s is None else f"{case.target_s:g}",
                gap(result),
                result.get("peak_mb", ""),
                result["revision"],
                result["date"],
                f"{limit_s:g}",
                result["load"],
            ]
        )
    few = sum(len(found) < LEAST_SEEDS for found in by_case.values())
    short = f" {few} of {len(by_case)} cases ran with fewer than {LEAST_SEEDS} seeds." if few else ""
    head = [
        "case", "worst seed", "splices", "start", "solver import", "read", "build", "search", "check", "write",
        "all goals", "target's goals", "which", "target", "proof", "peak MB", "revision", "day", "limit", "load",
    ]  # fmt: skip
    middle = sorted(times)[len(times) // 2]
    return (
        "### trayopt, seconds by phase\n\n"
        "Each row is the worst seed of the solver that was run. Build: what the solve takes outside the solver (models, bounds, "
        "recounts). *All goals* and *target's goals*: build and search, until these are proven; *which* names the goals of the "
        f"target.{short}\n\n"
        f"{met} of {asked} targets met by every seed, {open_} of them with a goal left unproven that the target does not name; "
        f"median to the proof of all goals {_s(middle)} s; all but build and search: at most {_s(max(rest))} s.\n\n"
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


def ratios(results: Sequence[Result], method: str) -> list[float]:
    """Time to proof of a method over that of trayopt, by case and seed; a time-out counts as the limit."""
    own = {(r["case"], r["seed"]): r for r in results if r["method"] == "trayopt"}
    found = []
    for result in results:
        mine = own.get((result["case"], result["seed"]))
        if result["method"] == method and mine is not None:
            ours, theirs = (min(proof_s(r) or r["limit_s"], r["limit_s"]) for r in (mine, result))
            found.append(theirs / max(ours, 1e-3))
    return found


def geometric_mean(values: Sequence[float]) -> float:
    """Geometric mean of numbers above 0."""
    return math.exp(sum(math.log(value) for value in values) / len(values))


def _against(results: Sequence[Result]) -> str:
    by = {(r["case"], r["seed"], r["method"]): r for r in results}
    rows = []
    for case, seed in dict.fromkeys((r["case"], r["seed"]) for r in results if r["method"] in PROVERS):
        row: list[object] = [case, seed]
        for method in ("trayopt", *PROVERS):
            result = by.get((case, seed, method))
            took = None if result is None else proof_s(result)
            row.append(
                "" if result is None else _s(took) if took is not None else f"> {result['limit_s']:g}: {gap(result)}"
            )
        rows.append(row)
    if not rows:
        return ""
    means = [
        f"{NAMES[method]} takes {geometric_mean(found):.1f} times as long to proof ({len(found)} runs)"
        for method in PROVERS
        if (found := ratios(results, method))
    ]
    return (
        "### Time to proof against plain models\n\n"
        f"{_ran_on(results)} Geometric mean, time-outs counted as the limit: {'; '.join(means)}.\n\n"
        + table(["case", "seed", *(NAMES[m] for m in ("trayopt", *PROVERS))], rows)
    )


LEAST_SEEDS = 3
"""Seeds of the solver with which every case is to be run; where one ran with fewer the table says so."""
LEAST_BASELINES = 12
"""Cases on which all four baselines are to run; with fewer the table says so."""


def _ran_on(results: Sequence[Result]) -> str:
    """Say on which cases the baselines ran, and on how many all of them did."""
    ran: dict[str, set[str]] = {}
    for result in results:
        if result["method"] != "trayopt":
            ran.setdefault(str(result["case"]), set()).add(str(result["method"]))
    every = sorted(case for case, methods in ran.items() if methods == {*PROVERS, *SEARCHERS})
    few = "" if len(every) >= LEAST_BASELINES else f" That is fewer than {LEAST_BASELINES}."
    return f"All four baselines ran on these cases ({len(every)}): {', '.join(every) or 'none'}.{few}"


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
