"""Stretches at tray places under the rules: what rules and the first goals ask for, said of counts (``segment_counts.py``).

Rules bind at places and ways as they do in the whole model, as far as they ask for nothing but fibres, legs by number, ties of
trays and ways.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping
from functools import cached_property
from itertools import pairwise, product

from trayopt.domain.cablework import Subunit
from trayopt.domain.hardware import Place
from trayopt.domain.splicing import Done, SleeveRun
from trayopt.domain.trunk import Trunk
from trayopt.rules.base import AnyRule
from trayopt.rules.divided_at_tray import DividedAtTray
from trayopt.rules.entrance_legs import EntranceLegs
from trayopt.rules.guide_fill import GuideFill
from trayopt.rules.opened_tube import OpenedTube
from trayopt.rules.subunit_together import SubunitTogether
from trayopt.rules.variables import (  # fmt: skip
    CannotSay,
    Cuts,
    Expression,
    FirstStacks,
    Joins,
    JoinStacks,
    LeastLoads,
    LegNumbers,
    LegPlaces,
    Literal,
    Pairs,
    Partings,
    Ribbons,
    StackTrays,
    Ties,
    Trays,
    TrunkLegs,
    TrunkPlaces,
    TrunkStacks,
    TrunkWays,
    Variables,
    Windows,
)
from trayopt.solver.bounds.least_legs import LeastLegs
from trayopt.solver.bounds.ribbon_choices import leave_room
from trayopt.solver.bounds.segment_counts import SegmentCounts
from trayopt.solver.bounds.stretches import joins_apart
from trayopt.solver.bounds.tube_areas import TubeAreas
from trayopt.solver.model.base import Divisions, Key, UsedTrays
from trayopt.solver.model.capacity_cuts import Burden, cut_capacity
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.literals import OnStack, is_false, total
from trayopt.solver.model.posting import Poster, let_speak, speaks
from trayopt.solver.model.symmetry import alike
from trayopt.solver.model.vocabulary import voice

WORDS: tuple[type, ...] = (
    TrunkWays,
    Windows,
    Partings,
    Ribbons,
    TrunkStacks,
    TrunkPlaces,
    FirstStacks,
    Cuts,
    LegNumbers,
    LegPlaces,
    Pairs,
    Joins,
    JoinStacks,
    Trays,
    StackTrays,
    Ties,
    LeastLoads,
)
"""What rules and goals may ask of stretches at places."""


class Segments(SegmentCounts, UsedTrays):
    """The stretches of a job at tray places, with the rules that can be said of them."""

    swaps = True
    """Whether nothing is asked of these stretches that tells stacks apart which the rules do not."""
    _legs_wait = False
    """Whether entrances of trays take only so many legs, and legs are not counted yet."""
    _tubes_vary = False
    """Whether what passes guides depends on divisions, and tubes are not followed to stacks yet."""

    def furnish(self, clock: Clock) -> None:
        """Let the rules speak, and say what holds of all stretches together."""
        self.kept = let_speak(self, self.voice_for, self.policy)
        cut_capacity(self, self.kept, *self._burdens())
        if self.all_placed and self.policy.physical == "hard":
            leave_room(self)
        if self.all_placed and self.policy.must == "hard" and self.job.rules[GuideFill.id].level == "must":
            self._tubes_vary = TubeAreas(self).fit_sums(clock)
        if self.swaps:
            self._break_ties()

    @cached_property
    def voice(self) -> Variables:
        """What rules and goals may ask."""
        return voice(self, *WORDS)

    def voice_for(self, rule: AnyRule) -> Variables | None:
        """Give the voice to every rule that is not read here: stretches keep subunits together, and count for guides."""
        if isinstance(rule, EntranceLegs):
            self._legs_wait = self.policy.mode(self.job, rule) == "hard"
            return None if self._legs_wait else self._voice_of_legs
        return None if isinstance(rule, SubunitTogether | DividedAtTray | OpenedTube | GuideFill) else self.voice

    @cached_property
    def _least_legs(self) -> LeastLegs:
        return LeastLegs(self, self._legs_placed)

    @property
    def _voice_of_legs(self) -> Variables:
        return voice(self, TrunkWays, TrunkLegs, instead=self._least_legs)

    def crowds(self, divisions: Divisions, fibres: Mapping[tuple[int, Place], int]) -> bool:
        """Whether a layout has more legs than entrances of trays take, which are not asked for yet."""
        return self._legs_wait and not self._least_legs.fit(divisions, fibres)

    def count_legs(self) -> None:
        """Count the legs at places, and let entrances of trays take no more.

        It makes the model half as large again: it is for layouts that crowd entrances.
        """
        self._legs_wait = False
        rule = EntranceLegs()
        speaks(rule, self, self._voice_of_legs, Poster(self, rule, "hard"))

    def follow_tubes(self) -> bool:
        """Follow tubes to each stack and by each way, and let guides take them; says whether that can bound anything more.

        It makes the model much slower and most often bounds little more: it is for layouts of which no plan comes.
        """
        if not self._tubes_vary:
            return False
        self._tubes_vary = False
        TubeAreas(self).fit_guides()
        return True

    def _break_ties(self) -> None:
        """Let the first stretches on stacks that are alike come in the order of the stacks: nothing else tells these apart."""
        for group in alike(self, [stack.id for stack in self.stacks]):
            for before, stack in pairwise(group):
                for i in range(len(self.blocks)):
                    earlier = (self.spans[j].on[before] for j in range(i))
                    self.clause(self.no(self.spans[i].on[stack]), *earlier)

    # -- what rules and goals ask for --------------------------------------------------------------------------------

    def _where(self, name: tuple[Hashable, ...], blocks: Iterable[int], places: Iterable[Place]) -> Literal:
        """Whether one of these stretches lies at one of these places."""
        return self._make(name, lambda: self.any_of(*(self._lies[i][place] for i in blocks for place in places)))

    def _first_placed(self, key: Key) -> Iterator[tuple[int, tuple[Literal, ...]]]:
        """Yield each stretch that may be the first placed one of a subunit, and literals: one of them holds where it is not."""
        before: list[Literal] = []
        for i in self._along.get(key, ()):
            yield i, (self._gone[i], *(self.no(gone) for gone in before))
            if is_false(self._gone[i]) or key in self._out_of_box:
                return
            before.append(self._gone[i])

    def has_placed(self, subunit: Subunit) -> Literal:
        """Whether a subunit has a placed leg."""
        key = (subunit.trunk, subunit.number)
        if self.all_placed:
            return int(key in self._along)
        if key in self._out_of_box:
            return self.no(self._out_of_box[key])
        return self.any_of(*(self.no(self._gone[i]) for i in self._along.get(key, ())))

    def first_on(self, subunit: Subunit, stack: str) -> Literal:
        """Whether the first placed leg of a subunit lies on this stack: one where its first placed stretch lies."""
        key = (subunit.trunk, subunit.number)

        def make() -> dict[str, Literal]:
            found: dict[str, Literal] = {
                item.id: self.literal(f"{subunit.name} on {item.id}", (*key, OnStack(item.id))) for item in self.stacks
            }
            self.require(total(found.values()) == self.has_placed(subunit))
            for i, free in self._first_placed(key):
                for item, first in found.items():
                    here = [self._lies[i][place] for place in self.places if place.stack == item]
                    self.clause(*free, self.no(first), *here)
            return found

        return self._make(("first on", *key), make)[stack]

    def number_placed(self, subunit: Subunit, of: int) -> Expression:
        """How many legs of a division are placed, as many as their fibres ask for."""
        key = (subunit.trunk, subunit.number)
        if of not in self.divisions(subunit):
            return 0
        divided, port = self.divided(subunit, of), self._at_port(key)
        if self.all_placed:
            spliced = len(self.job.spliced_legs(subunit, of))
            parked = self._make(("parked", *key, of), lambda: self.both(divided, self.no(port))) if spliced < of else 0
            return spliced * divided + (of - spliced) * parked
        return self._make(("numbers", *key), lambda: self._numbers(subunit))[of]

    def _numbers(self, subunit: Subunit) -> dict[int, Expression]:
        key = (subunit.trunk, subunit.number)
        open_, placed, port = self.divisions(subunit), self.has_placed(subunit), self._at_port(key)
        spliced = {of: [self.job.spliced_fibres(leg) for leg in self.job.spliced_legs(subunit, of)] for of in open_}
        found: dict[int, Expression] = {
            of: self.number(len(self.legs(subunit, of)), f"{subunit.name} in {of}") for of in open_
        }
        for of in open_:
            most = len(self.legs(subunit, of))
            self.require(found[of] <= most * self.divided(subunit, of))
            self.require(
                found[of] >= most * self.no(port), self.divided(subunit, of), placed
            )  # at the tray all of them
        blocks = [i for i in self._along[key] if self.blocks[i].spliced]
        splices = total(self.blocks[i].fibres - self.units[i] * self._out[i] for i in blocks)
        self.require(total(max(spliced[of]) * found[of] for of in open_) >= splices)
        if self._only_at_tray(key):
            self.require(total(found.values()) <= max(open_) * placed)
        else:
            self.require(total(min(spliced[of]) * found[of] for of in open_) <= splices, port)
        return found

    def _of_trunk(self, trunk: str) -> list[int]:
        return [i for i, block in enumerate(self.blocks) if any(trunk == key[0] for key in block.keys)]

    def in_box(self, trunk: Trunk) -> Literal:
        """Whether a trunk has a placed leg."""
        ends = self.job.ends_of(trunk)
        mine = sorted({i for end in ends for i in self._of_trunk(end.id)})
        if self.all_placed or not mine:
            return int(bool(mine))
        return self._make(("in box", ends[0].id), lambda: self.any_of(*(self.no(self._gone[i]) for i in mine)))

    def trunk_at(self, trunk: Trunk, place: Place) -> Literal:
        """Whether a trunk has a leg at a place."""
        return self._where(("trunk at", trunk.id, place), self._of_trunk(trunk.id), [place])

    def trunk_on(self, trunk: Trunk, stack: str) -> Literal:
        """Whether a trunk has a leg on a stack."""
        here = [place for place in self.places if place.stack == stack]
        return self._where(("trunk on", trunk.id, stack), self._of_trunk(trunk.id), here)

    def pair_at(self, pair: tuple[str, str], place: Place) -> Literal:
        """Whether splices of a pair of trunks lie at a place."""
        both = [i for i, block in enumerate(self.blocks) if {key[0] for key in block.keys} == set(pair)]
        return self._where(("pair at", pair, place), both, [place])

    def join_at(self, join: int, place: Place) -> Literal:
        """Whether splices of a join lie at a place: known of joins that are kept apart."""
        if join not in self._of_join:
            raise CannotSay(type(self).__name__, f"join {join}")
        return self._where(("join at", join, place), self._of_join[join], [place])

    def join_on(self, join: int, stack: str) -> Literal:
        """Whether splices of a join lie on a stack: known of joins that are kept apart."""
        return self.any_of(*(self.join_at(join, place) for place in self.places if place.stack == stack))

    @cached_property
    def _of_join(self) -> dict[int, list[int]]:
        """Blocks of each join that is kept apart."""
        runs = {join: self.job.joins[join].a for join in joins_apart(self.job)}
        return {
            join: [
                i
                for i, block in enumerate(self.blocks)
                if block.spliced
                and any(run.trunk == trunk and run.first <= first <= run.last for trunk, _, first in block.sides)
            ]
            for join, run in runs.items()
        }

    def used(self, place: Place) -> Literal:
        """Whether a tray place is used."""
        return self._where(("used", place), range(len(self.blocks)), [place])

    def ties_next(self, place: Place) -> Literal:
        """Whether an opened subunit has legs at a place and at the next one outward; may be true where none has."""

        def make() -> Literal:
            tied = self.literal(f"{place} tied outward", ("ties", place))
            for key, along in self._along.items():
                if not self._may_open(key):
                    continue
                on, begun, _ = self.spans[along[0]]
                ended = self.spans[along[-1]].ended
                free = (self._gone[along[0]], self._at_port(key), self.no(on[place.stack]))
                self.clause(*free, self.no(begun[place.position]), ended[place.position], tied)
            return tied

        return self._make(("ties", place), make)

    def _may_open(self, key: Key) -> bool:
        """Whether a subunit may be opened at a tray."""
        port = self._at_port(key)
        return (not isinstance(port, int) or not port) and max(self._of_key[key]) > 1

    def ends_at_least(self, place: Place) -> Expression:
        """Fibre ends of a place: those of either side of its splices, and of what is parked."""
        return total(
            len(block.sides) * unit * row[place]
            for block, unit, row in zip(self.blocks, self.units, self._number, strict=True)
        )

    def sleeves2_at_least(self, place: Place) -> Expression:
        """Twice the sleeves of a place, as far as each unit of a block brings as many and all trays have sleeves of one size."""
        least, more = self._unit_sleeves
        by_done: dict[Done, list[tuple[int, int]]] = defaultdict(list)
        for i, beside in enumerate(more):
            for done, sleeves in beside.items():
                by_done[done].append((i, 2 * sleeves))
        return total(
            [
                *(2 * sleeves * row[place] for sleeves, row in zip(least, self._number, strict=True)),
                *(
                    self.where_done(
                        done,
                        total(n * self._number[i][place] for i, n in found),
                        sum(n * self.blocks[i].fibres // self.units[i] for i, n in found),
                        ("more sleeves", place),
                    )
                    for done, found in by_done.items()
                ),
            ]
        )

    def _burdens(self) -> tuple[Burden, Burden]:
        """Return what the units of all stretches bring, in fibre ends and in twice the sleeves."""
        sleeves = [2 * number for number in self._unit_sleeves[0]]
        brought = sum(n * block.fibres // unit for n, block, unit in zip(sleeves, self.blocks, self.units, strict=True))
        ends = [len(block.sides) * unit for block, unit in zip(self.blocks, self.units, strict=True)]
        least = sum(self._least_ends(i) for i in range(len(self.blocks)))
        return Burden(ends, least), Burden(sleeves, brought)

    def _least_ends(self, i: int) -> int:
        """Fibre ends that a stretch brings at least where every splice is placed."""
        block = self.blocks[i]
        if block.spliced or self._only_at_tray(block.keys[0]):
            return len(block.sides) * block.fibres
        return block.fibres - max(self.stretches.idle(i).values())

    @cached_property
    def _unit_sleeves(self) -> tuple[list[int], list[dict[Done, int]]]:
        """Sleeves of one unit of each stretch, at least and what some choices of what is done with ribbons take more.

        0 where its units differ or cut a run, and for a gap.
        """
        sizes = {tray.sleeve_fibres for tray in self.job.enclosure.trays}
        runs = {(run[0].trunk, run[0].first): run for run in self.job.sleeve_runs}
        least, more = [], []
        for i, block in enumerate(self.blocks):
            by_done = self._sleeves_by_done(i, runs, min(sizes)) if len(sizes) == 1 and block.spliced else {}
            least.append(min(by_done.values(), default=0))
            more.append({done: sleeves - least[-1] for done, sleeves in by_done.items() if sleeves > least[-1]})
        return least, more

    def _sleeves_by_done(self, i: int, runs: Mapping[tuple[str, int], SleeveRun], size: int) -> dict[Done, int]:
        """Return the sleeves that each unit of a block brings at least, by what is done with the ribbons of its two trunks."""
        block, unit = self.blocks[i], self.units[i]
        known = self.job.trunk_by_id
        rank = {trunk.id: n for n, trunk in enumerate(self.job.trunks)}
        (trunk, _, first), (other, _, _) = sorted(block.sides, key=lambda side: rank[side[0]])
        words = product(known[trunk].ribbons, known[other].ribbons)
        found: dict[Done, list[int]] = {((trunk, a), (other, b)): [] for a, b in words}
        for start in range(0, block.fibres, unit):
            here = [run for n in range(unit) if (run := runs.get((trunk, first + start + n))) is not None]
            if sum(run.count for run in here) != unit:
                return {}
            least, more = (
                sum(run.sleeves(size) for run in here),
                sum((Counter(run.more(size)) for run in here), Counter()),
            )
            for done, brought in found.items():
                brought.append(least + more[done])
        return {done: min(brought) for done, brought in found.items()}

    # -- goals -------------------------------------------------------------------------------------

    def unplaced(self) -> Expression:
        """Splices without a tray."""
        return total(
            unit * out for block, unit, out in zip(self.blocks, self.units, self._out, strict=True) if block.spliced
        )

    def placed_legs(self) -> Expression:
        """Placed legs."""
        return total(map(self._legs_placed, self.job.subunits))

    def _legs_placed(self, subunit: Subunit) -> Expression:
        return total(self.number_placed(subunit, of) for of in self.divisions(subunit))
