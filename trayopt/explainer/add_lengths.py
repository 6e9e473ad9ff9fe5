"""Ways out that add length: the bench nearer, a loop more, more of a trunk exposed."""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil
from typing import Any

from trayopt.domain.base import ceil_to, remade
from trayopt.domain.job import Job
from trayopt.domain.trunk import Trunk
from trayopt.explainer.amounts import least
from trayopt.explainer.changes import Added, Change
from trayopt.explainer.trying import Trying
from trayopt.rules.exposed import Exposed
from trayopt.rules.reach import Reach
from trayopt.rules.slack_loops import SlackLoops
from trayopt.track.laid import Laid
from trayopt.track.lengths import CUT_STEP_MM

BENCH_STEP_MM = 50
"""The step in mm by which the bench is brought nearer."""


def bench(on: Trying) -> Iterator[Change]:
    """Bring the bench nearer."""
    now = Reach().parameters(on.job).bench_mm

    def make(nearer: int) -> Job:
        setting = on.job.rules[Reach.id]
        parameters = {**setting.parameters, "bench_mm": max(0, now - nearer * BENCH_STEP_MM)}
        return remade(on.job, rules={**on.job.rules, Reach.id: remade(setting, parameters=parameters)})

    steps = least(0, ceil(now / BENCH_STEP_MM), on.enough(make))
    if steps is not None:
        bench = max(0, now - steps * BENCH_STEP_MM)
        yield Change(make(steps), on.costs.bench, add=(Added("bench_mm", Reach.id, bench),))


def loops(on: Trying) -> Iterator[Change]:
    """Yield changes that allow one more loop: to each trunk for which that is enough, else to all trunks."""
    most = SlackLoops().parameters(on.job).most
    able = [trunk for trunk in on.spliced() if max(trunk.loops) < most]

    def loops(trunk: Trunk) -> dict[str, Any]:
        return {"loops": (*trunk.loops, max(trunk.loops) + 1)}

    yield from on.change_trunks(
        able, loops, lambda trunk: Added("loops", trunk.id, max(trunk.loops) + 1), on.costs.loops
    )


def exposed(on: Trying) -> Iterator[Change]:
    """Expose more of a trunk."""
    short = [trunk for trunk in on.spliced() if trunk.exposed_mm is not None]
    freed = on.with_trunks(short, lambda _: {"exposed_mm": None})
    plan = on.prover.assignment(freed) if short else None
    if plan is None:
        return
    lengths = Exposed().parameters(freed)
    laid = Laid(freed, plan)
    needed = {trunk.id: lengths.strip_of(laid, trunk.id) for trunk in short if trunk.id in laid.ways}
    over = [trunk for trunk in short if needed.get(trunk.id, 0) > (trunk.exposed_mm or 0)]
    chosen = {trunk.id: max(needed[trunk.id], trunk.exposed_mm or 0) for trunk in over}
    for trunk in over:
        now = trunk.exposed_mm or 0

        def make(steps: int, trunk: Trunk = trunk, now: int = now) -> Job:
            wanted = {**chosen, trunk.id: now + steps * CUT_STEP_MM}
            return on.with_trunks(over, lambda one: {"exposed_mm": wanted[one.id]})

        steps = least(0, ceil((chosen[trunk.id] - now) / CUT_STEP_MM), on.enough(make))
        if steps is not None:
            chosen[trunk.id] = ceil_to(now + steps * CUT_STEP_MM, CUT_STEP_MM)
    job = on.with_trunks(over, lambda one: {"exposed_mm": chosen[one.id]})
    if over and on.prover.possible(job):
        added = tuple(Added("exposed_mm", trunk.id, chosen[trunk.id]) for trunk in over)
        yield Change(job, on.costs.exposed * len(over), add=added)
