"""Stretches with divisions settled: then every goal can be said of them, exactly where all subunits keep together.

* All placed legs of such a subunit have one low, that of its first placed stretch, which is where that stretch begins. Divided
  at the tray, or whole, it is one traveller, however many legs it has; divided at the port each of its legs is one.
* Where every splice is placed, a subunit may be parted. Then each of two blocks has a low of its own, if a subunit keeps it
  together: the second one does not follow the first, for then nothing would be parted. A leg never has a low above its own
  position, nor one below where its block and those before it begin. Whatever else may cross is left out.
* Legs of one division have as many fibres each, so a place holds as many legs of a subunit as its fibres there come to.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from itertools import combinations

from trayopt.domain.base import DivideAt
from trayopt.domain.cablework import Subunit
from trayopt.domain.hardware import Place
from trayopt.domain.plan import GoalName
from trayopt.domain.trunk import Trunk
from trayopt.goals.registry import BY_ID as GOALS
from trayopt.rules.base import AnyRule
from trayopt.rules.entrance_legs import EntranceLegs
from trayopt.rules.variables import (  # fmt: skip
    Expression,
    Literal,
    TrunkLegs,
    Variables,
)
from trayopt.solver.bounds.segment_counts import MOST_COUNTS
from trayopt.solver.bounds.segments import WORDS, Segments
from trayopt.solver.model.base import Key
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.literals import total
from trayopt.solver.model.vocabulary import voice


class SettledSegments(Segments):
    """Stretches of settled divisions."""

    swaps = False

    def furnish(self, clock: Clock) -> None:
        """Let the rules speak, and tell where blocks begin and end that nothing keeps together."""
        super().furnish(clock)
        if self.able and not self._kept_together:
            for i, block in enumerate(self.blocks):
                if block.spliced:
                    self._reach(i)

    def voice_for(self, rule: AnyRule) -> Variables | None:
        """Return the legs of each trunk a voice as well, where they can be counted."""
        said = super().voice_for(rule)
        return self.legs_voice if self.able and (said is not None or isinstance(rule, EntranceLegs)) else said

    @cached_property
    def legs_voice(self) -> Variables:
        """What rules and goals may ask where the legs of each trunk can be counted."""
        return voice(self, *WORDS, TrunkLegs)

    def _reach(self, i: int) -> None:
        """Let a block begin and end at its first and last position also where nothing keeps it together."""
        _, begun, ended = self.spans[i]
        for place, lies in self._lies[i].items():
            self.clause(self.no(lies), begun[place.position])
            self.clause(self.no(lies), self.no(ended[place.position - 1]))
        for p in range(1, self._deepest + 1):
            here = [lies for place, lies in self._lies[i].items() if place.position == p]
            self.clause(self.no(begun[p]), begun[p - 1], *here)
            self.clause(ended[p - 1], self.no(ended[p]), *here)

    @cached_property
    def able(self) -> bool:
        """Whether every goal can be said of these stretches.

        Where subunits may be parted, only if every splice is placed and no leg holds fibres of several blocks.
        """
        if self.size > MOST_COUNTS or any(len(of) > 1 for of in self.open.values()):
            return False
        return self._kept_together or (self.all_placed and not self._parts)

    @cached_property
    def _kept_together(self) -> bool:
        """Whether no subunit may be parted."""
        return all(isinstance(together, int) and together for together in self._together.values())

    def exact(self, goal: GoalName) -> bool:
        """Whether a goal is said exactly: what crosses only where all subunits keep together."""
        return goal != "crossings" or self._kept_together

    def close(self, goal: GoalName) -> bool:
        """Whether the bound on a goal is worth asking for: that on crossings is far off where subunits are parted."""
        return goal != "crossings" or self._kept_together

    def goal(self, goal: GoalName) -> Expression:
        """Return a goal as an expression, made once."""
        return self._make(("goal", goal), lambda: self._goal(goal))

    def _goal(self, goal: GoalName) -> Expression:
        if goal == "unplaced":
            return self.unplaced()
        if goal == "legs":
            return self.placed_legs()
        if goal == "crossings":
            return total(cost for trunk in self.job.trunks for cost in self._crossings(trunk))
        return GOALS[goal].encode(self.job, self.legs_voice)

    # -- legs --------------------------------------------------------------------------------------------------------

    def legs_at(self, trunk: Trunk, place: Place) -> Expression:
        """How many legs of a trunk are at a place."""
        return total(self._legs_of_subunit(key, place) for key in self._along if key[0] == trunk.id)

    def _legs_of_subunit(self, key: Key, place: Place) -> Expression:
        """How many legs of a subunit are at a place: as many as its fibres there come to."""
        subunit = self.job.subunit_of_leg[key]
        (of,) = self.divisions(subunit)
        size = subunit.fibres // of
        along = self._along[key]
        if all(self.units[i] % size == 0 for i in along):
            return total(self.units[i] // size * self._number[i][place] for i in along)

        def make() -> Expression:
            legs = self.number(of, f"legs of {subunit.name} at {place}")
            self.require(total(self.units[i] * self._number[i][place] for i in along) == size * legs)
            return legs

        return self._make(("legs at", key, place), make)

    def legs_on(self, trunk: Trunk, stack: str) -> Expression:
        """How many legs of a trunk are on a stack."""
        return total(self.legs_at(trunk, place) for place in self.places if place.stack == stack)

    def most_trunk_legs(self, trunk: Trunk) -> int:
        """Count the legs of a trunk that may be placed."""
        return sum(len(self.legs(subunit, of)) for subunit in trunk.subunits for of in self.divisions(subunit))

    def most_legs_at(self, place: Place) -> int:
        """Bound the legs at a place by all there are."""
        del place
        return sum(map(self.most_trunk_legs, self.job.trunks))

    # -- crossings ---------------------------------------------------------------------------------------------------

    def _low(self, subunit: Subunit) -> list[Literal]:
        """Whether the low of a subunit is at most each position, from 0 up: where its first placed stretch begins."""
        key = (subunit.trunk, subunit.number)
        firsts = list(self._first_placed(key))
        begun: dict[int, list[Literal]] = {i: self.spans[i].begun for i, _ in firsts}
        if len(firsts) == 1:
            return begun[firsts[0][0]]

        def make() -> list[Literal]:
            low: list[Literal] = [self.literal(f"low of {subunit.name} up to {p}") for p in range(self._deepest + 1)]
            for i, free in firsts:
                for up_to, here in zip(low, begun[i], strict=True):
                    self.clause(*free, self.no(here), up_to)
                    self.clause(*free, here, self.no(up_to))
            return low

        return self._make(("low", *key), make)

    def _crossings(self, trunk: Trunk) -> Iterator[Expression]:
        """Count the travellers of a trunk that cross, wherever it may be divided; one of ``free`` holds where it is not."""
        options = self.divide_options(trunk)
        for at in options:
            free = () if len(options) == 1 else (self.no(self.divided_at(trunk, at)),)
            if at == "tray" or self._kept_together:
                yield from self._subunit_crossings(trunk, at, free)
            else:
                yield from self._block_crossings(trunk, free)

    def _subunit_crossings(self, trunk: Trunk, at: DivideAt, free: Sequence[Literal]) -> Iterator[Expression]:
        """Count for each pair of subunits of a trunk the travellers that cross: all of them, or none."""
        subunits = [subunit for subunit in trunk.subunits if self.divisions(subunit)]
        for before, after in combinations(subunits, 2):
            crosses = self.literal(f"{before.name} over {after.name}")
            out = [self.no(self.has_placed(subunit)) for subunit in (before, after)]
            for here, there in zip(self._low(before), self._low(after), strict=True):
                self.clause(*free, *out, self.no(there), here, crosses)
            yield crosses if at == "tray" else self._pairs(before, after, crosses)

    def _legs_at_port(self, subunit: Subunit) -> int:
        """Count the legs that lie in trays if a trunk is divided at the port."""
        (of,) = self.divisions(subunit)
        return len(self.job.spliced_legs(subunit, of))

    def _pairs(self, before: Subunit, after: Subunit, crosses: Literal) -> Expression:
        """Count the pairs of legs of two subunits, if they cross; at least, where neither has all its legs placed."""
        one, other = self._legs_at_port(before), self._legs_at_port(after)
        if self.all_placed or one == other == 1:
            return one * other * crosses
        legs, legs_after = (self.number_placed(s, self.divisions(s)[0]) for s in (before, after))
        whole, whole_after = self._at_least_legs(before, one), self._at_least_legs(after, other)
        pairs = self.number(one * other, f"{before.name} over {after.name}")
        self.require(pairs >= one * legs_after, crosses, whole)
        self.require(pairs >= other * legs, crosses, whole_after)
        for least in {1, (one + 1) // 2}:
            self.require(pairs >= least * legs_after, crosses, self._at_least_legs(before, least))
        return pairs

    def _at_least_legs(self, subunit: Subunit, number: int) -> Literal:
        """Whether at least this many legs of a subunit are placed."""

        def make() -> Literal:
            legs = self.number_placed(subunit, self.divisions(subunit)[0])
            literal = self.literal(f"{number} legs of {subunit.name}")
            self.require(legs >= number, literal)
            self.require(legs < number, self.no(literal))
            return literal

        return self._make(("legs", subunit.trunk, subunit.number, number), make)

    def _block_crossings(self, trunk: Trunk, free: Sequence[Literal]) -> Iterator[Expression]:
        """Count for each pair of blocks along a trunk the legs that cross, as far as the lows of both are known."""
        strands = [
            (i, self._lowest(subunit, n), self._highest(subunit, n))
            for subunit in trunk.subunits
            for n, i in enumerate(self._blocks_along((trunk.id, subunit.number)))
        ]
        for (i, lowest, _), (j, _, highest) in combinations(strands, 2):
            crosses = self.literal(f"{trunk.id}: {self.blocks[i]} over {self.blocks[j]}")
            for here, there in zip(lowest, highest, strict=True):
                self.clause(*free, self.no(there), here, crosses)
            yield self._legs_of(i, trunk) * self._legs_of(j, trunk) * crosses

    def _blocks_along(self, key: Key) -> list[int]:
        """Return the blocks of a subunit in the order of its fibres: at the port its gaps have no legs of their own."""
        return [i for i in self._along.get(key, ()) if self.blocks[i].spliced]

    def _legs_of(self, i: int, trunk: Trunk) -> int:
        (key,) = (key for key in self.blocks[i].keys if key[0] == trunk.id)
        subunit = self.job.subunit_of_leg[key]
        (of,) = self.divisions(subunit)
        return sum(i in self.stretches.parts_of(leg) for leg in subunit.legs(of))

    def _lowest(self, subunit: Subunit, n: int) -> list[Literal]:
        """Whether some leg of the n-th block of a subunit may have a low of at most each position, at the port."""
        key = (subunit.trunk, subunit.number)
        along, together = self._blocks_along(key), self._together[key]
        begun: list[list[Literal]] = [self.spans[i].begun for i in along[: n + 1]]
        if n == 0:
            return begun[0]
        low: list[Literal] = [self.literal(f"{self.blocks[along[n]]} low at {p}") for p in range(self._deepest + 1)]
        tied = [self.no(self._tied(along[m])) for m in (0, n)]
        for up_to, *so in zip(low, *begun, strict=True):
            self.clause(self.no(up_to), *so)
            self.clause(self.no(together), self.no(up_to), so[0])
            if len(along) == 2 and self._tells_parted:
                self.clause(together, *tied, self.no(up_to), so[n])
        return low

    def _highest(self, subunit: Subunit, n: int) -> list[Literal]:
        """Whether all legs of the n-th block of a subunit must have a low of at most each position, at the port."""
        key = (subunit.trunk, subunit.number)
        along, together = self._blocks_along(key), self._together[key]
        first = self.spans[along[0]].begun
        _, begun, ended = self.spans[along[n]]
        low: list[Literal] = [self.literal(f"{self.blocks[along[n]]} low by {p}") for p in range(self._deepest + 1)]
        for up_to, as_first, as_own, all_there in zip(low, first, begun, ended, strict=True):
            self.clause(self.no(together), self.no(as_first), up_to)
            self.clause(self.no(self._tied(along[n])), self.no(as_own), up_to)
            self.clause(self.no(all_there), up_to)
        return low
