"""Voices that have to agree: the search, brute force, a mixed integer program, other seeds and starts, and a local search.

    python -m benchmarks.voices --tiny 2000              tiny random jobs from --first on, of each kind in turn
    python -m benchmarks.voices --mixes 1 --number 20    middle-sized random jobs drawn by seed 1

A tiny job is solved by the search, enumerated by ``tests/oracle.py``, and solved by HiGHS as the program of ``tests/milp``, which
is written from the specification and shares nothing with the solver. All goals of the three are equal, and the plan of the
program is judged by the oracle. HiGHS also bounds goals by the rows of ``trayopt.certificate``: no bound is above a goal, and how
often it meets the goal is told.

A middle-sized job is solved with two seeds, with one worker, and from the plan of a local search: plans that are called optimal
have the same goals, which the oracle judges again, and the local search beats none. Each disagreement is a line; the command
then ends with 1.
"""

from __future__ import annotations

import argparse
import random
from collections import Counter
from collections.abc import Iterator
from typing import Any

import highspy
import numpy as np

from benchmarks.baselines import annealing
from benchmarks.journal import GOAL_ORDER, Journal
from benchmarks.mixes import named, names_of
from tests import oracle, strategies
from tests.build import job_of
from tests.milp.solve import Goals
from trayopt import load_job, solve
from trayopt.certificate.check import STEP, System, TooMany
from trayopt.certificate.rules import plans_of
from trayopt.checker import measure
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName, Plan, PlanSolver

NOBODY = PlanSolver(version="annealing", seed=0, workers=1, deterministic_time=0.0)
Values = dict[GoalName, int]
KINDS: dict[str, dict[str, float]] = {
    "plain": {},
    "through": {"through": 1.0},
    "mixed trays": {"mixed": 0.7},
    "loose fibres": {"mixed": 1.0, "loose": 0.7},
    "ribbons": {"ribbon_work": 0.7},
}
"""Kinds of tiny jobs, and how they are drawn."""


def least(system: System, goal: list[tuple[int, int]]) -> int | None:
    """Give the least of a goal over all whole numbers that meet the rows, by HiGHS; None where there are none.

    Presolve is off: that of HiGHS 1.16 says of rows that whole numbers meet that there are none (tiny job 6634), calls values
    best that are not (803), or ends in an error (5051). No gap is allowed, as a bound may not be above the best plan.
    """
    highs: Any = highspy.Highs()  # type: ignore[no-untyped-call]
    highs.setOptionValue("output_flag", False)
    highs.setOptionValue("presolve", "off")
    highs.setOptionValue("mip_rel_gap", 0.0)
    for low, high in system.bounds:
        highs.addVar(low, high)
    for number in range(len(system.bounds)):
        highs.changeColIntegrality(number, highspy.HighsVarType.kInteger)
    for row in system.rows.values():
        terms = {number: factor for number, factor in row.terms.items() if factor}
        highs.addRow(
            row.most if row.equal else -highspy.kHighsInf,
            row.most,
            len(terms),
            np.array([*terms], np.int32),
            np.array([*terms.values()], float),
        )
    cost: Counter[int] = Counter()
    for factor, number in goal:
        cost[number] += factor
    for number, factor in cost.items():
        highs.changeColCost(number, factor)
    highs.run()
    if highs.getModelStatus() == highspy.HighsModelStatus.kInfeasible:
        return None
    assert highs.getModelStatus() == highspy.HighsModelStatus.kOptimal, highs.getModelStatus()
    value: float = highs.getInfo().objective_function_value
    return round(value)


def bounds(job: Job, values: Values) -> Iterator[tuple[GoalName, int | None]]:
    """Bound each goal, those before it given as in a plan; a goal that the rows do not count is left out."""
    given: Values = {}
    for goal, value in values.items():
        try:
            plans = plans_of(job, given, orders=given.get("unplaced") == 0)
        except TooMany:
            plans = plans_of(job, given)
        if goal in plans.goals:
            found = least(plans, plans.goals[goal])
            yield goal, None if found is None else found * STEP.get(goal, 1)
        given[goal] = value


def values_of(plan: Plan) -> Values:
    """Give the goals of a plan."""
    return {item.goal: item.value for item in plan.goals}


def tiny(seed: int, met: Counter[tuple[GoalName, bool]], kind: str = "plain") -> Iterator[str]:
    """Compare the voices on a tiny job; yields what does not agree."""
    data = strategies.random_job(random.Random(seed), **KINDS[kind])  # type: ignore[arg-type]
    facts = oracle.Facts(data)
    best = oracle.solve(facts)
    assert best is not None
    found = Goals(facts).best()
    if found is None or found[0] != best.goals:
        yield f"the program has {found and found[0]}, brute force {best.goals}"
    else:
        judged = oracle.judge(facts, found[1])
        if judged.goals != best.goals or not judged.feasible:
            yield f"the plan of the program has {judged.goals}, feasible {judged.feasible}, and should have {best.goals}"
    job = job_of(data)
    plan = solve(job, workers=1, explain=False).plan
    values = values_of(plan)
    if tuple(values[goal] for goal in GOAL_ORDER) != best.goals or plan.status != "optimal":
        yield f"the search has {plan.status} {tuple(values.values())}, brute force {best.goals}"
    for goal, bound in bounds(job, dict(zip(GOAL_ORDER, best.goals, strict=True))):
        value = best.goals[GOAL_ORDER.index(goal)]
        if bound is None or bound > value:
            yield f"{goal} is {value}, and the rows say {bound} at least"
        met[goal, bound == value] += 1


def resolved(job: Job) -> dict[str, Any]:
    """Give a job as the oracle reads it."""
    data = job.plain()
    data["rules"] = {
        name: {"level": rule["level"], "weight": rule["weight"], **rule["parameters"]}
        for name, rule in data["rules"].items()
        if name in oracle.RULES
    }
    return data


def middle(job: Job, limit_s: float) -> Iterator[str]:
    """Compare seeds, workers and starts on a middle-sized job, and let a local search try to beat them."""
    journal = Journal(job, limit_s)
    annealing.solve(journal)
    start = None
    if journal.best is not None:
        start = measure(job, journal.best, status="feasible", stopped="gap", bounds={}, solver=NOBODY)
    runs: dict[str, dict[str, Any]] = {
        "seed 1": {"workers": 2},
        "seed 2": {"workers": 2, "seed": 2},
        "one worker": {"workers": 1},
        "from local search": {"workers": 2, "start": start},
    }
    optimal: dict[str, tuple[int, ...]] = {}
    for name, options in runs.items():
        plan = solve(job, time_limit_s=limit_s, explain=False, **options).plan
        judged = oracle.judge(oracle.Facts(resolved(job)), oracle.decision_of_plan(plan.plain()))
        vector = tuple(plan.value(goal) for goal in GOAL_ORDER)
        if not judged.feasible or judged.goals != vector:
            yield f"{name}: the plan says {vector}, the oracle {judged.goals}, feasible {judged.feasible}"
        if plan.status == "optimal":
            optimal[name] = vector
            if journal.best is not None and journal.vector < vector:
                yield f"{name}: optimal {vector} is beaten by local search with {journal.vector}"
    if len(set(optimal.values())) > 1:
        yield f"optimal plans differ: {optimal}"


def main() -> int:
    """Run the voices and tell what does not agree."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--tiny", type=int, default=0, metavar="N")
    parser.add_argument("--first", type=int, default=0, metavar="SEED")
    parser.add_argument("--mixes", type=int, metavar="SEED")
    parser.add_argument("--number", type=int, default=20)
    parser.add_argument("--limit", type=float, default=20.0, help="seconds for one run on a middle-sized job")
    asked = parser.parse_args()
    met: Counter[tuple[GoalName, bool]] = Counter()
    wrong = ran = 0
    for i, seed in enumerate(range(asked.first, asked.first + asked.tiny)):
        ran += 1
        kind = list(KINDS)[i % len(KINDS)]
        for words in tiny(seed, met, kind):
            wrong += 1
            print(f"tiny {seed}, {kind}: {words}", flush=True)
    for name in names_of(asked.mixes, asked.number) if asked.mixes is not None else ():
        ran += 1
        for words in middle(load_job(named(name)), asked.limit):
            wrong += 1
            print(f"{name}: {words}", flush=True)
    print(f"{ran} jobs, {wrong} disagreements")
    for goal in GOAL_ORDER:
        if met[goal, True] + met[goal, False]:
            print(f"{goal}: rows meet the optimum in {met[goal, True]} of {met[goal, True] + met[goal, False]}")
    return int(wrong > 0)


if __name__ == "__main__":
    raise SystemExit(main())
