"""guide_fill: what passes a guide fills no more than a part of its opening."""

from __future__ import annotations

from collections.abc import Iterator
from math import floor, gcd, pi
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from trayopt.domain.assignment import Way
from trayopt.domain.base import EPSILON, Frozen
from trayopt.domain.cablework import Leg
from trayopt.domain.job import Job, Trunk
from trayopt.rules.base import Breach, Post, Rule
from trayopt.rules.words import percent, several
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.rules.variables import Expression, Literal, Variables


class GuideFillParameters(Frozen):
    """``fill`` is the part of a guide's opening that may be filled."""

    fill: Annotated[float, Field(gt=0, le=1, allow_inf_nan=False)] = 0.5


class GuideFill(Rule[GuideFillParameters]):
    """Broken when the cross-sections of all passes of a guide are above ``fill`` × ``opening_mm2``."""

    id = "guide_fill"
    kind = "physical"
    subject = "guide"
    statement = "passes × cross-section of what passes are more than the fill of the guide's opening"
    why = "Tubes that are pressed into a full guide kink, and none can be drawn back out by itself."
    source = "50 % as a limit for trays and guides: from memory, TIA-569"
    Parameters = GuideFillParameters

    def check(self, job: Job, laid: Laid) -> Iterator[Breach]:
        """Add up the cross-sections of everything that passes each guide."""
        fill = self.parameters(job).fill
        for guide in job.enclosure.track.guides:
            passing = laid.passes(guide.id)
            area = sum(times * pi * item.diameter_mm**2 / 4 for item, times in passing)
            if area > fill * guide.opening_mm2 + EPSILON:
                times = sum(times for _, times in passing)
                yield Breach(
                    guide.id,
                    f"{several(times, 'pass', 'passes')} fill {area:,.2f} mm² of {guide.id}; its opening of "
                    f"{guide.opening_mm2:,.6g} mm² takes {fill * guide.opening_mm2:,.2f} mm² at {percent(fill)}",
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Bound Σ passes × diameter² of every guide that can be overfull at all, in whole units of area.

        π/4 is on both sides. Diameters enter as whole 10⁻⁶ mm², so that the solver counts what the plain sum counts.
        """
        fill = self.parameters(job).fill
        areas = {trunk.id: _Areas(job, x, trunk) for trunk in job.trunks if x.ways(trunk)}
        unit = gcd(*(area for item in areas.values() for area in item.all)) or 1
        for guide in job.enclosure.track.guides:
            limit = floor(fill * guide.opening_mm2 * 4 / pi * 1e6 + 1e-3) // unit
            worst = {
                trunk.id: max((way.loops + 1 for way in x.ways(trunk)), default=0) * areas[trunk.id].most // unit
                for trunk in job.trunks
                if trunk.id in areas
            }
            if sum(worst.values()) <= limit:
                continue
            passing = []
            for trunk in job.trunks:
                if not worst.get(trunk.id):
                    continue
                area = areas[trunk.id]
                number = x.number(worst[trunk.id], f"{trunk.id} through {guide.id}")
                passing.append(number)
                for way in x.ways(trunk):
                    direct = [area.through(way, stack.id, guide.id, unit) for stack in job.enclosure.stacks]
                    x.require(number >= way.loops * area.whole(unit) + sum(direct), x.goes(trunk, way))
            post(sum(passing) <= limit, guide.id)

    def say(self, job: Job, subject: str) -> str:
        """Say how much a guide takes."""
        fill = self.parameters(job).fill
        guide = next(guide for guide in job.enclosure.track.guides if guide.id == subject)
        own = sum(pi * subunit.diameter_mm**2 / 4 for subunit in job.subunits)
        return (
            f"{subject}: {percent(fill)} of its opening of {guide.opening_mm2:,.6g} mm² are "
            f"{fill * guide.opening_mm2:,.0f} mm²; the trunks' own tubes together have {own:,.0f} mm², once a loop"
        )


class _Areas:
    """Cross-sections of what travels for a trunk, as whole 10⁻⁶ mm² of diameter², placed and coiled."""

    def __init__(self, job: Job, x: Variables, trunk: Trunk) -> None:
        self.x, self.trunk, self.job = x, trunk, job
        self.own = {s.number: _square(s.diameter_mm) for s in trunk.subunits}
        self.leg: dict[tuple[int, int], int] = {}
        self._numbers: dict[str, Expression] = {}
        for subunit in trunk.subunits:
            for of in x.divisions(subunit):
                tube = x.routes.traveller(trunk, subunit, of)
                if tube is not None and not tube.own:
                    self.leg[subunit.number, of] = _square(tube.diameter_mm)
        travel_own = [
            self.own[s.number]
            for s in trunk.subunits
            if not x.all_placed or not all((s.number, of) in self.leg for of in x.divisions(s)) or not x.divisions(s)
        ]
        self.all = [*travel_own, *self.leg.values()]
        self.most = sum(
            max([self.own[s.number], *(of * area for (number, of), area in self.leg.items() if number == s.number)])
            for s in trunk.subunits
        )

    def whole(self, unit: int) -> Expression:
        """Area of all that is in the box of this trunk: what loops carry once a loop."""
        x, parts = self.x, []
        coiled = self.trunk.idle == "coiled"
        for subunit in self.trunk.subunits:
            own = self.own[subunit.number] // unit
            if not x.divisions(subunit):
                parts.append(own * coiled)
                continue
            legs_own: list[Leg] = []
            by_leg: list[tuple[int, Literal]] = []
            for of in x.divisions(subunit):
                legs = x.legs(subunit, of)
                area = self.leg.get((subunit.number, of))
                if area is None:
                    legs_own += legs
                elif coiled:
                    by_leg.append((of * area // unit, x.any_of(*(x.placed(leg) for leg in legs))))
                else:
                    by_leg += [(area // unit, x.placed(leg)) for leg in legs]
            parts += [area * literal for area, literal in by_leg]
            if coiled:
                divided = x.any_of(*(literal for _, literal in by_leg))
                parts.append(own * (1 - divided))
            elif legs_own:
                parts.append(own * x.any_of(*(x.placed(leg) for leg in legs_own)))
        return sum(parts)

    def through(self, way: Way, stack: str, guide: str, unit: int) -> Expression:
        """Area of what goes to a stack and passes a guide on its direct way."""
        x = self.x
        ends = [end.id for end in self.job.enclosure.stack_by_id[stack].ends]
        passing = [end for end in ends if guide in x.routes.direct(way, stack, end)]
        if not passing:
            return 0
        area = self._on(stack, unit)
        if len(passing) == len(ends):
            return area
        number = x.number(self.most // unit, f"{self.trunk.id} to {stack} through {guide}")
        for end in passing:
            x.require(number >= area, x.end(stack, end))
        return number

    def _on(self, stack: str, unit: int) -> Expression:
        """Area of what goes to a stack, as one number: many guides and ways ask for it."""
        if stack not in self._numbers:
            area = self._sum_on(stack, unit)
            number = self.x.number(self.most // unit, f"{self.trunk.id} to {stack}")
            self.x.require(number == area)
            self._numbers[stack] = number
        return self._numbers[stack]

    def _sum_on(self, stack: str, unit: int) -> Expression:
        x, parts = self.x, []
        for subunit in self.trunk.subunits:
            legs_own = []
            for of in x.divisions(subunit):
                area = self.leg.get((subunit.number, of))
                for leg in x.legs(subunit, of):
                    if area is None:
                        legs_own.append(leg)
                    else:
                        parts.append(area // unit * x.on(leg, stack))
            if legs_own:
                on = x.any_of(*(x.on(leg, stack) for leg in legs_own))
                parts.append(self.own[subunit.number] // unit * on)
        return sum(parts)


def _square(diameter_mm: float) -> int:
    return round(diameter_mm * diameter_mm * 1e6)
