"""One case by one method in a process of its own; prints a JSON line whenever there is something new, the last is the result.

Called by ``run.py``: ``python -m benchmarks.child CASE METHOD SEED LIMIT_S WORKERS STARTED``.
"""

from __future__ import annotations

import json
import resource
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from benchmarks.journal import Journal
    from trayopt.domain.plan import GoalName

MEMORY = 10 * 2**30
"""Most address space of one run, in bytes: a model that does not fit ends with its own process."""
SAMPLE_S = 0.005


def main() -> None:
    """Run and print."""
    case_id, method, seed, limit_s, workers, started = sys.argv[1:]
    result: dict[str, Any] = {"case": case_id, "method": method, "seed": int(seed), "limit_s": float(limit_s)}
    phases: dict[str, float] = {}
    result["phases"] = phases

    def tell(news: Mapping[str, Any]) -> None:
        result.update(news)
        result["peak_mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
        print(json.dumps(result), flush=True)

    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    begun = time.monotonic()
    import trayopt.solver.model.cp_sat

    phases["solver_import"] = time.monotonic() - begun
    import trayopt.checker
    import trayopt.solver.solve  # noqa: F401
    from benchmarks.cases import registry
    from benchmarks.journal import Journal
    from trayopt import load_job

    source = Path(case_id) if case_id.endswith(".json") else registry()[case_id].source
    phases["start"] = time.time() - float(started) - phases["solver_import"]

    begun = time.monotonic()
    job = load_job(source)
    phases["read"] = time.monotonic() - begun
    result["splices"] = job.splices

    journal = Journal(job, float(limit_s), tell)
    METHODS[method](journal, int(seed), int(workers), phases)
    journal.settle()
    phases["solve"] = journal.seconds
    tell(journal.summary() | {"events": thinned(journal.events)})
    if method == "trayopt" and journal.best is not None:
        finish(journal, phases)
    phases_out = {name: round(value, 4) for name, value in phases.items()}
    tell({"phases": phases_out, "done": True})


def by_trayopt(journal: Journal, seed: int, workers: int, phases: dict[str, float]) -> None:
    """Search as the command does; a sampler notes when each goal is proven, a stopwatch how long the solver runs."""
    from benchmarks.journal import GOAL_ORDER
    from trayopt.solver.model import cp_sat
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.run import Tuning
    from trayopt.solver.search.search import Search

    inside = begun = 0.0
    running, lock = 0, threading.Lock()
    original: Callable[..., Any] = cp_sat.CpSolver.solve

    def timed(*arguments: Any, **named: Any) -> Any:
        nonlocal inside, begun, running
        with lock:  # solvers that run beside each other count once
            begun = begun if running else time.monotonic()
            running += 1
        try:
            return original(*arguments, **named)
        finally:
            with lock:
                running -= 1
                inside += 0.0 if running else time.monotonic() - begun

    cp_sat.CpSolver.solve = timed  # type: ignore[method-assign]

    def progress(_: float, goal: GoalName, value: int | None, bound: int | None) -> None:
        journal.note(goal, value, bound)

    search = Search(
        journal.job, GOAL_ORDER, Clock(journal.limit_s), tuning=Tuning(workers=workers, seed=seed), progress=progress
    )
    over = threading.Event()

    def watch() -> None:
        while not over.wait(SAMPLE_S):
            look()

    def look() -> None:
        state = search.state
        best, vector = state.best, state.vector
        if best is not None and vector != journal.vector:
            journal.best, journal.vector = best, vector
            journal.tell(journal.summary())
        journal.bounds = dict(state.bounds)
        journal.settle()

    sampler = threading.Thread(target=watch, daemon=True)
    sampler.start()
    search.solve()
    over.set()
    sampler.join()
    look()
    cp_sat.CpSolver.solve = original  # type: ignore[method-assign]
    phases["search"] = inside
    phases["build"] = journal.seconds - inside


def by_baseline(name: str) -> Callable[[Journal, int, int, dict[str, float]], None]:
    """Give a baseline by the name of its file."""

    def run(journal: Journal, seed: int, workers: int, phases: dict[str, float]) -> None:
        del phases
        from importlib import import_module

        import_module(f"benchmarks.baselines.{name}").solve(journal, seed=seed, workers=workers)

    return run


BASELINES = ("plain_cpsat", "milp_highs", "habit", "annealing")
METHODS: dict[str, Callable[[Journal, int, int, dict[str, float]], None]] = {
    "trayopt": by_trayopt,
    **{name: by_baseline(name) for name in BASELINES},
}


def finish(journal: Journal, phases: dict[str, float]) -> None:
    """Check the plan and write it, as the command does."""
    from trayopt.checker import check, measure
    from trayopt.domain.plan import PlanSolver
    from trayopt.formats.json_out import dump_rows, write_whole

    assert journal.best is not None
    begun = time.monotonic()
    said = PlanSolver(version="", seed=0, workers=0, deterministic_time=0.0)
    plan = measure(
        journal.job,
        journal.best,
        status="optimal" if journal.proven else "feasible",
        stopped="proven" if journal.proven else "time_limit",
        bounds=journal.bounds,
        solver=said,
    )
    report = check(journal.job, plan)
    phases["check"] = time.monotonic() - begun
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        write_whole(Path(folder) / "plan.json", dump_rows(plan.plain()))
    phases["write"] = time.monotonic() - begun
    journal.tell({"passed": report.passed, "faults": len(report.figures) + len(report.at("always"))})


def thinned(events: list[Any], most: int = 400) -> list[Any]:
    """Keep at most so many events, evenly, and the last one."""
    if len(events) <= most:
        return events
    step = len(events) / most
    return [events[int(i * step)] for i in range(most)] + [events[-1]]


if __name__ == "__main__":
    main()
