"""Counts by stack: how many legs of each kind lie on each stack, without saying which; a relaxation that settles counts.

Subunits that nothing tells apart form a class, and only counts are decided: how many of a class are divided by which
k, and how many of their legs are on which stack. Ways of trunks and ends of stacks are decided as in the whole model,
and rules that look at ways alone bind as they do there. All holds under the guards of its groups, so an answer of no
names groups that are enough for it, and an answer of yes is a draft of divisions and ways that the whole model can
try first.

The same counts bound the splices that stay without a tray: then subunits of a class may stay out, and legs of a subunit too.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping
from functools import cached_property
from math import gcd
from operator import attrgetter

from trayopt.domain.assignment import Way
from trayopt.domain.base import TRAVELS
from trayopt.domain.hardware import Stack, Tray
from trayopt.domain.pins import LegPin
from trayopt.domain.trunk import Trunk
from trayopt.rules.alternate_stacks import AlternateStacks
from trayopt.rules.base import AnyRule
from trayopt.rules.bend_radius import BendRadius
from trayopt.rules.entrance_legs import EntranceLegs
from trayopt.rules.fibre_bend import FibreBend
from trayopt.rules.guide_fill import GuideFill, Uncut, area_units, guide_units
from trayopt.rules.pin import Pinned, goes_by
from trayopt.rules.reserve import Reserve
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.tray_sleeves import TraySleeves
from trayopt.rules.variables import (
    Constraint,
    Expression,
    Literal,
    Partings,
    Ribbons,
    TrunkPlaces,
    TrunkStacks,
    TrunkWays,
    Variables,
    Windows,
)
from trayopt.solver.bounds.class_counts import ClassCounts
from trayopt.solver.bounds.classes import Choice
from trayopt.solver.model.groups import LIMITS, Question, merged
from trayopt.solver.model.literals import total
from trayopt.solver.model.posting import guard, speaks
from trayopt.solver.model.vocabulary import voice

OWN: tuple[type[AnyRule], ...] = (
    TrayFibres, TraySleeves, EntranceLegs, GuideFill, BendRadius, FibreBend, AlternateStacks, Reserve, Pinned,
)  # fmt: skip
"""Rules that the counts by stack read in their own way, by counts of classes."""


class StackCounts(ClassCounts):
    """The counting model of a question: its classes, and its rules as counts see them.

    Parameters
    ----------
    all_placed
        Whether only plans that place every splice are counted.
    """

    def __init__(self, question: Question, *, all_placed: bool = True) -> None:
        super().__init__(question, all_placed=all_placed)
        self._alternate()
        self._trays()
        self.furnish()
        for rule in question.rules:
            if not isinstance(rule, OWN):
                speaks(rule, self, self.voice, self._poster(rule))
        if self._asks(GuideFill):
            self._guides()
        self._limits()
        self._pins()
        for trunk in self.job.trunks:
            for way in self.ways(trunk):
                self.goes(trunk, way)

    def furnish(self) -> None:
        """Make what finer counts ask for beside, before the rules that look at ways speak."""

    @cached_property
    def voice(self) -> Variables:
        """What rules and goals may ask."""
        return voice(self, TrunkWays, Windows, Partings, Ribbons, TrunkStacks, TrunkPlaces)

    def _poster(self, rule: AnyRule) -> Callable[..., None]:
        def post(constraint: Constraint, subject: str, when: tuple[Literal, ...] = ()) -> None:
            if constraint is not True:
                self.require(constraint, guard(self, merged(rule, subject)), *when)

        return post

    def _alternate(self) -> None:
        """Let the subunits of a lead trunk that is divided at the tray be shared out evenly, as its last one asks for."""
        for trunk in self.job.trunks:
            last = next((s for s in reversed(trunk.subunits) if self.divisions(s)), None)
            plain = trunk.id in self.job.lead_trunks and self.divide_options(trunk) == ("tray",)
            if last is None or not plain or not self._asks(AlternateStacks):
                continue
            held = self._held(AlternateStacks, last.name)
            counts = [total(self.wholes[(*key, stack.id)] for key in self._mine(trunk)) for stack in self.stacks]
            for one in counts:
                for other in counts:
                    if one is not other:
                        self.require(one - other <= 1, held)

    # -- trays -------------------------------------------------------------------------------------------------------

    def _trays(self) -> None:
        """Bound what the trays of each stack take together, and of all stacks what all subunits bring."""
        for stack in self.stacks:
            here = [
                (self.kinds[i, choice], n, self.classes[i].trunk)
                for (i, choice, on), n in self.legs_of.items()
                if on == stack.id
            ]
            if self._asks(TrayFibres):
                held = self._held(TrayFibres, stack.id)
                self.require(
                    total(c.ends * n for c, n, _ in here) <= 2 * self._room(stack, lambda tray: tray.fibres), held
                )
                self._large(
                    stack,
                    held,
                    2 * max(tray.fibres for tray in stack.kinds),
                    [(c.ends + c.least_spliced, n, t) for c, n, t in here],
                )
            if self._asks(TraySleeves):
                held = self._held(TraySleeves, stack.id)
                self.require(
                    total(c.sleeves2 * n for c, n, _ in here) <= 2 * self._room(stack, lambda tray: tray.sleeves), held
                )
                self._large(
                    stack, held, max(tray.sleeves for tray in stack.kinds), [(c.sleeves2, n, t) for c, n, t in here]
                )
            if self._asks(EntranceLegs):
                self._entrances(stack)
        for rule, brings, takes in ((TrayFibres, "all_ends", "fibres"), (TraySleeves, "all_sleeves2", "sleeves")):
            if self._asks(rule) and self.all_placed:
                brought = total(getattr(self.kinds[key], brings) * n for key, n in self.count.items())
                most = total(2 * self._room(stack, attrgetter(takes)) for stack in self.stacks)
                self.require(brought <= most, *(self._held(rule, stack.id) for stack in self.stacks))

    def _room(self, stack: Stack, takes: Callable[[Tray], int]) -> Expression:
        """Sum what the trays of a stack take that can be used; where they are of several kinds all of them count."""
        if len(stack.kinds) == 1:
            return takes(stack.kinds[0]) * self._usable(stack)
        return sum(map(takes, stack.by_position))

    def _usable(self, stack: Stack) -> Expression:
        """How many trays of a stack can be used: all but those that are held in reserve."""
        if not self._asks(Reserve):
            return stack.positions
        asked = Reserve().parameters(self.job).trays
        return stack.positions - min(asked, stack.positions) * self._held(Reserve, stack.id)

    def _large(self, stack: Stack, held: Literal, room: int, here: list[tuple[int, Expression, str]]) -> None:
        """Let no tray hold two legs of a trunk that each need more than half of the tray, and so on down to a quarter.

        A leg brings an end for each of its fibres, and one more for each that is spliced; it needs a sleeve for each run of its
        splices.
        """
        for trunk in self.job.trunks:
            for most in range(4):
                large = [n for need, n, t in here if t == trunk.id and need * (most + 1) > room]
                if large:
                    self.require(total(large) <= most * self._usable(stack), held)

    def _entrances(self, stack: Stack) -> None:
        """Bound the legs that enter the trays of a stack from either direction."""
        for travel in TRAVELS:
            counted = []
            for trunk in self.job.trunks:
                number = self.number(sum(subunit.ribbons for subunit in trunk.subunits), "")
                legs = total(self.legs_of[i, choice, stack.id] for i, choice in self._mine(trunk))
                self.require(number >= legs, self.travels(trunk, travel))
                counted.append(number)
            most = self._room(stack, lambda tray: tray.entrance_legs)
            self.require(total(counted) <= most, self._held(EntranceLegs, stack.id))

    # -- ways and pins -----------------------------------------------------------------------------------------------

    def _limits(self) -> None:
        for group in self.question.groups:
            if group.rule in LIMITS:
                trunk = self.job.trunk_by_id[group.subject]
                wrong = self.question.wrong_ways(group, self.ways(trunk))
                self.require(total(self.goes(trunk, way) for way in wrong) <= 0, guard(self, group))

    def _pins(self) -> None:
        """Hold trunks to the ways that their pins leave, pinned legs to their stacks and divisions."""
        classes = {(s.trunk, s.number): i for i, alike in enumerate(self.classes) for s in alike.members}
        for pin in self.job.pins:
            built = pin.subject in self.question.facts
            if not built and not self._asks(Pinned):
                continue
            held = () if built else (self._held(Pinned, pin.subject),)
            if isinstance(pin, LegPin):
                leg = self.job.pinned_leg(pin)
                i = classes.get(
                    (leg.trunk, leg.subunit)
                )  # none where no fibre of the subunit is spliced: it lies nowhere
                keys = [key for key, division in self.kinds.items() if key[0] == i and division.of == leg.of]
                stacks = dict.fromkeys(place.stack for place in self.job.places_of(pin))
                asked = [total(self.legs_of[(*key, stack)] for key in keys for stack in stacks) >= 1]
            else:
                asked = list(goes_by(self.job, self, pin.decision))
            for constraint in asked:
                self.require(constraint, *held)

    # -- guides ------------------------------------------------------------------------------------------------------

    def _guides(self) -> None:
        """Bound the cross-sections of what passes each guide, counted by class, division and stack.

        What a trunk brings is shared out among the ways that it may go, of which only its way has a share: so a linear relaxation
        bounds guides while ways are open.
        """
        fill = GuideFill().parameters(self.job).fill
        idle = [area_units(s.diameter_mm) for s in self.job.subunits]
        uncut = [Uncut(self.job, self.voice, item) for item in self.job.through]
        unit = gcd(*idle, *(self._area(*key) for key in self.kinds), *(item.area for item in uncut)) or 1
        limits = {guide.id: guide_units(guide, fill) // unit for guide in self.job.enclosure.track.guides}
        direct = {trunk.id: self._shared_out(trunk, unit, limits) for trunk in self.job.trunks}
        loops = [self._in_loops(trunk, unit, limits) for trunk in self.job.trunks]
        for guide, limit in limits.items():
            passing = [item.through(guide, unit) for item in uncut] + loops
            for shares in direct.values():
                passing += [share for to, share in shares.items() if guide in self.routes.direct(*to)]
            self.require(total(passing) <= limit, self._held(GuideFill, guide))

    def _shared_out(self, trunk: Trunk, unit: int, limits: Mapping[str, int]) -> dict[tuple[Way, str, str], Expression]:
        """Share out what a trunk brings to each stack among its ways, loops left aside, and the ends of the stack."""
        most = self._most_area(trunk) // unit
        found: dict[tuple[Way, str, str], Expression] = {}
        flat: dict[Way, list[Way]] = defaultdict(list)
        for way in self.ways(trunk):
            flat[Way(way.port, way.travel, 0)].append(way)
        for to, ways in flat.items():
            for stack in self.stacks:
                for end in stack.ends:
                    found[to, stack.id, end.id] = self.number(most, f"{trunk.id} by {to.port} to {stack.id}")
            mine = total(share for key, share in found.items() if key[0] == to)
            goes = total(self.goes(trunk, way) for way in ways)
            guide = self.job.enclosure.port_by_id[to.port].guide
            passes = 1 + min(way.loops for way in ways)
            self.require(mine <= most * goes)
            self.require(mine <= limits[guide] // passes * goes, self._held(GuideFill, guide))
        for stack in self.stacks:
            here = total(share for key, share in found.items() if key[1] == stack.id)
            self.require(here == self._area_on(trunk, stack, unit))
            for end in stack.ends if len(stack.ends) > 1 else ():
                by_end = total(share for key, share in found.items() if key[1:] == (stack.id, end.id))
                self.require(by_end <= most * self.end(stack.id, end.id))
        return found

    def _in_loops(self, trunk: Trunk, unit: int, limits: Mapping[str, int]) -> Expression:
        """Cross-section of what a trunk in the box has at every guide by its loops."""
        most = self._most_area(trunk) // unit
        narrowest = min(limits, key=limits.__getitem__)
        by_loops: dict[int, list[Way]] = defaultdict(list)
        for way in self.ways(trunk):
            by_loops[way.loops].append(way)
        shares: dict[int, Expression] = {}
        for loops, ways in by_loops.items():
            goes = total(self.goes(trunk, way) for way in ways)
            share = shares[loops] = self.number(most, f"{trunk.id} in {loops} loops")
            self.require(share <= most * goes)
            if loops:
                self.require(share <= limits[narrowest] // loops * goes, self._held(GuideFill, narrowest))
        self.require(total(shares.values()) >= self._round(trunk, unit), self.in_box(trunk))
        return total(loops * share for loops, share in shares.items())

    def _area(self, i: int, choice: Choice) -> int:
        subunit = self.classes[i].members[0]
        tube = self.routes.traveller(self.job.trunk_by_id[subunit.trunk], subunit, *choice)
        return 0 if tube is None else area_units(tube.diameter_mm)

    def _most_area(self, trunk: Trunk) -> int:
        own = sum(area_units(subunit.diameter_mm) for subunit in trunk.subunits)
        legs = {
            i: max(choice[0] * self._area(j, choice) for j, choice in self.kinds if j == i)
            for i, _ in self._mine(trunk)
        }
        return own + sum(area * len(self.classes[i].members) for i, area in legs.items())

    def _own(self, i: int, choice: Choice) -> bool:
        """Whether the subunit's own tube makes the way for all its legs."""
        subunit = self.classes[i].members[0]
        tube = self.routes.traveller(self.job.trunk_by_id[subunit.trunk], subunit, *choice)
        return tube is not None and tube.own

    def _round(self, trunk: Trunk, unit: int) -> Expression:
        """Cross-section of all that a trunk has in the box, in units of ``unit``: each loop carries it once round the ring."""

        def make() -> Expression:
            coiled = trunk.idle == "coiled"
            idle = sum(area_units(s.diameter_mm) for s in trunk.subunits if not self.divisions(s)) // unit * coiled
            out = total(
                area_units(alike.members[0].diameter_mm) // unit * coiled * self.outside[i]
                for i, alike in enumerate(self.classes)
                if alike.trunk == trunk.id
            )
            return (
                idle
                + out
                + total(
                    self._area(i, choice) // unit * self._tubes(i, choice, coiled=coiled)
                    for i, choice in self._mine(trunk)
                )
            )

        return self._make(("round", trunk.id), make)

    def _tubes(self, i: int, choice: Choice, *, coiled: bool) -> Expression:
        """How many tubes the subunits of a class that have a division and a placed leg have in the box."""
        if self._own(i, choice):
            return self.count[i, choice]
        return (
            choice[0] * self.count[i, choice]
            if coiled
            else total(self.legs_of[i, choice, stack.id] for stack in self.stacks)
        )

    def _area_on(self, trunk: Trunk, stack: Stack, unit: int) -> Expression:
        parts = []
        for i, choice in self._mine(trunk):
            tubes = self.wholes.get((i, choice, stack.id), self.legs_of[i, choice, stack.id])
            parts.append(self._area(i, choice) // unit * tubes)
        return total(parts)
