"""leg_length_mm: the way of all legs together."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trayopt.domain.hardware import Stack
from trayopt.domain.job import Job, Trunk
from trayopt.goals.base import Goal
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Expression, Variables


class LegLength(Goal):
    """Sum of route_mm of the placed legs."""

    id = "leg_length_mm"
    unit = "mm"
    statement = "sum of route_mm of the placed legs"

    def measure(self, job: Job, laid: Laid) -> int:
        """Add up the routes of the placed legs."""
        del job
        return sum(item.route_mm for legs in laid.legs.values() for item in legs)

    def encode(self, job: Job, x: Variables) -> Expression:
        """Sum, for every trunk, what its legs have in common (its way to each end) and what each tray place adds."""
        parts = []
        for trunk in job.trunks:
            if not x.ways(trunk) or (isinstance(x.in_box(trunk), int) and not x.in_box(trunk)):
                continue
            for place in job.enclosure.places:
                adds = x.routes.rise_mm(place) + job.enclosure.tray_at(place).inside_mm
                parts.append(adds * x.legs_at(trunk, place))
            for stack in job.enclosure.stacks:
                parts.append(_to_stack(x, trunk, stack))
        return sum(parts)


def _to_stack(x: Variables, trunk: Trunk, stack: Stack) -> Expression:
    """Length in the plane of all legs of a trunk to a stack: split their number over ways and ends, of which one is real."""
    legs = x.legs_on(trunk, stack.id)
    routes = {(way, end.id): x.routes.plane_mm(way, stack.id, end.id) for way in x.ways(trunk) for end in stack.ends}
    least = min(routes.values())
    if len(set(routes.values())) == 1:
        return least * legs
    most = x.most_trunk_legs(trunk)
    numbers = {key: x.number(most, f"{trunk.id} to {stack.id}") for key in routes}
    x.require(sum(numbers.values()) == legs)
    for way in x.ways(trunk):
        x.require(sum(numbers[way, end.id] for end in stack.ends) <= most * x.goes(trunk, way))
    for end in stack.ends:
        x.require(sum(numbers[way, end.id] for way in x.ways(trunk)) <= most * x.end(stack.id, end.id))
    return least * legs + sum((routes[key] - least) * number for key, number in numbers.items())
