"""Counts by class: how many subunits of each class have which division, and how many of their legs lie on each stack.

Subunits that nothing tells apart form a class, and only counts are decided. Trunks that are spliced to each other bring equally
many splices to a stack, where that can be counted. All holds under the guards of its groups (``stack_counts.py`` has the rules).
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from trayopt.domain.assignment import Way
from trayopt.domain.base import EPSILON
from trayopt.domain.cable import FIBRE_RADIUS_MM
from trayopt.domain.cablework import Subunit
from trayopt.domain.finding import Group
from trayopt.domain.hardware import Place, Stack
from trayopt.domain.trunk import Trunk
from trayopt.rules.base import AnyRule
from trayopt.rules.bend_radius import BendRadius
from trayopt.rules.fibre_bend import FibreBend
from trayopt.rules.variables import Expression, Literal
from trayopt.solver.bounds.classes import Choice, Class, Division, classes_of
from trayopt.solver.model.base import Base, Key
from trayopt.solver.model.groups import Question
from trayopt.solver.model.literals import total
from trayopt.solver.model.lots import Lot, lots_of
from trayopt.solver.model.posting import guard

Kind = tuple[int, Choice]
"""A class by its number, and one of its divisions."""


class LotKind(NamedTuple):
    """Lots that counts cannot tell apart: by class their whole subunits, and their fibres that have a splice."""

    wholes: tuple[tuple[int, int], ...]
    spliced: tuple[tuple[int, int], ...]

    def spliced_of(self, of: int) -> int:
        """How many fibres of a class have a splice in such a lot."""
        return dict(self.spliced).get(of, 0)

    @property
    def splices(self) -> int:
        """How many splices such a lot has."""
        return sum(number for _, number in self.spliced) // 2


@dataclass(frozen=True)
class Draft:
    """Divisions and ways with which counts by stack balance."""

    divisions: Mapping[Key, Sequence[int]]
    ways: Mapping[str, Sequence[Way]]


class ClassCounts(Base):
    """The subunits of a question by class, every group under its guard.

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
        self.kinds: dict[Kind, Division] = {}
        """Every class at each division that it can have."""
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
        self.lots: dict[LotKind, Expression] = {}
        """How many lots of each kind are placed, where not all need be."""
        self._on = {(t.id, s.id): self._used(t, s) for t in self.job.trunks for s in self.stacks}
        self._pairs()

    def _asks(self, rule: type[AnyRule]) -> bool:
        return rule.id in self.question.by_rule

    def _held(self, rule: type[AnyRule], subject: str) -> Literal:
        return guard(self, Group(rule.id, subject))

    def _class(self, i: int, alike: Class) -> None:
        """Decide how many subunits of a class have each division, and on which stacks their legs are."""
        trunk, n = self.job.trunk_by_id[alike.trunk], len(alike.members)
        for division in alike.divisions:
            tube = self.routes.traveller(trunk, alike.members[0], division.of, division.at)
            if tube is None:
                continue
            self.kinds[i, division.choice] = division
            count = self.count[i, division.choice] = self.number(
                n, f"{alike.members[0].name} and like it in {division.of}"
            )
            if division.of > 1:
                self.require(count <= n * self.divided_at(trunk, division.at))
            at_tray = division.at == "tray"
            parts = [self.number(n if at_tray else n * division.legs, "") for _ in self.stacks]
            for stack, part in zip(self.stacks, parts, strict=True):
                self.legs_of[i, division.choice, stack.id] = division.legs * part if at_tray else part
                if at_tray:
                    self.wholes[i, division.choice, stack.id] = part
            if at_tray:
                self.require(total(parts) == count)
            elif self.all_placed:
                self.require(total(parts) == division.legs * count)
            else:
                self.require(total(parts) <= division.legs * count)
                self.require(total(parts) >= count)
            if self._asks(BendRadius) and tube.radius_mm > self.job.enclosure.track.min_radius_mm + EPSILON:
                self.require(count <= self._free(BendRadius, alike.members))
            self._fibre_bend(i, division, trunk, alike.members)
        self.outside[i] = 0 if self.all_placed else self.number(n, f"{alike.members[0].name} and like it outside")
        self.require(self.outside[i] + total(count for (j, _), count in self.count.items() if j == i) == n)

    def _free(self, rule: type[AnyRule], members: tuple[Subunit, ...]) -> Expression:
        """How many of these subunits are not held to a rule."""
        return len(members) - total(self._held(rule, subunit.name) for subunit in members)

    def _fibre_bend(self, i: int, division: Division, trunk: Trunk, members: tuple[Subunit, ...]) -> None:
        """Keep as many subunits as are held off stacks with trays too tight for their fibres."""
        least = FIBRE_RADIUS_MM[trunk.cable.fibre] - EPSILON
        tight = [stack for stack in self.stacks if max(tray.min_radius_mm for tray in stack.kinds) < least]
        if self._asks(FibreBend) and tight:
            free = self._free(FibreBend, members)
            self.require(total(self.legs_of[i, division.choice, stack.id] for stack in tight) <= division.legs * free)

    def _used(self, trunk: Trunk, stack: Stack) -> Literal:
        """Whether a trunk has a leg on a stack."""
        here = self._mine(trunk)
        if not here:
            return 0
        used = self.literal(f"{trunk.id} on {stack.id}")
        for i, choice in here:
            most = len(self.classes[i].members) * self.kinds[i, choice].legs
            self.require(self.legs_of[i, choice, stack.id] <= most * used)
        self.require(used <= self.in_box(trunk))
        return used

    def _mine(self, trunk: Trunk) -> list[Kind]:
        return [(i, choice) for i, choice in self.kinds if self.classes[i].trunk == trunk.id]

    def _pairs(self) -> None:
        """Let two joined trunks have as many splices with each other on a stack, where that can be counted."""
        shares: dict[tuple[str, str], list[Kind]] = defaultdict(list)
        plain: dict[tuple[str, str], bool] = defaultdict(lambda: True)
        for key, division in self.kinds.items():
            alike = self.classes[key[0]]
            for partner in alike.partners:
                shares[alike.trunk, partner].append(key)
                plain[alike.trunk, partner] &= len(alike.partners) == 1 and division.splices is not None
        self.shared = [
            (tuple(shares[a, b]), tuple(shares[b, a])) for a, b in self.job.joined_pairs if plain[a, b] and plain[b, a]
        ]
        """Kinds of legs of either side of each pair of trunks that is spliced to no other trunk there, leg for leg alike."""
        for stack in self.stacks:
            self.share({key: self.legs_of[(*key, stack.id)] for key in self.kinds})

        if not self.all_placed:
            for i, j in self._matched():
                self.require(self.outside[i] == self.outside[j])
            self._lots()

    def _lots(self) -> None:
        """Count the placed lots of each kind; lots with whole subunits are counted on each stack."""
        classes = {(s.trunk, s.number): i for i, alike in enumerate(self.classes) for s in alike.members}
        on: dict[tuple[int, str], list[Expression]] = defaultdict(list)
        touching: dict[str, list[Expression]] = defaultdict(list)
        for kind, n in Counter(self._kind_of(lot, classes) for lot in lots_of(self.job)).items():
            parts = [self.number(n, f"lots on {stack.id}") for stack in self.stacks] if kind.wholes else []
            number = self.lots[kind] = total(parts) if parts else self.number(n, "lots")
            self.require(number <= n)
            for stack, part in zip(self.stacks, parts, strict=False):
                for i, whole in kind.wholes:
                    on[i, stack.id].append(whole * part)
            for trunk in dict.fromkeys(self.classes[i].trunk for i, _ in kind.spliced):
                self.require(number <= n * self.in_box(self.job.trunk_by_id[trunk]))
                touching[self.job.ends_of(self.job.trunk_by_id[trunk])[0].id].append(number)
        for name, numbers in touching.items():
            self.require(self.in_box(self.job.trunk_by_id[name]) <= total(numbers))
        for i, alike in enumerate(self.classes):
            if self.divide_options(self.job.trunk_by_id[alike.trunk]) == ("tray",):
                for stack in self.stacks:
                    wholes = total(self.wholes.get((*key, stack.id), 0) for key in self.kinds if key[0] == i)
                    self.require(wholes == total(on[i, stack.id]))

    def _kind_of(self, lot: Lot, of: Mapping[Key, int]) -> LotKind:
        """Say of a lot what counts can tell of it; ``of`` is the class of each subunit."""
        spliced: Counter[int] = Counter()
        for piece in lot.pieces:
            for side in (piece.a, piece.b):
                spliced[of[side.trunk, self.job.trunk_by_id[side.trunk].subunit_of(side.first).number]] += piece.count
        wholes = Counter(of[key] for key in lot.wholes)
        return LotKind(tuple(sorted(wholes.items())), tuple(sorted(spliced.items())))

    def _matched(self) -> set[tuple[int, int]]:
        """Return the pairs of classes whose subunits are spliced one to one: if one has no placed leg, the other has none."""
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
            one, other = (total((self.kinds[key].splices or 0) * legs.get(key, 0) for key in keys) for keys in sides)
            self.require(one == other)

    # -- trunks --------------------------------------------------------------------------------------------------------

    def divisions(self, subunit: Subunit) -> tuple[int, ...]:
        """Return a single stand-in for all divisions that a spliced subunit may have."""
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
        for i in range(len(self.classes)):
            mine = [(self.kinds[key], key) for key in self.kinds if key[0] == i]
            spliced = total(kind.spliced_of(i) * number for kind, number in self.lots.items())
            legs = total(
                division.most_spliced * self.legs_of[(*key, s.id)] for division, key in mine for s in self.stacks
            )
            self.require(spliced <= legs)
            self.require(spliced <= total(division.spliced * self.count[key] for division, key in mine))
        return self.job.splices - total(kind.splices * number for kind, number in self.lots.items())

    def draft(self, value: Callable[[Expression], int]) -> Draft:
        """Read divisions and ways out of a solution; subunits of a class take the divisions in order."""
        divisions: dict[Key, tuple[int, ...]] = {}
        for i, alike in enumerate(self.classes):
            chosen = [of for (j, (of, _)), n in sorted(self.count.items()) if j == i for _ in range(value(n))]
            divisions.update({(s.trunk, s.number): (of,) for s, of in zip(alike.members, chosen, strict=True)})
        ways = {
            t.id: tuple(w for w in self.ways(t) if value(self.goes(t, w))) for t in self.job.trunks if self.in_box(t)
        }
        return Draft(divisions, ways)
