"""What each part of the search earns: every job once with all parts, and once without each part that it makes use of.

Called as ``python -m benchmarks.ablation``. A part is a tactic or a relaxation of the search. Jobs of which the search does not
come to a part are not run without it: nothing would change. One thread in deterministic time gives the same table on every
machine, however busy.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from benchmarks import mixes
from benchmarks.cases import FAMILIES, registry
from trayopt import load_job
from trayopt.domain.job import Job
from trayopt.errors import SolverFault
from trayopt.goals.registry import GOALS
from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.run import Tuning
from trayopt.solver.search.parts import PARTS
from trayopt.solver.search.search import Search

Source = Path | Mapping[str, Any]
"""A job file, or a job as a mapping."""
WHOLE = "-"
"""Stands for the search with all its parts."""
TOGETHER = "+"
"""Joins the names of parts that are left out together."""
SLOWER = (1.25, 0.3)
"""A job is slower if it takes so many times the effort that it takes with all parts, and so much more."""


@dataclass(frozen=True)
class Run:
    """One job without one part.

    ``proven`` counts the goals up to the first that is not proven, ``calls`` those of the solver; ``effort`` is the solver's
    deterministic time, ``seconds`` the clock's.
    """

    case: str
    without: str
    proven: int
    values: tuple[int, ...]
    calls: int
    effort: float
    seconds: float
    used: tuple[str, ...] = ()

    def worse(self, whole: Run) -> bool:
        """Whether less is proven, or a worse plan found."""
        return (-self.proven, self.values) > (-whole.proven, whole.values)

    def slower(self, whole: Run) -> bool:
        """Whether it took much more effort."""
        times, more = SLOWER
        return self.effort > times * whole.effort and self.effort > whole.effort + more


@contextmanager
def counted() -> Iterator[list[int]]:
    """Count the calls of the solver."""
    calls = [0]
    original = cp_sat.CpSolver.solve

    def solve(*arguments: Any, **named: Any) -> Any:
        calls[0] += 1
        return original(*arguments, **named)

    cp_sat.CpSolver.solve = solve  # type: ignore[method-assign]
    try:
        yield calls
    finally:
        cp_sat.CpSolver.solve = original  # type: ignore[method-assign]


def run(case: str, job: Job, without: str, limit: float, workers: int | None) -> Run:
    """Solve a job without a part; with no number of workers by one, in deterministic time."""
    order = tuple(goal.id for goal in GOALS)
    begun = time.monotonic()
    with counted() as calls:
        clock = Clock(limit, deterministic=workers is None)
        parts = frozenset(without.split(TOGETHER))
        search = Search(job, order, clock, tuning=Tuning(workers=workers or 1), without=parts)
        state, _ = search.solve()
    seconds = time.monotonic() - begun
    proven = (
        sum(state.vector[order.index(goal)] == bound for goal, bound in state.bounds.items()) if state.vector else 0
    )
    used = tuple(sorted(search.used))
    return Run(case, without, proven, state.vector, calls[0], round(clock.effort, 3), round(seconds, 3), used)


def jobs(options: argparse.Namespace) -> Iterator[tuple[str, Job]]:
    """Give the jobs that are asked for, by name: cases of some families, or mixes of some seeds."""
    made: Iterable[tuple[str, Source | None]]
    if options.mixes:
        made = ((name, None) for seed in options.mixes for name in mixes.names_of(seed))
    else:
        made = ((name, case.source) for name, case in registry().items() if case.family in options.family)
    for name, source in made:
        if any(fnmatchcase(name, pattern) for pattern in options.only):
            yield name, load_job(source or mixes.named(name))


def ablate(cases: Mapping[str, Job], parts: Sequence[str], limit: float, workers: int | None) -> Iterator[Run]:
    """Run every job with all parts, then without each that it made use of."""
    for name, job in cases.items():
        whole = run(name, job, WHOLE, limit, workers)
        yield whole
        for part in parts:
            if not set(part.split(TOGETHER)) & set(whole.used):
                continue
            try:
                yield run(name, job, part, limit, workers)
            except SolverFault as fault:
                raise SolverFault(f"{name} without {part}: {fault}") from fault


def table(runs: Iterable[Run], parts: Sequence[str]) -> str:
    """Sum up what each part earns; calls and effort over the jobs that make use of it, without the part and with it."""
    whole: dict[str, Run] = {}
    by_part: dict[str, list[Run]] = {part: [] for part in parts}
    for one in runs:
        if one.without == WHOLE:
            whole[one.case] = one
        elif one.without in by_part:
            by_part[one.without].append(one)
    lines = [
        "| part | jobs that use it | calls without / with | effort without / with | seconds without / with "
        "| lost without it | slower without it |",
        "|---|---|---|---|---|---|---|",
    ]
    for part, found in by_part.items():
        calls = f"{sum(r.calls for r in found):,} / {sum(whole[r.case].calls for r in found):,}"
        effort = f"{sum(r.effort for r in found):.1f} / {sum(whole[r.case].effort for r in found):.1f}"
        seconds = f"{sum(r.seconds for r in found):.1f} / {sum(whole[r.case].seconds for r in found):.1f}"
        lost = [r.case for r in found if r.worse(whole[r.case])]
        slower = [r.case for r in found if r.case not in lost and r.slower(whole[r.case])]
        lines.append(
            f"| {part} | {len(found)} | {calls} | {effort} | {seconds} | {_listed(lost)} | {_listed(slower)} |"
        )
    return "\n".join(lines) + "\n"


def _listed(names: Sequence[str], most: int = 4) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return f"{len(names)}: {', '.join(names[:most])}{more}" if names else "0"


def parser() -> argparse.ArgumentParser:
    """Describe the options."""
    made = argparse.ArgumentParser(prog="python -m benchmarks.ablation", description=__doc__.splitlines()[0])
    made.add_argument("--only", nargs="+", metavar="PATTERN", default=["*"], help="cases by name, such as 'legs-24-*'")
    made.add_argument("--family", nargs="+", choices=FAMILIES, default=["standard"])
    made.add_argument(
        "--mixes", nargs="+", type=int, metavar="SEED", help="instead of cases: the random jobs of these seeds"
    )
    made.add_argument("--most", type=int, default=1728, metavar="N", help="jobs of up to so many splices (1728)")
    made.add_argument(
        "--parts",
        nargs="+",
        default=list(PARTS),
        metavar="NAME",
        help="parts to leave out in turn (all); a+b both together",
    )
    made.add_argument("--limit", type=float, default=20.0, metavar="S", help="most effort a run (20)")
    made.add_argument(
        "--workers",
        type=int,
        metavar="N",
        help="search with threads, and limit seconds; else one thread in deterministic time",
    )
    made.add_argument("--json", metavar="FILE", help="add every run as it comes, a line each")
    made.add_argument("--tables", nargs="+", metavar="FILE", help="run nothing: make the table of these runs")
    return made


def main() -> None:
    """Run what is asked for, and print the table."""
    options = parser().parse_args()
    if options.tables:
        lines = [line for file in options.tables for line in Path(file).read_text(encoding="utf-8").splitlines()]
        runs = [Run(**{**data, "values": tuple(data["values"])}) for data in map(json.loads, lines)]
        sys.stdout.write(table(runs, list(dict.fromkeys(run.without for run in runs if run.without != WHOLE))))
        return
    if unknown := {name for part in options.parts for name in part.split(TOGETHER)} - set(PARTS):
        parser().error(f"no parts of the search: {', '.join(sorted(unknown))}; there are {', '.join(PARTS)}")
    cases = {name: job for name, job in jobs(options) if job.splices <= options.most}
    runs = []
    for one in ablate(cases, options.parts, options.limit, options.workers):
        runs.append(one)
        line = json.dumps(asdict(one))
        sys.stderr.write(f"{one.case} without {one.without}: {one.proven} goals proven, {one.seconds} s\n")
        if options.json:
            with Path(options.json).open("a", encoding="utf-8") as out:
                out.write(line + "\n")
    sys.stdout.write(table(runs, options.parts))


if __name__ == "__main__":
    main()
