"""Counts instead of names: how many bunches of each kind lie at each tray place, without saying which.

Bunches are of one kind if they bring the same load, the same sleeves and the same number of legs of each trunk. What this
model leaves out is the order of the bunches (crossings, walks, neighbours inside a subunit) and rules that name joins or legs;
the rest binds as in the whole model. So it is a relaxation for settled divisions that keep every subunit on one stack: its
fewest used places and its least leg length are bounds, and counts of that length are a plan for the whole model to work out: if
it can without a crossing, that plan is the best in crossings and length at once. Where a trunk may be divided at the tray or at
the port, its legs without a splice are counted only where it is at the tray.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from trayopt.domain.base import DivideAt
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.hardware import Place
from trayopt.domain.trunk import Trunk
from trayopt.rules.base import AnyRule
from trayopt.rules.pin import Pinned
from trayopt.rules.subunit_together import SubunitTogether
from trayopt.rules.variables import (  # fmt: skip
    Cuts,
    Expression,
    FirstStacks,
    JoinStacks,
    LeastLoads,
    LegNumbers,
    LegsPlaced,
    LegStacks,
    Literal,
    Loads,
    Partings,
    Ribbons,
    StackTrays,
    Trays,
    TrunkLegs,
    TrunkPlaces,
    TrunkStacks,
    TrunkWays,
    Variables,
    Windows,
)
from trayopt.solver.bounds.kind_counts import AtPlaces, Kind, KindCounts
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import Key
from trayopt.solver.model.literals import linear, lit, total
from trayopt.solver.model.model import Model
from trayopt.solver.model.posting import Policy
from trayopt.solver.model.vocabulary import voice


@dataclass(frozen=True)
class Guess(AtPlaces):
    """Counts at every tray place, with the ways, ends, places of division and stacks of subunits that go with them."""

    divide_at: Mapping[str, DivideAt]
    stacks: Mapping[Key, str]


class Counts(KindCounts):
    """The counting model of the plans of a whole model whose divisions are settled."""

    def __init__(self, whole: Model, divisions: Mapping[Key, Sequence[int]]) -> None:
        self.whole = whole
        self.settled = {key: of[0] for key, of in divisions.items()}
        self.kinds = kinds(whole)
        self._number: dict[Kind, dict[Place, Expression]] = {}
        divide_at = {trunk.id: whole.divide_options(trunk) for trunk in whole.job.trunks}
        super().__init__(whole.job, divisions, Policy("hard", "soft", kept=frozenset(whole.kept)), divide_at=divide_at)

    def furnish(self) -> None:
        """Make the counts before the rules speak."""
        bunches: dict[Kind, list[int]] = {}
        for bunch, kind in self.kinds.items():
            bunches.setdefault(kind, []).append(bunch)
        for kind, found in bunches.items():
            self._number[kind] = {place: self.number(len(found), f"{kind} at {place}") for place in self.places}
            placed = sum(self.placed(self.whole.bunches[bunch][0]) for bunch in found)
            self.require(total(self._number[kind].values()) == placed)
        for trunk in self.job.trunks:
            for stack in self.stacks:
                here = total(self.legs_at(trunk, place) for place in self.places if place.stack == stack)
                self.require(here == self.legs_on(trunk, stack))

    @cached_property
    def voice(self) -> Variables:
        """What rules and goals may ask."""
        return voice(
            self, TrunkWays, Partings, Ribbons, TrunkStacks, TrunkPlaces, TrunkLegs, FirstStacks, Cuts, LegsPlaced, LegNumbers,
            LegStacks, JoinStacks, Trays, StackTrays, LeastLoads, Loads, Windows,
        )  # fmt: skip

    def voice_for(self, rule: AnyRule) -> Variables | None:
        """Let guides ask for the legs themselves; what pins and subunits that keep together ask is in the outline."""
        return None if isinstance(rule, Pinned | SubunitTogether) else self.voice

    def lateness(self) -> Expression:
        """Sum the ranks of kinds that come early in the walk.

        Among counts of one length those are wanted in which early kinds lie near the base: they can be worked out in order.
        """
        order = list(dict.fromkeys(self.kinds[bunch] for bunch in sorted(self.kinds)))
        return total(
            (len(order) - i - 1) * rank * self._number[kind][place]
            for i, kind in enumerate(order)
            for rank, place in enumerate(self.places)
        )

    def divisions(self, subunit: Subunit) -> tuple[int, ...]:
        """Return the settled division of a subunit."""
        of = self.settled.get((subunit.trunk, subunit.number))
        return () if of is None else (of,)

    def divided(self, subunit: Subunit, of: int) -> int:
        """Whether a subunit is divided by this k: that is settled."""
        return int(of in self.divisions(subunit))

    def legs(self, subunit: Subunit, of: int) -> tuple[Leg, ...]:
        """Return the legs of a division that can be placed."""
        return self.whole.legs(subunit, of)

    def placed(self, leg: Leg) -> Literal:
        """Whether a leg is placed: every leg with a splice is, and every leg of a trunk divided at the tray."""
        return self._is_at_tray(leg) if self._may_stay_bare(leg) else 1

    def _is_at_tray(self, leg: Leg) -> Literal:
        return self.divided_at(self.job.trunk_by_id[leg.trunk], "tray")

    def number_placed(self, subunit: Subunit, of: int) -> Expression:
        """How many legs of a division are placed."""
        legs = self.legs(subunit, of)
        bare = [leg for leg in legs if self._may_stay_bare(leg)]
        return len(legs) - len(bare) + (len(bare) * self._is_at_tray(bare[0]) if bare else 0)

    def number_on(self, subunit: Subunit, of: int, stack: str) -> Expression:
        """How many legs of a division are on a stack: all that are placed, where their subunit is."""
        legs = self.legs(subunit, of)
        bare = [leg for leg in legs if self._may_stay_bare(leg)]
        spliced = (len(legs) - len(bare)) * self.first_on(subunit, stack)
        return spliced + (len(bare) * self.on(bare[0], stack) if bare else 0)

    def on(self, leg: Leg, stack: str) -> Literal:
        """Whether a leg is on a stack: where its subunit is, if it is placed."""
        first = self.first_on(self.job.subunit(leg), stack)
        return self.both(first, self._is_at_tray(leg)) if self._may_stay_bare(leg) else first

    def any_on(self, subunit: Subunit, stack: str) -> Literal:
        """Whether a subunit is on a stack."""
        return self.first_on(subunit, stack)

    def trunk_on(self, trunk: Trunk, stack: str) -> Literal:
        """Whether a trunk has a leg on a stack: where one of its subunits is."""
        return self.any_of(*(self.first_on(subunit, stack) for subunit in trunk.subunits))

    def legs_on(self, trunk: Trunk, stack: str) -> Expression:
        """How many legs of a trunk are on a stack."""
        return total(self.number_on(subunit, of, stack) for subunit in trunk.subunits for of in self.divisions(subunit))

    def most_trunk_legs(self, trunk: Trunk) -> int:
        """Count the legs of a trunk."""
        return self.whole.most_trunk_legs(trunk)

    def most_legs_at(self, place: Place) -> int:
        """Bound the legs at a place as the whole model does."""
        return self.whole.most_legs_at(place)

    def most_bunches(self, place: Place) -> int:
        """Bound the bunches at a place by all of them."""
        del place
        return len(self.kinds)

    def guess(self, value: Callable[[Expression], int]) -> Guess:
        """Read counts, ways and ends out of a solution."""
        job, there = self.job, self.at_places(value)
        return Guess(
            there.bunches,
            there.ways,
            there.ends,
            divide_at={
                trunk.id: at
                for trunk in job.trunks
                for at in self.divide_options(trunk)
                if value(self.divided_at(trunk, at))
            },
            stacks={
                (subunit.trunk, subunit.number): stack
                for subunit in job.subunits
                for stack in self.stacks
                if value(self.first_on(subunit, stack))
            },
        )


def kinds(model: Model) -> dict[int, Kind]:
    """Return the kind of each bunch: fibre ends, doubled sleeves, and its legs by trunk."""
    size = model.job.enclosure.stacks[0].tray.sleeve_fibres
    sleeves, more = model.sleeve_weights(size), model.more_sleeve_weights(size)
    found = {}
    for bunch, legs in model.bunches.items():
        by_trunk: dict[str, int] = {}
        for leg in legs:
            by_trunk[leg.trunk] = by_trunk.get(leg.trunk, 0) + 1
        more2 = tuple(sorted(((done, w[bunch]) for done, w in more.items() if w.get(bunch)), key=str))
        found[bunch] = Kind(model.loads[bunch], sleeves[bunch], tuple(sorted(by_trunk.items())), more2=more2)
    return found


def in_scope(model: Model) -> bool:
    """Whether every subunit of a model is settled and stays on one stack."""
    return model.all_placed and all(
        len(model.divisions(subunit)) < 2
        and (model.divide_options(model.job.trunk_by_id[subunit.trunk]) == ("tray",) or model.keeps(SubunitTogether.id))
        for subunit in model.job.subunits
    )


def brought(kind: Kind) -> Hashable:
    """Fibre ends and legs of a kind: what every relaxation counts in the same way."""
    return kind.ends, kind.legs


def hold(
    model: Model,
    guess: AtPlaces,
    *literals: cp_sat.IntVar,
    places: bool,
    alike: Callable[[Kind], Hashable] = lambda kind: kind,
) -> cp_sat.CpModel:
    """Copy a model and hold the copy to ways, ends, literals and, with ``places``, to the counts at every place.

    The variables of the copy keep their numbers. Kinds are counted together for which ``alike`` gives the same.
    """
    model.make_ends()
    trial = model.cp.clone()
    trial.add_bool_and([trial.get_bool_var_from_proto_index(literal.index) for literal in literals])

    def same(literal: Literal) -> Literal:
        return literal if isinstance(literal, int) else trial.get_bool_var_from_proto_index(literal.index)

    by_kind: dict[Hashable, list[int]] = {}
    for bunch, kind in kinds(model).items():
        by_kind.setdefault(alike(kind), []).append(bunch)
    for rank, place in enumerate(model.places if places else ()):
        counted: Counter[Hashable] = Counter()
        for kind, number in guess.bunches[place].items():
            counted[alike(kind)] += number
        for key, bunches in by_kind.items():
            number = counted[key]
            here = total(same(model.literals(bunch)[rank]) for bunch in bunches)
            if (held := linear(here) == number) is not True:
                trial.add(held)
    for trunk in model.job.trunks:
        for way in model.ways(trunk):
            literal = model.goes(trunk, way)
            if not isinstance(literal, int):
                trial.add(lit(same(literal)) == int(guess.ways.get(trunk.id) == way))
    for stack in model.job.enclosure.stacks:
        for end in stack.ends:
            literal = model.end(stack.id, end.id)
            if not isinstance(literal, int):
                trial.add(lit(same(literal)) == int(guess.ends[stack.id] == end.id))
    return trial
