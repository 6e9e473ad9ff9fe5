"""A way out: more of the cable of trunks that go through, to be drawn into the box."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import ceil

from trayopt.domain.base import ceil_to, remade
from trayopt.domain.job import Job
from trayopt.explainer.amounts import least
from trayopt.explainer.changes import Added, Change
from trayopt.explainer.trying import Trying
from trayopt.track.laid import Laid
from trayopt.track.lengths import CUT_STEP_MM


def slack(on: Trying) -> Iterator[Change]:
    """Let longer windows be opened, each no longer than is enough."""
    job, prover = on.job, on.prover
    short = [item for item in job.through if item.slack_mm is not None]
    plan = prover.assignment(_with(job, dict.fromkeys((item.trunk for item in short), None))) if short else None
    if plan is None:
        return
    needed = {window.through.trunk: window.length_mm for window in Laid(job, plan).windows}
    now = {item.trunk: item.slack_mm or 0 for item in short}
    chosen = {trunk: needed[trunk] for trunk in now if needed.get(trunk, 0) > now[trunk]}
    over = tuple(chosen)
    for trunk in over:

        def make(steps: int, trunk: str = trunk) -> Job:
            return _with(job, {**chosen, trunk: now[trunk] + steps * CUT_STEP_MM})

        steps = least(0, ceil((chosen[trunk] - now[trunk]) / CUT_STEP_MM), on.enough(make))
        if steps is not None:
            chosen[trunk] = ceil_to(now[trunk] + steps * CUT_STEP_MM, CUT_STEP_MM)
    changed = _with(job, chosen)
    if over and prover.possible(changed):
        added = tuple(Added("slack_mm", trunk, chosen[trunk]) for trunk in over)
        yield Change(changed, on.costs.exposed * len(over), add=added)


def _with(job: Job, slack: Mapping[str, int | None]) -> Job:
    through = (remade(i, slack_mm=slack[i.trunk]) if i.trunk in slack else i for i in job.through)
    return remade(job, through=tuple(through))
