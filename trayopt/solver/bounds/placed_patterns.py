"""Which bunches are placed where splices stay out: closed patterns, each of which lies in one tray or is left out whole.

It joins the counts by stack, and holds for every plan. The placed legs of a plan are parted into bunches, each with all that its
legs are spliced to:

* Bunches of one kind have legs of the same classes at the same divisions, each of them the same group of its subunit, and bring
  the same. They are counted, on each stack.
* A subunit with a placed leg has one division, so no more bunches have a leg of some group of a class than subunits of the class
  have its division. Where the trunk is divided at the tray alone, all legs are placed, parked ones as well, or none.
* The legs of the bunches on a stack are the legs that the counts have there, which ways and guides bind.
* The trays of a stack hold the fibre ends and sleeves of its bunches, no bunch needs more sleeves than some tray has, and bunches
  take no more shares of trays than there are trays (``tray_shares.py``).
* A trunk with a placed bunch is in the box.

Places and order are left out.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from trayopt.domain.assignment import Way
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Stack
from trayopt.domain.ranges import Run
from trayopt.rules.variables import Constraint, Expression
from trayopt.solver.bounds.classes import Choice
from trayopt.solver.bounds.closed_patterns import Bunch, closed_bunches
from trayopt.solver.bounds.stack_counts import StackCounts
from trayopt.solver.bounds.tied_subunits import room_of
from trayopt.solver.bounds.tray_shares import fit_trays, holds_fibres, holds_sleeves, most_sleeves2
from trayopt.solver.model.base import Divisions, Key, legs_with, sleeves_of_legs
from trayopt.solver.model.literals import total

MOST_KINDS = 1000
"""With more kinds of bunches than this nothing is said of them: answers would take long."""


class ClassLeg(NamedTuple):
    """A leg of some subunit of a class: the class by its number, the division, and which group of the subunit."""

    of_class: int
    of: int
    group: int


class Kind(NamedTuple):
    """The legs of a bunch by class, and what it brings: fibre ends, twice its sleeves at least, and splices."""

    legs: tuple[ClassLeg, ...]
    ends: int
    sleeves2: int
    splices: int


@dataclass(frozen=True)
class Placed:
    """What a solution places: divisions, the way of each trunk in the box, and the legs of these divisions that stay out."""

    divisions: Divisions
    ways: Mapping[str, Sequence[Way]]
    out: frozenset[Leg]


class PlacedPatterns:
    """The placed bunches of plans that are counted, by the divisions that a subunit with a placed leg may have.

    ``listed`` tells whether bunches could be listed; where not, nothing is posted.
    """

    def __init__(self, counts: StackCounts, divisions: Divisions) -> None:
        self._counts, self._divisions = counts, divisions
        self.job = counts.job
        self._class: dict[Key, int] = {
            (s.trunk, s.number): i for i, alike in enumerate(counts.classes) for s in alike.members
        }
        kinds = self._kinds()
        self.listed = kinds is not None and len(kinds) <= MOST_KINDS
        """Whether anything is said."""
        self._here: dict[str, dict[Kind, Expression]] = {stack.id: {} for stack in counts.stacks}
        """How many bunches of each kind lie on each stack."""
        if self.listed:
            self._count(kinds or {})
            self._divide()
            for stack in counts.stacks:
                self._fill(stack)

    def _kinds(self) -> Counter[Kind] | None:
        """Sort the bunches that some tray takes into kinds, and count them; None where they are too many or without a limit."""
        job = self.job
        if not holds_fibres(job):
            return None
        sides = {piece: (self._with(piece.a), self._with(piece.b)) for piece in job.pieces}
        loads = {leg: job.ends(leg) for legs in self._legs.values() for leg in legs}
        listed = closed_bunches(sides, loads, room_of(job))
        if listed is None:
            return None
        size = job.enclosure.trays[0].sleeve_fibres
        sleeves = sleeves_of_legs(job, lambda s: self._divisions[s.trunk, s.number], size)
        found = Counter(self._kind_of(bunch, sleeves) for bunch in listed)
        if not holds_sleeves(job):
            return found
        return Counter({kind: number for kind, number in found.items() if kind.sleeves2 <= most_sleeves2(job)})

    def _with(self, run: Run) -> tuple[Leg, ...]:
        """Return the legs that hold a run, one a division."""
        return legs_with(self.job, lambda s: self._divisions[s.trunk, s.number], run)

    def _kind_of(self, bunch: Bunch, sleeves: Mapping[Leg, int]) -> Kind:
        job = self.job
        legs = (ClassLeg(self._class[leg.trunk, leg.subunit], leg.of, leg.group) for leg in bunch)
        return Kind(
            tuple(sorted(legs)),
            sum(map(job.ends, bunch)),
            sum(sleeves.get(leg, 0) for leg in bunch),
            sum(map(job.spliced_fibres, bunch)) // 2,
        )

    @cached_property
    def _legs(self) -> dict[tuple[Key, int], tuple[Leg, ...]]:
        """Every leg of a division that can be placed."""
        job = self.job
        return {
            (key, of): job.legs_in(job.subunit_of_leg[key], of, job.trunk_by_id[key[0]].divide_at[0])
            for key, open_ in self._divisions.items()
            for of in open_
        }

    def _count(self, kinds: Mapping[Kind, int]) -> None:
        """Count the bunches of each kind on each stack."""
        counts = self._counts
        for kind, most in kinds.items():
            for stack in counts.stacks:
                self._here[stack.id][kind] = counts.number(most, f"bunches on {stack.id}")
            number = total(here[kind] for here in self._here.values())
            counts.require(number <= most)
            for trunk in dict.fromkeys(counts.classes[leg.of_class].trunk for leg in kind.legs):
                counts.require(number <= most * counts.in_box(self.job.trunk_by_id[trunk]))

    def _divide(self) -> None:
        """Let bunches be of the divisions that are counted, and have the legs that are counted on each stack."""
        counts = self._counts
        on: dict[tuple[int, int, str], list[Expression]] = defaultdict(list)
        of_group: dict[ClassLeg, list[Expression]] = {
            ClassLeg(self._class[key], of, leg.group): [] for (key, of), legs in self._legs.items() for leg in legs
        }
        for stack, here in self._here.items():
            for kind, number in here.items():
                for leg, times in Counter(kind.legs).items():
                    on[leg.of_class, leg.of, stack].append(times * number)
                    of_group[leg].append(times * number)
        choices: dict[tuple[int, int], list[Choice]] = defaultdict(list)
        for i, choice in counts.count:
            choices[i, choice[0]].append(choice)
        for (i, of), found in choices.items():
            for stack in self._here:
                legs = total(counts.legs_of[i, choice, stack] for choice in found)
                counts.require(legs == total(on[i, of, stack]))
        for leg, numbers in of_group.items():
            divided = total(counts.count[leg.of_class, choice] for choice in choices[leg.of_class, leg.of])
            trunk = self.job.trunk_by_id[counts.classes[leg.of_class].trunk]
            whole = counts.divide_options(trunk) == ("tray",)
            counts.require(total(numbers) == divided if whole else total(numbers) <= divided)

    def _fill(self, stack: Stack) -> None:
        """Let the trays of a stack hold what is placed there."""
        for constraint in self._shares(stack, stack.positions):
            self._counts.require(constraint)

    def _shares(self, stack: Stack, trays: Expression) -> Iterable[Constraint]:
        """Yield that what lies on a stack takes no more, and no more shares, than so many trays have."""
        here = self._here[stack.id]
        ends, sleeves2 = {kind: kind.ends for kind in here}, {kind: kind.sleeves2 for kind in here}
        return fit_trays(self.job, here, ends, sleeves2, stack.kinds, trays)

    def trays(self) -> Expression:
        """Bound the used trays from below: they hold all that is placed, and its shares."""
        counts, found = self._counts, []
        for stack in counts.stacks:
            trays = counts.number(stack.positions, f"used trays on {stack.id}")
            found.append(trays)
            for constraint in self._shares(stack, trays):
                counts.require(constraint)
        return total(found)

    def legs(self) -> Expression:
        """Count the placed legs, parked ones as well."""
        return self._sum(lambda kind: len(kind.legs))

    def unplaced(self) -> Expression:
        """Count the splices without a tray."""
        return self.job.splices - self._sum(lambda kind: kind.splices)

    def _sum(self, size: Callable[[Kind], int]) -> Expression:
        """Sum a size over all placed bunches."""
        return total(size(kind) * number for here in self._here.values() for kind, number in here.items())

    def read(self, value: Callable[[Expression], int]) -> Placed:
        """Read a solution; subunits of a class have the divisions that some of them have, and all that are open without one."""
        counts = self._counts
        used = {(i, choice[0]) for (i, choice), number in counts.count.items() if value(number)}
        divisions = {
            key: tuple(of for of in open_ if (self._class[key], of) in used) or tuple(open_)
            for key, open_ in self._divisions.items()
        }
        placed = {leg for here in self._here.values() for kind, n in here.items() if value(n) for leg in kind.legs}
        ways = {t.id: tuple(way for way in counts.ways(t) if value(counts.goes(t, way))) for t in self.job.trunks}
        return Placed(
            divisions,
            {trunk: found for trunk, found in ways.items() if found},
            frozenset(
                leg
                for key, open_ in divisions.items()
                for of in open_
                for leg in self._legs[key, of]
                if ClassLeg(self._class[key], of, leg.group) not in placed
            ),
        )
