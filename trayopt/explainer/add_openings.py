"""Ways out that open ports and guides wider: another seal, a larger bore, a wider guide."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import ceil, floor, pi, sqrt
from typing import Any

from trayopt.domain.base import EPSILON, ceil_to, remade
from trayopt.domain.hardware import Port, Seal
from trayopt.domain.job import Job
from trayopt.explainer.amounts import growing, least
from trayopt.explainer.changes import Added, Change, cost_of
from trayopt.explainer.trying import Trying
from trayopt.rules.guide_fill import GuideFill
from trayopt.solver.conflict.minimal import corrections
from trayopt.track.laid import Laid

GUIDE_STEP_MM2 = 100
"""The step by which a guide is widened."""
SEAL_SLACK_MM = 2
"""How much thinner than the thinnest of its cables a cable may be that the seal takes."""


def seals(on: Trying) -> Iterator[Change]:
    """Yield changes that give a port one more seal, for as few cables as are enough, or a larger bore if that is too small."""
    for i in range(len(on.job.enclosure.ports)):
        found = _another_seal(on, i) or _larger_port(on, i)
        if found is not None:
            yield found


def _another_seal(on: Trying, i: int) -> Change | None:
    port = on.job.enclosure.ports[i]
    thin = [d for d in _diameters(on) if d <= port.bore_mm]
    if not thin:
        return None
    all_thin = Seal(holes=1, least_mm=float(floor(min(thin))), most_mm=float(max(thin)))

    def make(holes: int) -> Job:
        return _port(on, i, remade(all_thin, holes=holes))

    holes = growing(on.enough(make), len(thin))
    if holes is None:
        return None
    seal = _seal_for(on, _entering(on, make(holes), port) or thin, holes)
    job = _port(on, i, seal) if seal.most_mm <= port.bore_mm else make(holes)
    if on.is_unsound(job) or not on.prover.possible(job):
        return None
    return Change(job, on.costs.seal, add=(Added("seal_holes", port.id, holes),))


def _larger_port(on: Trying, i: int) -> Change | None:
    port, thick = on.job.enclosure.ports[i], sorted(_diameters(on), reverse=True)

    def make(holes: int) -> Job:
        return _port(on, i, _seal_for(on, thick, holes), _bore_for(thick[:holes]))

    holes = growing(on.enough(make), len(thick))
    entering = [] if holes is None else _entering(on, make(holes), port)
    bore_mm = _bore_for(entering)
    if bore_mm <= port.bore_mm:
        return None
    for seal in (None, _seal_for(on, entering, len(entering))):
        job = _port(on, i, seal, bore_mm)
        if not on.is_unsound(job) and on.prover.possible(job):
            return Change(job, on.costs.port, add=(Added("bore_mm", port.id, bore_mm),))
    return None


def _diameters(on: Trying) -> list[float]:
    return [trunk.cable.diameter_mm for trunk in on.spliced()]


def _entering(on: Trying, job: Job, port: Port) -> list[float]:
    """Return the diameters of the trunks that enter at a port in the plan of a changed job."""
    plan = on.prover.assignment(job)
    ways = {} if plan is None else plan.ways
    return [t.cable.diameter_mm for t in on.spliced() if t.id in ways and ways[t.id].port == port.id]


def _seal_for(on: Trying, diameters_mm: Sequence[float], holes: int) -> Seal:
    """Return a seal that takes cables of these diameters, and some that are a little thinner."""
    least_mm = max(0.0, float(floor(min(diameters_mm))) - SEAL_SLACK_MM)
    return Seal(holes=holes, least_mm=least_mm, most_mm=float(ceil(max(diameters_mm))))


def _port(on: Trying, i: int, seal: Seal | None, bore_mm: float = 0) -> Job:
    """Return the job with a further seal at a port, and with a bore of at least this width."""
    port = on.job.enclosure.ports[i]
    seals = port.seals if seal is None else (*port.seals, seal)
    changed = remade(port, seals=seals, bore_mm=max(port.bore_mm, bore_mm))
    return on.with_box(ports=_put(on.job.enclosure.ports, i, changed))


def guides(on: Trying) -> Iterator[Change]:
    """Widen the fewest guides that are enough, each by as little as is."""
    groups = on.trials.question.by_rule.get(GuideFill.id, frozenset())
    dropped = corrections(on.trials, [], 1, lambda group: cost_of(group, on.costs), groups)
    plan = on.trials.plan(frozenset(on.trials.question.groups) - dropped[0]) if dropped else None
    if plan is None:
        return
    fill = GuideFill().parameters(on.job).fill
    laid, guides = Laid(on.job, plan.assignment), on.job.enclosure.track.guides
    wide: dict[int, int] = {}
    for i, guide in enumerate(guides):
        area = sum(times * pi * item.diameter_mm**2 / 4 for item, times in laid.passes(guide.id))
        if area > fill * guide.opening_mm2:
            wide[i] = ceil_to(ceil(area / fill), GUIDE_STEP_MM2)
    for i in list(wide):
        now = guides[i].opening_mm2

        def make(steps: int, i: int = i, now: float = now) -> Job:
            return _opened(on, {**wide, i: floor(now) + steps * GUIDE_STEP_MM2})

        steps = least(-1, ceil((wide[i] - now) / GUIDE_STEP_MM2), on.enough(make), steps=6)
        if steps == 0:
            del wide[i]
        elif steps is not None:
            wide[i] = floor(now) + steps * GUIDE_STEP_MM2
    job = _opened(on, wide)
    if wide and on.prover.possible(job):
        added = tuple(Added("opening_mm2", guides[i].id, size) for i, size in wide.items())
        yield Change(job, on.costs.guide * len(wide), add=added)


def _opened(on: Trying, wide: dict[int, int]) -> Job:
    track = on.job.enclosure.track
    guides = tuple(
        remade(guide, opening_mm2=float(wide[i])) if i in wide else guide for i, guide in enumerate(track.guides)
    )
    return on.with_box(track=remade(track, guides=guides))


def _bore_for(diameters_mm: Sequence[float]) -> float:
    """Return the least bore, in whole mm, that these cables pass together, the two thickest of them side by side."""
    side_by_side = sum(sorted(diameters_mm)[-2:])
    return float(ceil(max(side_by_side, sqrt(sum(diameter**2 for diameter in diameters_mm))) - EPSILON))


def _put(items: Sequence[Any], i: int, item: Any) -> tuple[Any, ...]:
    return (*items[:i], item, *items[i + 1 :])
