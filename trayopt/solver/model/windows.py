"""The window of a trunk that goes through, as numbers of a model: what its cut tubes ask for, and the loops that follow.

Both numbers are bounds from below that a plan can meet: whatever bounds them from above holds of the plan's own.
"""

from __future__ import annotations

from typing import NamedTuple

from trayopt.domain.cablework import Subunit
from trayopt.domain.through import Through
from trayopt.domain.trunk import Trunk
from trayopt.rules.variables import Expression, Variables
from trayopt.track.lengths import CUT_STEP_MM, Lengths, lengths_of
from trayopt.track.window import capped_mm, extents_mm, loops_between, passages


class WindowNumbers(NamedTuple):
    """Loops of the tubes that are not cut, and the length in whole steps of ``CUT_STEP_MM``."""

    loops: Expression
    steps: Expression


def window_numbers(model: Variables, through: Through) -> WindowNumbers:
    """Make the numbers of one window."""
    job = model.job
    lengths = lengths_of(job)
    ends = [job.trunk_by_id[end] for end in through.ends]
    most = [max((m for _, m in extents_mm(job, end, lengths).values()), default=0) // CUT_STEP_MM for end in ends]
    parts = [
        [_part(model, end, unit, lengths, top) for end, unit, top in zip(ends, tube, most, strict=True)]
        for tube in zip(*(end.subunits for end in ends), strict=True)
    ]
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


def _part(model: Variables, trunk: Trunk, unit: Subunit, lengths: Lengths, most: int) -> Expression:
    """Give the steps that one end takes of a cut tube: its longest leg, or what is capped and stored."""
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
