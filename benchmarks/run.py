"""Run the benchmarks: every case and method in a process of its own; tables and charts into this folder.

``python -m benchmarks.run`` from the root of the repository; see README.md for what is measured.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import shlex
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from datetime import date
from fnmatch import fnmatch
from pathlib import Path
from typing import Any

from benchmarks import charts, mixes, report, shares
from benchmarks.cases import FAMILIES, Case, registry
from benchmarks.child import BASELINES

HERE = Path(__file__).parent
RESULTS = HERE / "results.jsonl"
"""Every result that was ever kept, a line each: the tables take the last of each case, method and seed."""
GRACE_S = 30.0
"""What a child may take beyond its limit, for start, reading, checking and a solver that does not stop at once."""
LEAST_ANNEALING_S = 10.0
"""Local search has as long as trayopt took, and at least this."""
MOST_BASELINE_SPLICES = 1728
"""Plain models of larger jobs are not built: they would be time-outs that cost memory."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run what is asked for."""
    options = parser().parse_args(arguments)
    if options.repeat is None:
        options.repeat = report.LEAST_SEEDS if options.mixes is None else 1
    if options.mixes is not None:
        return run_mixes(options)
    cases = {
        name: case
        for name, case in registry().items()
        if (not options.only or any(fnmatch(name, wanted) for wanted in options.only))
        and (not options.family or case.family in options.family)
    }
    if options.list:
        print("\n".join(f"{case.family:9} {name}" for name, case in cases.items()))
        return 0
    if not cases:
        print("no case of that name", file=sys.stderr)
        return 2
    methods = ["trayopt", *([] if options.no_baselines else options.methods)]
    if options.tables:
        results = [json.loads(line) for line in Path(options.tables).read_text(encoding="utf-8").splitlines()]
        results = [result for result in results if result["case"] in cases]
    else:
        results = run_all(cases, methods, options)
    write(cases, report.newest(results), options)
    worse = [m for m in report.SEARCHERS if report.compare(results, m)["better"]]
    failed = [r for r in results if r["method"] == "trayopt" and (r.get("faults") or "error" in r)]
    for result in failed:
        print(f"{result['case']}: {result.get('error', 'the plan fails its own check')}", file=sys.stderr)
    return 1 if worse or failed else 0


def parser() -> argparse.ArgumentParser:
    """Describe the options."""
    made = argparse.ArgumentParser(prog="python -m benchmarks.run", description=__doc__.splitlines()[0])
    made.add_argument("--only", nargs="+", metavar="PATTERN", help="cases by name, such as 'legs-24-*'")
    made.add_argument("--family", nargs="+", choices=FAMILIES)
    made.add_argument("--limit", type=float, default=60.0, metavar="S", help="most seconds a case and method (60)")
    made.add_argument("--repeat", type=int, metavar="N", help="solver seeds 1 to N (3; of mixes 1)")
    made.add_argument("--workers", type=int, default=8, help="search threads of CP-SAT (8, whatever the cores)")
    made.add_argument("--methods", nargs="+", choices=BASELINES, default=list(BASELINES), help="baselines (all)")
    made.add_argument("--baseline-cases", nargs="+", metavar="PATTERN", default=["*"], help="cases that they run on")
    made.add_argument("--no-baselines", action="store_true")
    made.add_argument("--mixes", type=int, metavar="SEED", help="in place of the cases: random jobs drawn by this seed")
    made.add_argument("--jobs", type=int, default=mixes.JOBS, metavar="N", help=f"how many of them ({mixes.JOBS})")
    made.add_argument(
        "--json", metavar="FILE", default=str(RESULTS), help=f"add every result, a line each ({RESULTS.name})"
    )
    made.add_argument(
        "--tables", metavar="FILE", nargs="?", const=str(RESULTS), help="run nothing: tables and charts of results"
    )
    made.add_argument("--print", action="store_true", help="print the tables and leave the files of this folder alone")
    made.add_argument("--list", action="store_true", help="only print the names of the cases")
    return made


def run_mixes(options: argparse.Namespace) -> int:
    """Run random jobs, each in a process of its own, and print shares and quantiles."""
    results: list[dict[str, Any]] = []
    names = [
        name
        for name in mixes.names_of(options.mixes, options.jobs)
        if not options.only or any(fnmatch(name, wanted) for wanted in options.only)
    ]
    if options.list:
        print("\n".join(f"{name} {mixes.named(name)['title']}" for name in names))
        return 0
    stamp = stamped()
    with tempfile.TemporaryDirectory() as folder:
        for name in names:
            path = Path(folder) / f"{name}.json"
            path.write_text(json.dumps(mixes.named(name)), encoding="utf-8")
            family = mixes.family_of(int(name.rpartition("-")[2]))
            for seed in range(1, options.repeat + 1):
                result = run_one(str(path), "trayopt", seed, options.limit, options.workers)
                result |= {"case": name, "family": family} | stamp
                results.append(result)
                keep(result, options)
                took = shares.whole_s(result)
                said = f"proven in {took:.2f} s" if took is not None else f"not proven: {report.gap(result)}"
                print(f"{name} {family} seed {seed}: {said}", file=sys.stderr, flush=True)
    print(shares.shares(results, options.limit))
    failed = [result for result in results if result.get("faults") or "error" in result]
    for result in failed:
        print(f"{result['case']}: {result.get('error', 'the plan fails its own check')}", file=sys.stderr)
    return 1 if failed else 0


def stamped() -> dict[str, Any]:
    """Say of what revision, day, versions, machine, load and command a result is."""
    return {
        "date": date.today().isoformat(),
        "revision": revision(),
        "load": round(os.getloadavg()[0], 1),
        "versions": ", ".join(f"{name} {number}" for name, number in report.versions().items()),
        "machine": f"{platform.system()} {platform.machine()}, {os.cpu_count()} cores",
        "command": " ".join(["python -m benchmarks.run", *map(shlex.quote, sys.argv[1:])]),
    }


def keep(result: dict[str, Any], options: argparse.Namespace) -> None:
    """Add a result to the file of results, where one is wanted."""
    if options.json:
        with Path(options.json).open("a", encoding="utf-8") as file:
            file.write(json.dumps(result) + "\n")


def run_all(cases: dict[str, Case], methods: Sequence[str], options: argparse.Namespace) -> list[dict[str, Any]]:
    """Run one child after the other: two at a time would measure each other."""
    results: list[dict[str, Any]] = []
    stamp = stamped()
    for name in cases:
        for seed in range(1, options.repeat + 1):
            splices = 0
            took = options.limit
            for method in methods:
                if method != "trayopt":
                    if not any(fnmatch(name, wanted) for wanted in options.baseline_cases):
                        continue
                    if splices > MOST_BASELINE_SPLICES and method in report.PROVERS:
                        continue
                limit_s = options.limit
                if method == "annealing":
                    limit_s = min(options.limit, max(LEAST_ANNEALING_S, took))
                result = run_one(name, method, seed, limit_s, options.workers) | stamp
                results.append(result)
                keep(result, options)
                if method == "trayopt":
                    splices, took = result.get("splices", 0), result.get("seconds", options.limit)
                spoken = report.proof_s(result)
                text = f"proven in {spoken:.2f} s" if spoken is not None else report.gap(result)
                if method in report.SEARCHERS:
                    text = f"{result.get('vector') or 'no plan'}"
                print(f"{name} seed {seed} {method}: {text}", file=sys.stderr, flush=True)
    return results


def run_one(case: str, method: str, seed: int, limit_s: float, workers: int) -> dict[str, Any]:
    """Run one child and give the last that it said, with what went wrong under ``error``."""
    if method == "milp_highs":
        workers = min(workers, 2)  # its threads do not share a search: more than cores only slow it down
    result: dict[str, Any] = {"case": case, "method": method, "seed": seed, "limit_s": limit_s, "phases": {}}
    command = [sys.executable, "-m", "benchmarks.child", case, method, str(seed), str(limit_s), str(workers)]
    try:
        done = subprocess.run(
            [*command, repr(time.time())],
            cwd=HERE.parent,
            capture_output=True,
            text=True,
            timeout=limit_s + GRACE_S,
            check=False,
        )
        lines, fault = done.stdout.splitlines(), done.stderr.strip().splitlines()[-1:] if done.returncode else []
    except subprocess.TimeoutExpired as late:
        said = late.stdout or b""
        lines = (said.decode() if isinstance(said, bytes) else said).splitlines()
        fault = [f"ended {GRACE_S:g} s after its limit"]
    for line in reversed(lines):
        try:
            result |= json.loads(line)
            break
        except json.JSONDecodeError:
            continue
    if fault:
        result["error"] = fault[0]
    return result


def write(cases: dict[str, Case], results: Sequence[report.Result], options: argparse.Namespace) -> None:
    """Write tables and charts."""
    text = report.report(cases, results)
    drawn = charts.growth(cases, results)
    if drawn is not None and drawn[1]:
        said = ", ".join(f"{group} fibres^{exponent:.2f}" for group, exponent in drawn[1].items())
        text += f"\n\nGrowth of the time to proof, fitted to the worst seed of each case that all seeds proved: {said}."
    if options.print:
        print(text)
        return
    if drawn is not None:
        (HERE / "time_against_fibres.svg").write_text(drawn[0], encoding="utf-8")
    telling = ("legs-24-seed-1", "2x432-wall-2x6", *sorted({result["case"] for result in results}))
    shown = next((case for case in telling if _compared(results, case)), None)
    if shown is not None:
        (HERE / "gap_over_time.svg").write_text(charts.gaps(results, shown), encoding="utf-8")
    report.put(HERE / "README.md", text)


def _compared(results: Sequence[report.Result], case: str) -> bool:
    return {"trayopt", "plain_cpsat"} <= {r["method"] for r in results if r["case"] == case}


def revision() -> str:
    """Give the revision of the source, marked where it was changed since; ``unknown`` outside of a repository."""
    try:
        said = subprocess.run(
            ["git", "describe", "--always", "--dirty"], cwd=HERE, capture_output=True, text=True, check=True
        )
    except (OSError, subprocess.CalledProcessError):
        return "unknown"
    return said.stdout.strip()


if __name__ == "__main__":
    raise SystemExit(main())
