"""How many bounds a certificate carries: jobs are solved, certified and checked, and the shares that need no solver are told.

    python -m benchmarks.certificates                    every standard job
    python -m benchmarks.certificates --mixes 1          200 random jobs drawn by seed 1
    python -m benchmarks.certificates --only '2x432*'    some of them

A line a job: seconds of CPU to solve, to find the arguments and to check them, and each goal that is not checked. A goal that the
search did not prove has nothing to be certified; jobs with such a goal are told apart.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Iterator
from fnmatch import fnmatch
from itertools import pairwise

from benchmarks.cases import STANDARD
from benchmarks.mixes import named, names_of
from trayopt import certify, load_job, solve, verify
from trayopt.domain.job import Job

LIMIT_S = 60.0


def jobs(seed: int | None, number: int, only: list[str]) -> Iterator[tuple[str, Job]]:
    """Give the jobs by name: standard ones, or those of a seed."""
    standard = [path.stem for path in sorted(STANDARD.glob("*.yaml"))]
    names = standard if seed is None else list(names_of(seed, number))
    for name in names:
        if any(fnmatch(name, pattern) for pattern in only):
            yield name, load_job(STANDARD / f"{name}.yaml" if seed is None else named(name))


def main() -> None:
    """Certify the jobs and print the shares."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--mixes", type=int, metavar="SEED")
    parser.add_argument("--number", type=int, default=200)
    parser.add_argument("--only", nargs="+", default=["*"])
    parser.add_argument("--limit", type=float, default=LIMIT_S, help="seconds to solve a job, and to certify it")
    asked = parser.parse_args()
    standing: Counter[tuple[str, str]] = Counter()
    whole = proven = total = 0
    for name, job in jobs(asked.mixes, asked.number, asked.only):
        times = [time.process_time()]
        plan = solve(job, time_limit_s=asked.limit, workers=2, explain=False).plan
        times.append(time.process_time())
        certificate = certify(job, plan, time_limit_s=asked.limit)
        times.append(time.process_time())
        verified = verify(job, plan, certificate)
        times.append(time.process_time())
        assert not verified.refused, verified
        total += 1
        proven += plan.status == "optimal"
        whole += verified.whole
        standing.update((item.goal, item.standing) for item in verified.goals)
        rest = [f"{item.goal} {item.least:,}" for item in verified.goals if item.standing != "checked"]
        took = " ".join(f"{after - before:.1f}" for before, after in pairwise(times))
        print(f"{name}: {took} s, {plan.status}; {', '.join(rest) or 'all checked'}", flush=True)
    print(f"{total} jobs, {proven} proven by the search, {whole} with every goal checked")
    for goal in dict.fromkeys(goal for goal, _ in standing):
        checked = standing[goal, "checked"]
        print(f"{goal}: {checked} of {total} checked")


if __name__ == "__main__":
    main()
