"""leg_length_mm: what is cut for all legs together."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from trayopt.domain.assignment import Way
from trayopt.domain.hardware import Stack
from trayopt.domain.job import Job
from trayopt.domain.trunk import Trunk
from trayopt.goals.base import Goal
from trayopt.rules.exposed import Exposed
from trayopt.track.laid import Laid
from trayopt.track.lengths import CUT_STEP_MM

if TYPE_CHECKING:
    from trayopt.rules.variables import Expression, Literal, Variables


class LegLength(Goal):
    """Sum of cut_mm of the placed legs."""

    id = "leg_length_mm"
    unit = "mm"
    statement = "sum of cut_mm of the placed legs"

    def measure(self, job: Job, laid: Laid) -> int:
        """Add up what is cut for the placed legs."""
        lengths = Exposed().parameters(job)
        return sum(lengths.cut_of(laid, item) for legs in laid.legs.values() for item in legs)

    def encode(self, job: Job, x: Variables) -> Expression:
        """Sum, for every trunk and stack, what its legs have in common and what each tray place adds, in steps of the cut."""
        parts = []
        for trunk in job.trunks:
            if not x.ways(trunk) or (isinstance(x.in_box(trunk), int) and not x.in_box(trunk)):
                continue
            parts += [_Steps(x, trunk, stack).sum() for stack in job.enclosure.stacks]
        return CUT_STEP_MM * sum(parts)


class _Steps:
    """Lengths to cut for the legs of a trunk on a stack, in whole steps of ``CUT_STEP_MM``.

    A leg's length is that of its way to an end of the stack, ``a`` steps and ``r`` mm, and that of its place, ``b`` steps less
    ``s`` mm. Rounded up it is a + b steps, and one more where r is above s.
    """

    def __init__(self, x: Variables, trunk: Trunk, stack: Stack) -> None:
        self.x, self.trunk, self.stack = x, trunk, stack
        self.most = x.most_trunk_legs(trunk)
        fixed = Exposed().parameters(x.job)
        self.ways = {
            (way, end.id): divmod(
                trunk.transition_mm
                + x.routes.plane_mm(way, stack.id, end.id)
                + fixed.resplice_mm
                + fixed.allowance_mm * (1 + way.loops),
                CUT_STEP_MM,
            )
            for way in x.ways(trunk)
            for end in stack.ends
        }

    def sum(self) -> Expression:
        """Add up the steps of all legs."""
        parts = [self._to_stack()]
        for place in self.x.job.enclosure.places:
            if place.stack == self.stack.id:
                adds = self.x.routes.rise_mm(place) + self.x.job.enclosure.tray_at(place).inside_mm
                legs = self.x.legs_at(self.trunk, place)
                steps = -(-adds // CUT_STEP_MM)
                parts += [steps * legs, self._over(CUT_STEP_MM * steps - adds, legs)]
        return sum(parts)

    def _to_stack(self) -> Expression:
        """Count the steps of the ways of all legs: their number is split over ways and ends, and only one of these is real."""
        x, stack = self.x, self.stack
        legs = x.legs_on(self.trunk, stack.id)
        steps = {key: a for key, (a, _) in self.ways.items()}
        least = min(steps.values())
        if len(set(steps.values())) == 1:
            return least * legs
        numbers = {key: x.number(self.most, f"{self.trunk.id} to {stack.id}") for key in steps}
        x.require(sum(numbers.values()) == legs)
        for way in x.ways(self.trunk):
            x.require(sum(numbers[way, end.id] for end in stack.ends) <= self.most * x.goes(self.trunk, way))
        for end in stack.ends:
            x.require(sum(numbers[way, end.id] for way in x.ways(self.trunk)) <= self.most * x.end(stack.id, end.id))
        return least * legs + sum((steps[key] - least) * number for key, number in numbers.items())

    def _over(self, spare: int, legs: Expression) -> Expression:
        """Count the steps that legs at a place take more, because their way is over whole steps by more than ``spare`` mm."""
        over = [key for key, (_, rest) in self.ways.items() if rest > spare]
        if len(over) == len(self.ways):
            return legs
        if not over:
            return 0
        number = self.x.number(self.most, f"{self.trunk.id} over")
        for goes in self._chosen(over):
            self.x.require(number >= legs, *goes)
        return number

    def _chosen(self, keys: Sequence[tuple[Way, str]]) -> list[tuple[Literal, ...]]:
        """Return literals that hold together for each of some ways to an end."""
        x = self.x
        return [
            (x.goes(self.trunk, way), x.end(self.stack.id, end)) for way in x.ways(self.trunk)
            for end in (item.id for item in self.stack.ends) if (way, end) in keys
        ]  # fmt: skip
