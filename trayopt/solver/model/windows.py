"""The window of a trunk that goes through, as numbers of a model: what its cut tubes ask for, and the loops that follow.

Both numbers are bounds from below that a plan can meet: whatever bounds them from above holds of the plan's own. A model that
knows nothing of legs has what the ways of the two ends ask for at least.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, Protocol

from trayopt.domain.cablework import Subunit
from trayopt.domain.job import Job
from trayopt.domain.through import Through
from trayopt.domain.trunk import Trunk
from trayopt.rules.variables import Expression, Terms, TrunkWays, Variables
from trayopt.track.lengths import CUT_STEP_MM, Lengths, lengths_of
from trayopt.track.window import capped_mm, extents_mm, loops_between, passages, together_mm


class WindowNumbers(NamedTuple):
    """Loops of the tubes that are not cut, and the length in whole steps of ``CUT_STEP_MM``."""

    loops: Expression
    steps: Expression


class SaysWays(TrunkWays, Terms, Protocol):
    """What a model says that knows the ways of trunks."""

    all_placed: bool


Parts = Sequence[tuple[Expression, Expression]]
"""Steps that the two ends of a tube take together."""


def window_numbers(model: Variables, through: Through) -> WindowNumbers:
    """Make the numbers of one window out of the legs of each cut tube."""
    lengths, ends = lengths_of(model.job), _ends(model.job, through)
    most = [_most_steps(model.job, end) for end in ends]
    parts = [
        (_part(model, ends[0], one, lengths, most[0]), _part(model, ends[1], other, lengths, most[1]))
        for one, other in zip(*(end.subunits for end in ends), strict=True)
    ]
    return _numbers(model, through, parts)


def least_window_numbers(model: SaysWays, through: Through) -> WindowNumbers:
    """Make the numbers of one window out of what the ways of its ends ask for at least."""
    one, other = (_least_part(model, end) for end in _ends(model.job, through))
    parts = [(one, other)]
    if model.all_placed:
        parts.append((_least_together(model, through), 0))
    return _numbers(model, through, parts)


def _least_together(model: SaysWays, through: Through) -> Expression:
    """Return the steps that both ends of a cut tube take together at least where every splice is placed, by their ways."""
    one, other = _ends(model.job, through)
    steps = model.number(
        _most_steps(model.job, one) + _most_steps(model.job, other), f"least steps of both ends of {through}"
    )
    for (a, b), least in together_mm(model.job, through, lengths_of(model.job)).items():
        if a in model.ways(one) and b in model.ways(other):
            model.require(steps >= least // CUT_STEP_MM, model.goes(one, a), model.goes(other, b))
    return steps


def _ends(job: Job, through: Through) -> list[Trunk]:
    return [job.trunk_by_id[end] for end in through.ends]


def _most_steps(job: Job, end: Trunk) -> int:
    return max((m for _, m in extents_mm(job, end, lengths_of(job)).values()), default=0) // CUT_STEP_MM


def _numbers(model: SaysWays, through: Through, parts: Parts) -> WindowNumbers:
    job = model.job
    lengths, ends = lengths_of(job), _ends(job, through)
    most = [_most_steps(job, end) for end in ends]
    if not ends[0].uncut:
        steps = model.number(sum(most), f"window of {through}")
        for one, other in parts:
            model.require(one + other <= steps)
        return WindowNumbers(0, steps)
    fewest, top = loops_between(job, through, lengths)
    loops = model.number(top, f"uncut loops of {through}")
    model.require(loops >= fewest * model.in_box(ends[0]))
    ways = passages(job, through, lengths)
    longest = max((passage.length_mm(top) for _, _, passage in ways), default=0) // CUT_STEP_MM
    steps = model.number(longest, f"window of {through}")
    for way, port, passage in ways:
        goes = (model.enters(ends[0], way.port), model.travels(ends[0], way.travel), model.enters(ends[1], port))
        exact = passage.exact_mm(0) + passage.a_loop_mm * loops
        for one, other in parts:
            model.require(CUT_STEP_MM * (one + other) - (CUT_STEP_MM - 1) <= exact, *goes)
        model.require(exact <= CUT_STEP_MM * steps, *goes)
    return WindowNumbers(loops, steps)


def _least_part(model: SaysWays, trunk: Trunk) -> Expression:
    """Return the steps that one end takes of a cut tube at least, by the way that it goes."""
    extents = extents_mm(model.job, trunk, lengths_of(model.job))
    steps = model.number(_most_steps(model.job, trunk), f"least steps of {trunk.id}")
    for way in model.ways(trunk):
        model.require(steps >= extents[way][0] // CUT_STEP_MM, model.goes(trunk, way))
    return steps


def _part(model: Variables, trunk: Trunk, unit: Subunit, lengths: Lengths, most: int) -> Expression:
    """Return the steps that one end takes of a cut tube: its longest leg, or what is capped and stored."""
    job, routes = model.job, model.routes
    steps = model.number(most, f"steps of {unit.name}")
    legs = [leg for of in model.divisions(unit) for leg in model.legs(unit, of)]
    placed = model.any_of(*(model.placed(leg) for leg in legs))
    for way in model.ways(trunk):
        goes = model.goes(trunk, way)
        model.require(steps >= capped_mm(job, trunk.id, way, lengths) // CUT_STEP_MM, goes, model.no(placed))
        for place in job.enclosure.places if legs else ():
            here = model.any_of(*(model.at(leg, place) for leg in legs))
            for end in job.enclosure.stack_by_id[place.stack].ends:
                cut = lengths.cut_mm(trunk.transition_mm, routes.route_mm(way, place, end.id), way.loops)
                model.require(steps >= cut // CUT_STEP_MM, goes, model.end(place.stack, end.id), here)
    return steps
