"""Blocks with divisions settled: then every goal can be said of them, exactly where all subunits keep together.

* All placed legs of such a subunit have one low, that of its first placed block, which is where that block begins.
* Where every splice is placed, a subunit may be parted. Then each of two blocks has a low of its own, if a subunit keeps it
  together: the second one does not follow the first, for then nothing would be parted. A leg never has a low above its own
  position, nor one below where its block and those before it begin. Whatever else may cross is left out, and a step down to or
  from a block that nothing keeps together counts only where all of it lies above or below; both only relax.
* Each place of a block holds as many legs of either side as their splices there come to.
* Inside a block the walk over the splices never steps down: its positions do not fall, and it lies on one stack. So it steps
  down only from one placed block to the next, where that begins before the place at which this one ends.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from itertools import combinations
from typing import Any

from trayopt.domain.cablework import Subunit
from trayopt.domain.hardware import Place
from trayopt.domain.job import Trunk
from trayopt.domain.plan import GoalName
from trayopt.goals.registry import BY_ID as GOALS
from trayopt.rules.base import Rule
from trayopt.rules.variables import (
    Cuts,
    FirstStacks,
    LeastLoads,
    LegNumbers,
    LegPlaces,
    Pairs,
    Trays,
    TrunkLegs,
    TrunkPlaces,
    TrunkStacks,
    TrunkWays,
    Variables,
)  # fmt: skip
from trayopt.solver.bounds.division import Divider
from trayopt.solver.bounds.segment_counts import MOST_COUNTS
from trayopt.solver.bounds.segments import Segments
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.literals import total
from trayopt.solver.model.model import Divisions
from trayopt.solver.model.posting import Policy
from trayopt.solver.model.vocabulary import voice


class SettledSegments(Segments):
    """Blocks of settled divisions."""

    swaps = False

    def __init__(
        self, divider: Divider, divisions: Divisions, policy: Policy, *, all_placed: bool, clock: Clock
    ) -> None:
        super().__init__(divider, divisions, policy, all_placed=all_placed, clock=clock)
        if self.able and not self._kept_together:
            for i in range(len(self.blocks)):
                self._reach(i)

    def voice_for(self, rule: Rule[Any]) -> Variables | None:
        """Give the legs of each trunk a voice as well, where they can be counted."""
        said = super().voice_for(rule)
        return self.legs_voice if said is not None and self.able else said

    @cached_property
    def legs_voice(self) -> Variables:
        """What rules and goals may ask where the legs of each trunk can be counted."""
        return voice(
            self,
            TrunkWays,
            TrunkStacks,
            TrunkPlaces,
            TrunkLegs,
            FirstStacks,
            Cuts,
            LegNumbers,
            LegPlaces,
            Pairs,
            Trays,
            LeastLoads,
        )

    def _reach(self, i: int) -> None:
        """Let a block begin and end at its first and last position also where nothing keeps it together."""
        _, begun, ended = self._made["block", i]
        for place, lies in self._lies[i].items():
            self.clause(self.no(lies), begun[place.position])
            self.clause(self.no(lies), self.no(ended[place.position - 1]))
        for p in range(1, self._deepest + 1):
            here = [lies for place, lies in self._lies[i].items() if place.position == p]
            self.clause(self.no(begun[p]), begun[p - 1], *here)
            self.clause(ended[p - 1], self.no(ended[p]), *here)

    @cached_property
    def able(self) -> bool:
        """Whether every goal can be said of these blocks; where splices may stay out, only if all subunits keep together."""
        if self.size > MOST_COUNTS or self._parts or any(len(of) > 1 for of in self.open.values()):
            return False
        return (self.all_placed or self._kept_together) and all(self._leg_splices.values())

    @cached_property
    def _kept_together(self) -> bool:
        """Whether no subunit may be parted."""
        return all(isinstance(together, int) and together for together in self._together.values())

    @cached_property
    def _leg_splices(self) -> dict[tuple[int, str], int]:
        """Splices of one leg of a trunk in a block; 0 where its legs there differ or do not make up its units."""
        found = {}
        for i, block in enumerate(self.blocks):
            for trunk, number, _ in (block.a, block.b):
                subunit = self.job.subunit_of_leg[trunk, number]
                (of,) = self.divisions(subunit)
                parts = {part for leg in self.legs(subunit, of) if (part := self.parts_of(leg).get(i))}
                same = parts.pop() if len(parts) == 1 else 0
                found[i, trunk] = same if same and self.units[i] % same == 0 else 0
        return found

    def exact(self, goal: GoalName) -> bool:
        """Whether a goal is said exactly: what crosses or steps down only where all subunits keep together."""
        return goal not in {"crossings", "out_of_turn"} or self._kept_together

    def close(self, goal: GoalName) -> bool:
        """Whether the bound on a goal is worth asking for: that on crossings is far off where subunits are parted."""
        return goal != "crossings" or self._kept_together

    def goal(self, goal: GoalName) -> Any:
        """Give a goal as an expression, made once."""
        return self._make(("goal", goal), lambda: self._goal(goal))

    def _goal(self, goal: GoalName) -> Any:
        if goal == "unplaced":
            return self.unplaced()
        if goal == "legs":
            return self.placed_legs()
        if goal == "crossings":
            crossings = self._crossings if self._kept_together else self._block_crossings
            return total(cost for trunk in self.job.trunks for cost in crossings(trunk))
        if goal == "out_of_turn":
            return total(self._steps_down())
        return GOALS[goal].encode(self.job, self.legs_voice)

    # -- legs --------------------------------------------------------------------------------------------------------

    def legs_at(self, trunk: Trunk, place: Place) -> Any:
        """How many legs of a trunk are at a place."""
        return total(
            self.units[i] // self._leg_splices[i, trunk.id] * self._number[i][place] for i in self._of_trunk(trunk.id)
        )

    def legs_on(self, trunk: Trunk, stack: str) -> Any:
        """How many legs of a trunk are on a stack."""
        return total(self.legs_at(trunk, place) for place in self.places if place.stack == stack)

    # -- crossings ---------------------------------------------------------------------------------------------------

    def _low(self, subunit: Subunit) -> list[Any]:
        """Whether the low of a subunit is at most each position, from 0 up: where its first placed block begins."""
        along = self._along[subunit.trunk, subunit.number]
        begun = [self._made["block", i][1] for i in along]
        if self.all_placed:
            first: list[Any] = begun[0]
            return first
        low = [self.literal(f"low of {subunit.name} up to {p}") for p in range(self._deepest + 1)]
        for n, i in enumerate(along):
            free = [self._gone[i], *(self.no(self._gone[b]) for b in along[:n])]
            for up_to, here in zip(low, begun[n], strict=True):
                self.clause(*free, self.no(here), up_to)
                self.clause(*free, here, self.no(up_to))
        return low

    def _crossings(self, trunk: Trunk) -> Iterator[Any]:
        """Count for each pair of subunits of a trunk the legs that cross: all their placed legs, or none."""
        subunits = [subunit for subunit in trunk.subunits if self.divisions(subunit)]
        lows = {subunit.number: self._low(subunit) for subunit in subunits}
        for before, after in combinations(subunits, 2):
            crosses = self.literal(f"{before.name} over {after.name}")
            for here, there in zip(lows[before.number], lows[after.number], strict=True):
                self.clause(self.no(there), here, crosses)
            yield self._pairs(before, after, crosses)

    def _pairs(self, before: Subunit, after: Subunit, crosses: Any) -> Any:
        """Count the pairs of legs of two subunits, if they cross; at least, where neither has all its legs placed."""
        one, other = (len(self.legs(subunit, self.divisions(subunit)[0])) for subunit in (before, after))
        if self.all_placed:
            return one * other * crosses
        legs, legs_after = (self.number_placed(s, self.divisions(s)[0]) for s in (before, after))
        whole, whole_after = self._at_least_legs(before, one), self._at_least_legs(after, other)
        pairs = self.number(one * other, f"{before.name} over {after.name}")
        self.require(pairs >= one * legs_after, crosses, whole)
        self.require(pairs >= other * legs, crosses, whole_after)
        for least in {1, (one + 1) // 2}:
            self.require(pairs >= least * legs_after, crosses, self._at_least_legs(before, least))
        return pairs

    def _at_least_legs(self, subunit: Subunit, number: int) -> Any:
        """Whether so many legs of a subunit are placed."""

        def make() -> Any:
            legs = self.number_placed(subunit, self.divisions(subunit)[0])
            literal = self.literal(f"{number} legs of {subunit.name}")
            self.require(legs >= number, literal)
            self.require(legs < number, self.no(literal))
            return literal

        return self._make(("legs", subunit.trunk, subunit.number, number), make)

    def _block_crossings(self, trunk: Trunk) -> Iterator[Any]:
        """Count for each pair of blocks along a trunk the legs that cross, as far as the lows of both are known."""
        strands = [
            (i, self._lowest(subunit, n), self._highest(subunit, n))
            for subunit in trunk.subunits
            for n, i in enumerate(self._along.get((trunk.id, subunit.number), ()))
        ]
        for (i, lowest, _), (j, _, highest) in combinations(strands, 2):
            crosses = self.literal(f"{trunk.id}: {self.blocks[i]} over {self.blocks[j]}")
            for here, there in zip(lowest, highest, strict=True):
                self.clause(self.no(there), here, crosses)
            yield self._legs_of(i, trunk) * self._legs_of(j, trunk) * crosses

    def _legs_of(self, i: int, trunk: Trunk) -> int:
        return self.blocks[i].splices // self._leg_splices[i, trunk.id]

    def _lowest(self, subunit: Subunit, n: int) -> list[Any]:
        """Whether some leg of the n-th block of a subunit may have a low of at most each position."""
        along, together = self._along[subunit.trunk, subunit.number], self._together[subunit.trunk, subunit.number]
        begun: list[list[Any]] = [self._made["block", i][1] for i in along[: n + 1]]
        if n == 0:
            return begun[0]
        low = [self.literal(f"{self.blocks[along[n]]} low at {p}") for p in range(self._deepest + 1)]
        tied = [self.no(self._tied(along[m])) for m in (0, n)]
        for up_to, *so in zip(low, *begun, strict=True):
            self.clause(self.no(up_to), *so)
            self.clause(self.no(together), self.no(up_to), so[0])
            if len(along) == 2:
                self.clause(together, *tied, self.no(up_to), so[n])
        return low

    def _highest(self, subunit: Subunit, n: int) -> list[Any]:
        """Whether all legs of the n-th block of a subunit must have a low of at most each position."""
        along, together = self._along[subunit.trunk, subunit.number], self._together[subunit.trunk, subunit.number]
        first = self._made["block", along[0]][1]
        _, begun, ended = self._made["block", along[n]]
        low = [self.literal(f"{self.blocks[along[n]]} low by {p}") for p in range(self._deepest + 1)]
        for up_to, as_first, as_own, all_there in zip(low, first, begun, ended, strict=True):
            self.clause(self.no(together), self.no(as_first), up_to)
            self.clause(self.no(self._tied(along[n])), self.no(as_own), up_to)
            self.clause(self.no(all_there), up_to)
        return low

    # -- the walk ----------------------------------------------------------------------------------------------------

    def _steps_down(self) -> Iterator[Any]:
        """Tell for each block and each that can be the next placed one whether the walk steps down between them."""
        rank = {stack.id: i for i, stack in enumerate(self.stacks)}
        for i in range(len(self.blocks) - 1):
            nexts = range(i + 1, i + 2) if self.all_placed else range(i + 1, len(self.blocks))
            down = self.literal(f"down after {self.blocks[i]}")
            for j in nexts:
                placed = [self._gone[i], self._gone[j], *(self.no(self._gone[b]) for b in range(i + 1, j))]
                loose, loose_next = self.no(self._tied(i)), self.no(self._tied(j))
                on, begun, ended = self._made["block", i]
                on_next, begun_next, ended_next = self._made["block", j]
                for p in range(1, self._deepest + 1):
                    # ends above a position up to which the next one begins: so it does, loose or not, if all of it lies above
                    self.clause(*placed, loose, loose_next, self.no(begun_next[p - 1]), ended[p - 1], down)
                    if not self._kept_together:
                        self.clause(*placed, loose, self.no(ended_next[p - 1]), ended[p - 1], down)
                        self.clause(*placed, loose_next, self.no(begun_next[p - 1]), begun[p - 1], down)
                        self.clause(*placed, self.no(ended_next[p - 1]), begun[p - 1], down)
                    for stack, after in combinations(sorted(rank, key=rank.__getitem__), 2):
                        # begins at the very position at which the block before ends, on an earlier stack
                        here = [self.no(begun_next[p]), ended[p - 1], self.no(on[after]), self.no(on_next[stack])]
                        self.clause(*placed, loose, loose_next, *here, down)
            yield down
