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
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import gcd
from operator import attrgetter
from typing import Any

from trayopt.domain.assignment import Way
from trayopt.domain.base import EPSILON, TRAVELS
from trayopt.domain.cable import FIBRE_RADIUS_MM
from trayopt.domain.cablework import Subunit
from trayopt.domain.finding import Group
from trayopt.domain.hardware import Place, Stack, Tray
from trayopt.domain.job import LegPin, Trunk
from trayopt.rules.alternate_stacks import AlternateStacks
from trayopt.rules.base import Rule
from trayopt.rules.bend_radius import BendRadius
from trayopt.rules.entrance_legs import EntranceLegs
from trayopt.rules.fibre_bend import FibreBend
from trayopt.rules.guide_fill import GuideFill, area_units, guide_units
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
)
from trayopt.solver.bounds.classes import Choice, Class, Cut, classes_of
from trayopt.solver.model.base import Base, Key
from trayopt.solver.model.groups import LIMITS, Question, merged
from trayopt.solver.model.literals import total
from trayopt.solver.model.posting import guard, speaks
from trayopt.solver.model.vocabulary import voice

OWN: tuple[type[Rule[Any]], ...] = (
    TrayFibres, TraySleeves, EntranceLegs, GuideFill, BendRadius, FibreBend, AlternateStacks, Reserve, Pinned,
)  # fmt: skip
"""Rules of which the counts by stack has a reading of its own, by counts of classes."""


Kind = tuple[int, Choice]
"""A class by its number, and one of its divisions."""


@dataclass(frozen=True)
class Draft:
    """Divisions and ways with which counts by stack balance."""

    divisions: Mapping[Key, Sequence[int]]
    ways: Mapping[str, Sequence[Way]]


class StackCounts(Base):
    """The counting model of a question, every group under its guard.

    Parameters
    ----------
    all_placed
        Whether only plans that place every splice are counted.
    """

    def __init__(self, question: Question, *, all_placed: bool = True) -> None:
        super().__init__(question.wide, all_placed=all_placed)
        self.question = question
        self.stacks = self.job.enclosure.stacks
        self.classes = classes_of(question)
        self.cuts: dict[Kind, Cut] = {}
        """Divisions that a class can have."""
        self.count: dict[Kind, Expression] = {}
        """How many subunits of a class have a division and a placed leg."""
        self.outside: dict[int, Expression] = {}
        """How many subunits of a class have no placed leg."""
        self.legs_of: dict[tuple[int, Choice, str], Expression] = {}
        """How many legs of a class at a division are on a stack."""
        self.wholes: dict[tuple[int, Choice, str], Expression] = {}
        """How many subunits of a class at a division are on a stack, where the trunk is divided at the tray."""
        for i, alike in enumerate(self.classes):
            self._class(i, alike)
        self._on = {(t.id, s.id): self._used(t, s) for t in self.job.trunks for s in self.stacks}
        self._pairs()
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
        return voice(self, TrunkWays, Partings, Ribbons, TrunkStacks, TrunkPlaces)

    def _asks(self, rule: type[Rule[Any]]) -> bool:
        return rule.id in self.question.by_rule

    def _poster(self, rule: Rule[Any]) -> Callable[..., None]:
        def post(constraint: Constraint, subject: str, when: tuple[Literal, ...] = ()) -> None:
            if constraint is not True:
                self.require(constraint, guard(self, merged(rule, subject)), *when)

        return post

    def _held(self, rule: type[Rule[Any]], subject: str) -> Literal:
        return guard(self, Group(rule.id, subject))

    # -- subunits ----------------------------------------------------------------------------------------------------

    def _class(self, i: int, alike: Class) -> None:
        """Decide how many subunits of a class have each division, and on which stacks their legs are."""
        trunk, n = self.job.trunk_by_id[alike.trunk], len(alike.members)
        for cut in alike.cuts:
            tube = self.routes.traveller(trunk, alike.members[0], cut.of, cut.at)
            if tube is None:
                continue
            self.cuts[i, cut.choice] = cut
            count = self.count[i, cut.choice] = self.number(n, f"{alike.members[0].name} and like it in {cut.of}")
            if cut.of > 1:
                self.require(count <= n * self.divided_at(trunk, cut.at))
            at_tray = cut.at == "tray"
            parts = [self.number(n if at_tray else n * cut.legs, "") for _ in self.stacks]
            for stack, part in zip(self.stacks, parts, strict=True):
                self.legs_of[i, cut.choice, stack.id] = cut.legs * part if at_tray else part
                if at_tray:
                    self.wholes[i, cut.choice, stack.id] = part
            if at_tray:
                self.require(total(parts) == count)
            elif self.all_placed:
                self.require(total(parts) == cut.legs * count)
            else:
                self.require(total(parts) <= cut.legs * count)
                self.require(total(parts) >= count)
            if self._asks(BendRadius) and tube.radius_mm > self.job.enclosure.track.min_radius_mm + EPSILON:
                self.require(count <= self._free(BendRadius, alike.members))
            self._fibre_bend(i, cut, trunk, alike.members)
        self.outside[i] = 0 if self.all_placed else self.number(n, f"{alike.members[0].name} and like it outside")
        self.require(self.outside[i] + total(count for (j, _), count in self.count.items() if j == i) == n)

    def _free(self, rule: type[Rule[Any]], members: tuple[Subunit, ...]) -> Expression:
        """How many of these subunits are not held to a rule."""
        return len(members) - total(self._held(rule, subunit.name) for subunit in members)

    def _fibre_bend(self, i: int, cut: Cut, trunk: Trunk, members: tuple[Subunit, ...]) -> None:
        """Keep as many subunits as are held off stacks with trays too tight for their fibres."""
        least = FIBRE_RADIUS_MM[trunk.cable.fibre] - EPSILON
        tight = [stack for stack in self.stacks if max(tray.min_radius_mm for tray in stack.kinds) < least]
        if self._asks(FibreBend) and tight:
            free = self._free(FibreBend, members)
            self.require(total(self.legs_of[i, cut.choice, stack.id] for stack in tight) <= cut.legs * free)

    def _used(self, trunk: Trunk, stack: Stack) -> Literal:
        """Whether a trunk has a leg on a stack."""
        here = [key for key in self._mine(trunk)]
        if not here:
            return 0
        used = self.literal(f"{trunk.id} on {stack.id}")
        for i, cut in here:
            most = len(self.classes[i].members) * self.cuts[i, cut].legs
            self.require(self.legs_of[i, cut, stack.id] <= most * used)
        self.require(used <= self.in_box(trunk))
        return used

    def _mine(self, trunk: Trunk) -> list[Kind]:
        return [(i, cut) for i, cut in self.cuts if self.classes[i].trunk == trunk.id]

    def _pairs(self) -> None:
        """Let two joined trunks have as many splices with each other on a stack, where that can be counted."""
        shares: dict[tuple[str, str], list[Kind]] = defaultdict(list)
        plain: dict[tuple[str, str], bool] = defaultdict(lambda: True)
        for key, cut in self.cuts.items():
            alike = self.classes[key[0]]
            for partner in alike.partners:
                shares[alike.trunk, partner].append(key)
                plain[alike.trunk, partner] &= len(alike.partners) == 1 and cut.splices is not None
        self.shared = [
            (tuple(shares[a, b]), tuple(shares[b, a])) for a, b in self.job.joined_pairs if plain[a, b] and plain[b, a]
        ]
        """Kinds of legs of either side of each pair of trunks that is spliced to no other trunk there, leg for leg alike."""
        for stack in self.stacks:
            self.share({key: self.legs_of[(*key, stack.id)] for key in self.cuts})

        if not self.all_placed:
            for i, j in self._matched():
                self.require(self.outside[i] == self.outside[j])

    def _matched(self) -> set[tuple[int, int]]:
        """Give the pairs of classes whose subunits are spliced one to one: where one has no placed leg, neither has the other."""
        of = {(s.trunk, s.number): i for i, alike in enumerate(self.classes) for s in alike.members}
        partners: dict[Key, set[Key]] = defaultdict(set)
        for piece in self.job.pieces:
            a, b = ((p.trunk, self.job.trunk_by_id[p.trunk].subunit_of(p.first).number) for p in (piece.a, piece.b))
            partners[a].add(b)
            partners[b].add(a)
        single = {key: next(iter(found)) for key, found in partners.items() if len(found) == 1}
        pairs: dict[int, set[int]] = defaultdict(set)
        for key, i in of.items():
            other = single.get(key)
            pairs[i].add(of[other] if other is not None and other in single else -1)
        return {(i, min(js)) for i, js in pairs.items() if len(js) == 1 and pairs.get(min(js)) == {i}}

    def share(self, legs: Mapping[Kind, Expression]) -> None:
        """Let the two sides of each such pair bring equally many splices to some part of the box, by the legs there."""
        for sides in self.shared:
            one, other = (total((self.cuts[key].splices or 0) * legs.get(key, 0) for key in keys) for keys in sides)
            self.require(one == other)

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
                (self.cuts[i, cut], n, self.classes[i].trunk)
                for (i, cut, on), n in self.legs_of.items()
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
                brought = total(getattr(self.cuts[key], brings) * n for key, n in self.count.items())
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
        """Let no tray hold two legs of a trunk that each need more than half of it, and so on down to a quarter.

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
                legs = total(self.legs_of[i, cut, stack.id] for i, cut in self._mine(trunk))
                self.require(number >= legs, self.travels(trunk, travel))
                counted.append(number)
            most = self._room(stack, lambda tray: tray.entrance_legs)
            self.require(total(counted) <= most, self._held(EntranceLegs, stack.id))

    # -- ways and pins -----------------------------------------------------------------------------------------------

    def divisions(self, subunit: Subunit) -> tuple[int, ...]:
        """Give one stand-in for whatever divisions a spliced subunit has."""
        return (1,) if self.job.spliced[subunit.trunk, subunit.number] else ()

    def in_box(self, trunk: Trunk) -> Literal:
        """Every trunk with a spliced fibre is in the box, or may be."""
        ends = self.job.ends_of(trunk)
        spliced = any(self.divisions(subunit) for end in ends for subunit in end.subunits)
        if self.all_placed or not spliced:
            return int(spliced)
        return self._make(("in box", ends[0].id), lambda: self.literal(f"{ends[0].id} in the box"))

    def trunk_on(self, trunk: Trunk, stack: str) -> Literal:
        """Whether a trunk has a leg on a stack."""
        return self._on[trunk.id, stack]

    def trunk_at(self, trunk: Trunk, place: Place) -> Literal:
        """Whether a trunk has a leg at a place: free, but at one place at least of a stack that it is on."""

        def make() -> dict[Place, Literal]:
            found: dict[Place, Literal] = {
                p: self.literal(f"{trunk.id} at {p}") for p in self.places if p.stack == place.stack
            }
            self.require(total(found.values()) >= self._on[trunk.id, place.stack])
            return found

        return self._make(("places of", trunk.id, place.stack), make)[place]

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
                i = classes[leg.trunk, leg.subunit]
                keys = [key for key, cut in self.cuts.items() if key[0] == i and cut.of == leg.of]
                stacks = dict.fromkeys(place.stack for place in self.job.places_of(pin))
                asked = [total(self.legs_of[(*key, stack)] for key in keys for stack in stacks) >= 1]
            else:
                asked = list(goes_by(self.job, self, pin.decision))
            for constraint in asked:
                self.require(constraint, *held)

    # -- guides ------------------------------------------------------------------------------------------------------

    def _guides(self) -> None:
        """Bound the cross-sections of what passes each guide, counted by class, division and stack."""
        fill = GuideFill().parameters(self.job).fill
        idle = [area_units(s.diameter_mm) for s in self.job.subunits]
        unit = gcd(*idle, *(self._area(*key) for key in self.cuts)) or 1
        for guide in self.job.enclosure.track.guides:
            passing = []
            for trunk in self.job.trunks:
                most = max(way.loops + 1 for way in self.ways(trunk)) * self._most_area(trunk) // unit
                number = self.number(most, f"{trunk.id} through {guide.id}")
                passing.append(number)
                for way in self.ways(trunk):
                    direct = total(self._direct(trunk, way, stack, guide.id, unit) for stack in self.stacks)
                    self.require(number >= way.loops * self._round(trunk, unit) + direct, self.goes(trunk, way))
            limit = guide_units(guide, fill) // unit
            self.require(total(passing) <= limit, self._held(GuideFill, guide.id))

    def _area(self, i: int, cut: Choice) -> int:
        subunit = self.classes[i].members[0]
        tube = self.routes.traveller(self.job.trunk_by_id[subunit.trunk], subunit, *cut)
        return 0 if tube is None else area_units(tube.diameter_mm)

    def _most_area(self, trunk: Trunk) -> int:
        own = sum(area_units(subunit.diameter_mm) for subunit in trunk.subunits)
        legs = {i: max(cut[0] * self._area(j, cut) for j, cut in self.cuts if j == i) for i, _ in self._mine(trunk)}
        return own + sum(area * len(self.classes[i].members) for i, area in legs.items())

    def _own(self, i: int, cut: Choice) -> bool:
        """Whether the subunit's own tube makes the way for all its legs."""
        subunit = self.classes[i].members[0]
        tube = self.routes.traveller(self.job.trunk_by_id[subunit.trunk], subunit, *cut)
        return tube is not None and tube.own

    def _round(self, trunk: Trunk, unit: int) -> Expression:
        """Cross-section of all that a trunk has in the box: a loop carries it once round."""

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
                + total(self._area(i, cut) // unit * self._tubes(i, cut, coiled=coiled) for i, cut in self._mine(trunk))
            )

        return self._make(("round", trunk.id), make)

    def _tubes(self, i: int, cut: Choice, *, coiled: bool) -> Expression:
        """How many tubes the subunits of a class that have a division and a placed leg have in the box."""
        if self._own(i, cut):
            return self.count[i, cut]
        return cut[0] * self.count[i, cut] if coiled else total(self.legs_of[i, cut, stack.id] for stack in self.stacks)

    def _direct(self, trunk: Trunk, way: Way, stack: Stack, guide: str, unit: int) -> Expression:
        """Cross-section of what goes to a stack and passes a guide on its direct way."""
        ends = [end.id for end in stack.ends]
        passing = [end for end in ends if guide in self.routes.direct(way, stack.id, end)]
        if not passing:
            return 0
        area = self._make(("area on", trunk.id, stack.id), lambda: self._area_on(trunk, stack, unit))
        if len(passing) == len(ends):
            return area

        def make() -> Expression:
            number = self.number(self._most_area(trunk) // unit, "")
            for end in passing:
                self.require(number >= area, self.end(stack.id, end))
            return number

        return self._make(("area by", trunk.id, stack.id, tuple(passing)), make)

    def _area_on(self, trunk: Trunk, stack: Stack, unit: int) -> Expression:
        parts = []
        for i, cut in self._mine(trunk):
            tubes = self.wholes.get((i, cut, stack.id), self.legs_of[i, cut, stack.id])
            parts.append(self._area(i, cut) // unit * tubes)
        return total(parts)

    # -- what it found -----------------------------------------------------------------------------------------------

    def all_legs_count(self) -> Expression:
        """Sum of all placed legs."""
        return total(self.legs_of.values())

    def hold_all(self) -> None:
        """Count only plans that keep every group."""
        for held in self.guards.values():
            self.require(held >= 1)

    def unplaced(self) -> Expression:
        """Bound the splices without a tray: no more are placed than the placed legs of either side can have."""
        able: dict[int, Expression] = {}
        for i, alike in enumerate(self.classes):
            mine = [(self.cuts[key], key) for key in self.cuts if key[0] == i]
            able[i] = self.number(sum(cut.most_spliced * cut.legs for cut, _ in mine) * len(alike.members), "")
            legs = total(cut.most_spliced * self.legs_of[(*key, s.id)] for cut, key in mine for s in self.stacks)
            self.require(able[i] <= legs)
            self.require(able[i] <= total(cut.spliced * self.count[key] for cut, key in mine))
        placed: dict[tuple[str, str], Expression] = {}
        for a, b in self.job.joined_pairs:
            placed[a, b] = self.number(self.job.splices, f"splices of {a} and {b} that are placed")
            for one, other in ((a, b), (b, a)):
                sides = (
                    able[i] for i, alike in enumerate(self.classes) if alike.trunk == one and other in alike.partners
                )
                self.require(placed[a, b] <= total(sides))
        for trunk in self.job.trunks:
            sides = (able[i] for i, alike in enumerate(self.classes) if alike.trunk == trunk.id)
            self.require(total(number for pair, number in placed.items() if trunk.id in pair) <= total(sides))
        return self.job.splices - total(placed.values())

    def draft(self, value: Callable[[Any], int]) -> Draft:
        """Read divisions and ways out of a solution; subunits of a class take the divisions in order."""
        divisions: dict[Key, tuple[int, ...]] = {}
        for i, alike in enumerate(self.classes):
            chosen = [of for (j, (of, _)), n in sorted(self.count.items()) if j == i for _ in range(value(n))]
            divisions.update({(s.trunk, s.number): (of,) for s, of in zip(alike.members, chosen, strict=True)})
        ways = {
            t.id: tuple(w for w in self.ways(t) if value(self.goes(t, w))) for t in self.job.trunks if self.in_box(t)
        }
        return Draft(divisions, ways)
