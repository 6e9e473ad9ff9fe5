"""Every law on random tiny jobs; on standard jobs all at once, and then what the best plan has is asked for."""

from __future__ import annotations

import copy
import random
from collections.abc import Callable
from functools import cache, partial
from pathlib import Path

import pytest

from tests.build import Json, job_of
from tests.laws.exact import COMPOSABLE, EXACT
from tests.laws.from_plan import FROM_PLAN, AsPlanned, built_as_planned, kept_preferences_at_must
from tests.laws.law import Change, Goals, Law, best, first_of, goals_of, plain, read
from tests.laws.relaxed import NEVER_WORSE
from tests.laws.same import SAME
from tests.solver.tiny import drawn
from tests.test_oracle import opened_job
from trayopt import load_job
from trayopt.api import solve
from trayopt.domain.plan import Plan

STANDARD = Path(__file__).parents[2] / "models" / "standard"
MOST_FIBRES = 1728
LATE = {
    "2x432-subunits-108-against-144", "2x576-ribbons-of-8-decided-wall-2x6", "2x576-subunits-96-against-144",
    "2x864-shuffled-halves-port",
    "2x864-subunits-108-against-144-port", "864-to-432-288-144-wall-3x8", "no-2x864-16-against-12-sleeves-wall-2x6",
    "three-awkward-trunks-wall-2x9-144", "unmet-pins-2x288-wall-2x6",
}  # fmt: skip
"""Standard jobs that take more than a second or so of one core, and with some changes much more."""

Tiny = tuple[str, int]
KINDS: dict[str, dict[str, float]] = {
    "drawn": {}, "through": {"through": 1.0}, "mixed": {"mixed": 0.8}, "ribbons": {"ribbon_work": 0.7},
}  # fmt: skip
"""What tiny jobs are drawn with."""
JOBS: list[Tiny] = [
    *(("drawn", seed) for seed in range(4)), *(("opened", seed) for seed in range(9, 11)),
    *((kind, 0) for kind in ("through", "mixed", "ribbons")),
]  # fmt: skip
OTHERS: list[Tiny] = [
    *(("drawn", seed) for seed in range(4, 9)), *(("opened", seed) for seed in range(11, 13)),
    *((kind, 1) for kind in ("through", "mixed", "ribbons")),
]  # fmt: skip
"""Jobs for laws that change fewer than two of the first ones."""
MORE: list[Tiny] = [*OTHERS, *((kind, seed) for seed in range(100, 130) for kind in (*KINDS, "opened"))]


def of(job: Tiny) -> Json:
    """Give a tiny job as canonical plain data."""
    kind, seed = job
    return plain(job_of(opened_job(seed) if kind == "opened" else drawn(seed, **KINDS[kind])))


@cache
def tiny(job: Tiny) -> Plan:
    """Give the best plan of a tiny job, for which many laws ask."""
    return best(of(job))


def hold(law: Law, job: Tiny) -> bool:
    """Hold a law on a tiny job; False where it changes nothing in it."""
    rng = random.Random(f"{law.name} {job}")
    first = of(job)
    ready = law.ready(copy.deepcopy(first), rng)
    changed = law.change(copy.deepcopy(ready), rng)
    if changed is None:
        return False
    before = goals_of(tiny(job) if ready == first and law.order is None else best(ready, law.order))
    after = goals_of(best(changed, law.order))
    assert first_of(after, law.order, law.upto) == first_of(law.moved(before), law.order, law.upto), job
    return True


def hold_never_worse(change: Change, job: Tiny) -> bool:
    """Hold on a tiny job that a change makes no best plan worse; False where it changes nothing."""
    changed = change(of(job), random.Random(f"{change.__name__} {job}"))
    if changed is None:
        return False
    assert tuple(goals_of(best(changed)).values()) <= tuple(goals_of(tiny(job)).values()), job
    return True


def hold_as_planned(change: AsPlanned, job: Tiny) -> bool:
    """Hold on a tiny job that its best plan may be asked for; False where it may not."""
    changed = change(of(job), tiny(job))
    if changed is None:
        return False
    data, goals = changed
    assert goals_of(best(data)) == goals, job
    return True


def hold_in_two(holds: Callable[[Tiny], bool]) -> None:
    """Hold a law on all jobs of the usual run, and on others until it has changed two."""
    held = sum([holds(job) for job in JOBS])
    for job in OTHERS:
        if held < 2:
            held += holds(job)
    assert held >= 2


@pytest.mark.parametrize("law", [*SAME, *EXACT], ids=lambda law: law.name)
def test_goals_move_exactly(law: Law) -> None:
    hold_in_two(partial(hold, law))


@pytest.mark.parametrize("change", NEVER_WORSE, ids=lambda change: change.__name__)
def test_what_takes_nothing_away_makes_nothing_worse(change: Change) -> None:
    hold_in_two(partial(hold_never_worse, change))


@pytest.mark.parametrize("change", FROM_PLAN, ids=lambda change: change.__name__)
def test_the_best_plan_may_be_asked_for(change: AsPlanned) -> None:
    hold_in_two(partial(hold_as_planned, change))


def test_a_second_end_of_a_stack_that_no_count_asked_for_changes_nothing() -> None:
    """Ways and ends are read out of counts of closed patterns, in which the end of the only stack costs nothing."""
    hold(next(law for law in SAME if law.name == "end_twice"), ("opened", 126))


@pytest.mark.slow
@pytest.mark.parametrize("job", MORE, ids=str)
def test_every_law_on_more_tiny_jobs(job: Tiny) -> None:
    for law in (*SAME, *EXACT):
        hold(law, job)
    for change in NEVER_WORSE:
        hold_never_worse(change, job)
    for asked in FROM_PLAN:
        hold_as_planned(asked, job)


def standard_jobs() -> list[str]:
    """Name the standard jobs that are proven soon."""
    jobs = {path.stem: load_job(path) for path in sorted(STANDARD.glob("*.yaml")) if path.stem not in LATE}
    return [name for name, job in jobs.items() if max(trunk.cable.fibres for trunk in job.trunks) <= MOST_FIBRES]


def changed_at_once(data: Json, goals: Goals, rng: random.Random) -> tuple[Json, Goals]:
    """Change a job by every law that needs no job made ready, one upon another; give what becomes of its goals too."""
    for law in (*SAME, *COMPOSABLE):
        changed = law.change(copy.deepcopy(data), rng)
        if changed is not None:
            data, goals = changed, law.moved(goals)
    return data, goals


LONG = {"no-2x864-guide-fill-wall-2x6"}
"""Jobs whose changed forms take minutes to prove."""


@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=[pytest.mark.slow] * (i % 6 > 0 or name in LONG))
        for i, name in enumerate(standard_jobs())
    ],
)
def test_standard_job(name: str) -> None:
    data = plain(load_job(STANDARD / f"{name}.yaml"))
    changed, goals = changed_at_once(data, goals_of(best(data)), random.Random(name))
    plan = best(changed)
    assert goals_of(plan) == goals
    asked, same = kept_preferences_at_must(changed, plan)
    assert same == goals
    built, goals = built_as_planned(asked, plan)
    assert goals_of(best(built)) == goals


HELD = 8
"""Standard jobs on which each law is held by itself."""
LIMIT_S = 15
"""Limit for each of them, in seconds."""


def hold_on_standard(law: Law, name: str) -> bool | None:
    """Hold a law on a standard job; False where it changes nothing, None where a job is not proven in time."""
    rng = random.Random(f"{law.name} {name}")
    ready = law.ready(plain(load_job(STANDARD / f"{name}.yaml")), rng)
    changed = law.change(copy.deepcopy(ready), rng)
    if changed is None:
        return False
    found = []
    for data in (ready, changed):
        plan = solve(read(data), workers=1, explain=False, goals=law.order, time_limit_s=LIMIT_S).plan
        if plan.status != "optimal":
            return None
        found.append(goals_of(plan))
    before, after = found
    assert first_of(after, law.order, law.upto) == first_of(law.moved(before), law.order, law.upto), name
    return True


@pytest.mark.slow
@pytest.mark.parametrize("law", [*SAME, *EXACT], ids=lambda law: law.name)
def test_each_law_on_standard_jobs(law: Law) -> None:
    """Jobs that were made ready for a law may be hard ones: then another job is drawn, and most of them have to be proven."""
    names = standard_jobs()
    random.Random(law.name).shuffle(names)
    held, left_open = 0, []
    for name in names:
        found = hold_on_standard(law, name)
        held += bool(found)
        left_open += [name] if found is None else []
        if held == HELD:
            break
    assert held > len(left_open), left_open
