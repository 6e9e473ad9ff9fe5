"""guide_fill: the tubes that pass a guide fill no more than a part of its opening."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import floor, gcd, pi
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from trayopt.domain.assignment import Way
from trayopt.domain.base import EPSILON, Frozen
from trayopt.domain.cablework import Subunit
from trayopt.domain.hardware import Guide
from trayopt.domain.job import Job
from trayopt.domain.said import said
from trayopt.domain.through import Through
from trayopt.domain.trunk import Trunk
from trayopt.rules.base import Breach, Post, Rule
from trayopt.rules.variables import CannotSay
from trayopt.rules.words import listed, percent, several
from trayopt.track.laid import Laid
from trayopt.track.lengths import lengths_of
from trayopt.track.window import loops_between, passages

if TYPE_CHECKING:
    from trayopt.rules.variables import Expression, Literal, Variables


AREA_UNITS = 1e6
"""Units of diameter² in a mm²."""


class GuideFillParameters(Frozen):
    """``fill`` is the part of a guide's opening that may be filled."""

    fill: Annotated[float, Field(gt=0, le=1, allow_inf_nan=False)] = 0.5


class GuideFill(Rule[GuideFillParameters]):
    """Broken when the cross-sections of all passes of a guide are above ``fill`` × ``opening_mm2``."""

    id = "guide_fill"
    kind = "physical"
    subject = "guide"
    statement = (
        "tubes that pass the guide, each as often as it passes, have more cross-section than its opening times `fill`"
    )
    why = "Tubes that are pressed into a full guide kink, and no single tube can be drawn out again."
    source = "NFPA 70 (2005), 392.9(B), as quoted: signal cables fill at most 50 % of a ladder tray; only a guideline for tubes"
    Parameters = GuideFillParameters
    blamed = 4
    helped_by = frozenset({"tubes", "divide_at", "guides", "box"})
    shows_all = True
    of_divisions = True

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
                    said(
                        "{passes} fill {area:,.2f} mm² of {guide}; its opening of {guide_opening_mm2:,.6g} mm² takes "
                        "{takes:,.2f} mm² at {fill}",
                        passes=several(times, "pass", "passes"),
                        area=area,
                        guide=guide.id,
                        guide_opening_mm2=guide.opening_mm2,
                        takes=fill * guide.opening_mm2,
                        fill=percent(fill),
                    ),
                )

    def encode(self, job: Job, x: Variables, post: Post) -> None:
        """Bound Σ passes × diameter² of every guide that can be overfull at all, in whole units of area.

        π/4 is on both sides. Diameters enter as whole 10⁻⁶ mm², so that the solver counts what the plain sum counts.
        """
        fill = self.parameters(job).fill
        areas = {trunk.id: _Areas(job, x, trunk) for trunk in job.trunks if x.ways(trunk)}
        uncut = [Uncut(job, x, item) for item in job.through if x.ways(job.trunk_by_id[item.ends[0]])]
        unit = gcd(*(area for item in areas.values() for area in item.all), *(item.area for item in uncut)) or 1
        for guide in job.enclosure.track.guides:
            limit = guide_units(guide, fill) // unit
            worst = {
                trunk.id: max((way.loops + 1 for way in x.ways(trunk)), default=0) * areas[trunk.id].most // unit
                for trunk in job.trunks
                if trunk.id in areas
            }
            if sum(worst.values()) + sum(item.most // unit for item in uncut) <= limit:
                continue
            passing = [area.through(guide.id, unit) for trunk_id, area in areas.items() if worst[trunk_id]]
            passing += [item.through(guide.id, unit) for item in uncut]
            post(sum(passing) <= limit, guide.id)

    def say(self, job: Job, subject: str) -> str:
        """Say how much a guide takes."""
        fill = self.parameters(job).fill
        guide = next(guide for guide in job.enclosure.track.guides if guide.id == subject)
        passing = [unit for item in job.through for unit in job.trunk_by_id[item.ends[0]].passing]
        own = sum(pi * subunit.diameter_mm**2 / 4 for subunit in (*job.subunits, *passing))
        return said(
            "{subject}: {fill} of its opening of {guide_opening_mm2:,.6g} mm² are {takes:,.0f} mm²; the trunks' own "
            "tubes together have {own:,.0f} mm², once a loop",
            subject=subject,
            fill=percent(fill),
            guide_opening_mm2=guide.opening_mm2,
            takes=fill * guide.opening_mm2,
            own=own,
        )

    def advise(self, job: Job, laid: Laid, subject: str) -> str:
        """Name the trunks that could pass elsewhere."""
        del job
        trunks = list(dict.fromkeys(item.trunk for item, _ in laid.passes(subject)))
        return (
            f"let fewer tubes pass {subject}: fewer loops or the other way for {listed(trunks, 'or')}, or a wider guide"
        )


class _Areas:
    """Cross-sections of what travels for a trunk, as whole 10⁻⁶ mm² of diameter², placed and coiled."""

    def __init__(self, job: Job, x: Variables, trunk: Trunk) -> None:
        self.x, self.trunk, self.job = x, trunk, job
        self.options = x.divide_options(trunk)
        self.own = {s.number: area_units(s.diameter_mm) for s in trunk.subunits}
        self.leg: dict[tuple[int, int], int] = {}
        """Area of each leg by subunit and k, where it may travel in a tube of the set."""
        self._numbers: dict[str, Expression] = {}
        self._shares: dict[tuple[Way, str, str], Expression] | None = None
        self._loops: Expression | None = None
        for subunit in trunk.subunits:
            for of in x.divisions(subunit):
                tube = x.routes.traveller(trunk, subunit, of, self.options[-1])
                if tube is not None and not tube.own:
                    self.leg[subunit.number, of] = area_units(tube.diameter_mm)
        travel_own = [
            self.own[s.number]
            for s in trunk.subunits
            if not x.all_placed or not x.divisions(s) or any(self._own_travels(s, of) for of in x.divisions(s))
        ]
        self.all = [*travel_own, *self.leg.values()]
        self.most = sum(
            max([self.own[s.number], *(of * area for (number, of), area in self.leg.items() if number == s.number)])
            for s in trunk.subunits
        )

    def _own_travels(self, subunit: Subunit, of: int) -> bool:
        """Whether the subunit's own tube may travel at a division."""
        return (subunit.number, of) not in self.leg or self.options[0] == "tray"

    def _in_tubes(self, literal: Literal) -> Literal:
        """Whether this holds and legs travel in tubes of the set, in divisions that have such tubes."""
        return literal if len(self.options) == 1 else self.x.both(literal, self.x.divided_at(self.trunk, "port"))

    def _in_own(self, literal: Literal, subunit: Subunit, of: int) -> Literal:
        """Whether this holds and the subunit's own tube travels, at a division where it may."""
        if (subunit.number, of) not in self.leg:
            return literal
        return self.x.both(literal, self.x.divided_at(self.trunk, "tray"))

    def _number_in_tubes(self, number: Expression, most: int, name: str) -> Expression:
        """Count legs that travel in tubes of the set: all of a number, or none where the trunk is divided at the tray."""
        if len(self.options) == 1:
            return number
        if isinstance(number, int):
            return number * self.x.divided_at(self.trunk, "port")
        found = self.x.number(most, name)
        self.x.require(found >= number, self.x.divided_at(self.trunk, "port"))
        return found

    def whole(self, unit: int) -> Expression:
        """Area of all that is in the box of this trunk: what loops carry once a loop."""
        x = self.x
        parts: list[Expression] = []
        coiled = self.trunk.idle == "coiled"
        for subunit in self.trunk.subunits:
            own = self.own[subunit.number] // unit
            if not x.divisions(subunit):
                parts.append(own * coiled)
                continue
            in_own: list[Literal] = []
            in_tubes: list[Literal] = []
            for of in x.divisions(subunit):
                placed = x.any_of(*(x.placed(leg) for leg in x.legs(subunit, of)))
                if self._own_travels(subunit, of):
                    in_own.append(self._in_own(placed, subunit, of))
                area = self.leg.get((subunit.number, of))
                if area is None:
                    continue
                if coiled:
                    in_tubes.append(self._in_tubes(placed))
                    parts.append(of * area // unit * in_tubes[-1])
                else:
                    name = f"{subunit.name} in {of} tubes"
                    parts.append(area // unit * self._number_in_tubes(x.number_placed(subunit, of), of, name))
            if coiled:
                parts.append(own * (1 - x.any_of(*in_tubes)))
            elif in_own:
                parts.append(own * x.any_of(*in_own))
        return sum(parts)

    def through(self, guide: str, unit: int) -> Expression:
        """Area of all passes of a guide: those of whole loops, the same at every guide, and those of direct ways."""
        direct = self.x.routes.direct
        parts = [number for (way, stack, end), number in self._direct(unit).items() if guide in direct(way, stack, end)]
        return self._coiled(unit) + sum(parts)

    def _coiled(self, unit: int) -> Expression:
        """Area of the passes of whole loops at a guide."""
        if self._loops is None:
            x, whole = self.x, self.whole(unit)
            ways = [way for way in x.ways(self.trunk) if way.loops]
            if isinstance(whole, int):
                self._loops = sum(way.loops * whole * x.goes(self.trunk, way) for way in ways)
            else:
                most = max((way.loops for way in ways), default=0) * self.most // unit
                self._loops = x.number(most, f"{self.trunk.id} in loops")
                for way in ways:
                    x.require(self._loops >= way.loops * whole, x.goes(self.trunk, way))
        return self._loops

    def _direct(self, unit: int) -> Mapping[tuple[Way, str, str], Expression]:
        """Area that goes to an end of a stack, shared out among the ways that the trunk may go; loops do not matter here.

        Only the way that the trunk goes and the end that the stack uses have a share. Said as sums, not way by way, so that
        the relaxation of the solver bounds a guide while ways are still open.
        """
        if self._shares is None:
            x, trunk, most = self.x, self.trunk, self.most // unit
            goes: dict[Way, Expression] = {}
            for way in x.ways(trunk):
                flat = Way(way.port, way.travel, 0)
                goes[flat] = goes.get(flat, 0) + x.goes(trunk, way)
            self._shares = {
                (way, stack.id, end.id): x.number(most, f"{trunk.id} by {way.port} {way.travel} to {stack.id}/{end.id}")
                for way in goes
                for stack in self.job.enclosure.stacks
                for end in stack.ends
            }
            for way, going in goes.items():
                x.require(sum(share for key, share in self._shares.items() if key[0] == way) <= most * going)
            for stack in self.job.enclosure.stacks:
                x.require(
                    sum(share for key, share in self._shares.items() if key[1] == stack.id) == self._on(stack.id, unit)
                )
                for end in stack.ends:
                    here = sum(share for key, share in self._shares.items() if key[1:] == (stack.id, end.id))
                    x.require(here <= most * x.end(stack.id, end.id))
        return self._shares

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
            in_own: list[Literal] = []
            for of in x.divisions(subunit):
                if self._own_travels(subunit, of):
                    on = x.any_of(*(x.on(leg, stack) for leg in x.legs(subunit, of)))
                    in_own.append(self._in_own(on, subunit, of))
                area = self.leg.get((subunit.number, of))
                if area is not None:
                    name = f"{subunit.name} in {of} tubes on {stack}"
                    parts.append(area // unit * self._number_in_tubes(x.number_on(subunit, of, stack), of, name))
            if in_own:
                parts.append(self.own[subunit.number] // unit * x.any_of(*in_own))
        return sum(parts)


class Uncut:
    """Cross-section of what a trunk that goes through does not have cut: it passes as one, from port to port."""

    def __init__(self, job: Job, x: Variables, through: Through) -> None:
        self.x, self.job, self.item = x, job, through
        self.area = sum(area_units(unit.diameter_mm) for unit in job.trunk_by_id[through.ends[0]].passing)
        self.loops = loops_between(job, through, lengths_of(job))
        self.most = (self.loops[1] + 1) * self.area

    def through(self, guide: str, unit: int) -> Expression:
        """Area of all passes of a guide: those of whole loops, and the one of the direct way."""
        if not self.area:
            return 0
        x, enters, leaves = self.x, *(self.job.trunk_by_id[end] for end in self.item.ends)
        direct = [
            x.both(x.enters(enters, way.port), x.travels(enters, way.travel), x.enters(leaves, port))
            for way, port, passage in passages(self.job, self.item, lengths_of(self.job))
            if guide in passage.direct
        ]
        return self.area // unit * (self._loops() + sum(direct))

    def _loops(self) -> Expression:
        """Loops that it makes; where the model knows nothing of legs, those that it makes in every plan."""
        try:
            return self.x.window_loops_at_least(self.item)
        except CannotSay:
            return self.loops[0] * self.x.in_box(self.job.trunk_by_id[self.item.ends[0]])


def guide_units(guide: Guide, fill: float) -> int:
    """Return the area that a guide may hold at a fill, in the units of ``area_units``."""
    return floor(fill * guide.opening_mm2 * 4 / pi * AREA_UNITS + 1e-3)


def area_units(diameter_mm: float) -> int:
    """Return the square of a diameter as a whole number of 10⁻⁶ mm²."""
    return round(diameter_mm * diameter_mm * AREA_UNITS)
