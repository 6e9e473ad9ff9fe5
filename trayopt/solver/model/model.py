"""The whole model of a job: legs at places, and all that rules and goals ask of them through ``trayopt.rules.variables``.

Literals and numbers are made on demand: a model has only those that some rule or goal asks for.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import NamedTuple

from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Place
from trayopt.domain.plan import GoalName
from trayopt.domain.splicing import Done, Piece
from trayopt.domain.through import Through
from trayopt.domain.trunk import Trunk
from trayopt.goals.registry import BY_ID as GOALS
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.variables import Expression, Literal
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import UsedTrays
from trayopt.solver.model.bound import Given
from trayopt.solver.model.legs import LegModel
from trayopt.solver.model.literals import lit, total
from trayopt.solver.model.windows import WindowNumbers, window_numbers


class Least(NamedTuple):
    """A lower bound over the plans of one model that meet what is given beside, and its author."""

    value: int
    by: str
    given: Mapping[GoalName, int] | None = None


class Orders(NamedTuple):
    """Pairs of strands as trunks see them; see ``Variables.opposed``."""

    seen: Mapping[tuple[int, int], tuple[Literal, int]]
    strands: Sequence[Sequence[Leg]]
    weight: int


Weighted = cp_sat.LinearExpr.weighted_sum


class Model(LegModel, UsedTrays):
    """One model of a job.

    It is made as ``LegModel`` is.
    """

    given: Given | None = None
    """What plans have to meet to be sure to be in this model; None where it leaves out plans for other reasons."""
    orders: Orders | None = None
    """In which orders trunks see strands, once crossings are encoded."""
    solution: Sequence[int] = ()
    """Value of every variable in the last solution."""

    @cached_property
    def goals(self) -> dict[str, Expression]:
        """Expressions of the goals that were encoded."""
        return {}

    @cached_property
    def least(self) -> dict[GoalName, Least]:
        """Lower bounds of goals over the plans of this model."""
        return {}

    def goal(self, name: GoalName) -> Expression:
        """Encode a goal, once; that bounds nothing."""
        if name not in self.goals:
            self.goals[name] = GOALS[name].encode(self.job, self)
        return self.goals[name]

    def opposed(
        self, orders: Mapping[tuple[int, int], tuple[Literal, int]], strands: Sequence[Sequence[Leg]], weight: int
    ) -> None:
        """Note in which orders trunks see strands."""
        self.orders = Orders(orders, strands, weight)

    # -- pieces of joins ---------------------------------------------------------------------------------------------

    def piece_at(self, piece: Piece, place: Place) -> Expression:
        """Whether the splices of a piece lie at a place."""
        return total(self.at(leg, place) for leg in self.sides[piece][0])

    def piece_placed(self, piece: Piece) -> Expression:
        """Whether the splices of a piece are placed."""
        return 1 if self.all_placed else total(self.placed(leg) for leg in self.sides[piece][0])

    def piece_up_to(self, piece: Piece, rank: int) -> Literal:
        """Whether the splices of a piece lie at a place of this rank or below."""
        options = self.sides[piece][0]
        bunches = tuple(self._bunch[leg] for leg in options)
        if len(options) == 1:
            return self._prefix(("place", *bunches), self._at[bunches[0]], rank, self.placed(options[0]))
        whole = 1 if self.all_placed else self.one_of(*(self.placed(leg) for leg in options))
        literals = [self.one_of(*(self._at[bunch][i] for bunch in bunches)) for i in range(len(self.places))]
        return self._prefix(("place", *bunches), literals, rank, whole)

    def same_place(self, one: Piece, other: Piece) -> bool:
        """Whether two pieces share their place in every plan of this model, because they share a leg."""
        return any(
            tuple(self._bunch[leg] for leg in here) == tuple(self._bunch[leg] for leg in there)
            for here, there in zip(self.sides[one], self.sides[other], strict=True)
        )

    def _pieces_where(self, key: tuple[Hashable, ...], wanted: Callable[[Piece], bool], place: Place) -> Literal:
        legs = self._make(
            ("legs of", *key),
            lambda: tuple({leg: None for piece in self.job.pieces if wanted(piece) for leg in self.sides[piece][0]}),
        )
        return self._make((*key, place), lambda: self.any_of(*(self.at(leg, place) for leg in legs)))

    def join_at(self, join: int, place: Place) -> Literal:
        """Whether splices of a join lie at a place."""
        return self._pieces_where(("join", join), lambda piece: piece.join == join, place)

    def join_on(self, join: int, stack: str) -> Literal:
        """Whether splices of a join lie on a stack."""
        return self._make(
            ("join on", join, stack),
            lambda: self.any_of(*(self.join_at(join, place) for place in self.places if place.stack == stack)),
        )

    def pair_at(self, pair: tuple[str, str], place: Place) -> Literal:
        """Whether splices of a pair of trunks lie at a place."""
        return self._pieces_where(("pair", pair), lambda piece: {piece.a.trunk, piece.b.trunk} == set(pair), place)

    # -- tray places -------------------------------------------------------------------------------------------------

    def ties_next(self, place: Place) -> Literal:
        """Whether an opened subunit has legs at a place and at the next one outward on its stack."""
        outward = Place(place.stack, place.position + 1)

        def make() -> Literal:
            ties: list[Literal] = []
            for trunk in self.job.trunks:
                if "tray" not in self.divide_options(trunk):
                    continue
                for subunit in trunk.subunits:
                    legs = [leg for leg in self.all_legs(subunit) if leg.of > 1]
                    here, there = (self.any_of(*(self.at(leg, at) for leg in legs)) for at in (place, outward))
                    ties.append(self.both(here, there, self.divided_at(trunk, "tray")))
            return self.any_of(*ties)

        return self._make(("ties", place), make)

    def used(self, place: Place) -> Literal:
        """Whether a tray place is used."""
        rank = self.job.enclosure.place_rank[place]
        return self._make(("used", place), lambda: self.any_of(*(literals[rank] for literals in self._at.values())))

    def ends(self, place: Place) -> Expression:
        """Fibre ends of a place: each fibre of its legs is one."""
        return self._weigh(place, self.loads)

    def ends_at_least(self, place: Place) -> Expression:
        """Fibre ends of a place."""
        return self.ends(place)

    def sleeves2(self, place: Place) -> Expression:
        """Twice the sleeves of a place: either side of a sleeve run brings half."""
        size = self.job.enclosure.tray_at(place).sleeve_fibres
        return total([self._weigh(place, self.sleeve_weights(size)), *self._more_sleeves2(place, size)])

    def _more_sleeves2(self, place: Place, size: int) -> Iterator[Expression]:
        """Yield twice the sleeves that the ribbon work costs at a place, above the least that runs take."""
        for done, weights in self.more_sleeve_weights(size).items():
            here = self._weigh(place, weights)
            yield self.where_done(done, here, sum(weights.values()), ("more sleeves", place))

    def more_sleeve_weights(self, size: int) -> dict[Done, dict[int, int]]:
        """Return by what is done with ribbons twice the sleeves that bunches take more than at least."""
        weights: dict[Done, dict[int, int]] = self._make(("more sleeves", size), lambda: self._more_sleeves(size))
        return weights

    def _more_sleeves(self, size: int) -> dict[Done, dict[int, int]]:
        """Count by what is done with ribbons twice the sleeves that each bunch takes more than at least."""
        found: dict[Done, dict[int, int]] = defaultdict(lambda: defaultdict(int))
        for leg, by_done in self.leg_more_sleeves(size).items():
            for done, more in by_done.items():
                found[done][self._bunch[leg]] += more
        return found

    def sleeves2_at_least(self, place: Place) -> Expression:
        """Twice the sleeves of a place."""
        return self.sleeves2(place)

    def sleeve_weights(self, size: int) -> dict[int, int]:
        """Twice the sleeves of ``size`` fibres that each bunch takes at least."""
        weights: dict[int, int] = self._make(("sleeves", size), lambda: self._sleeves(size))
        return weights

    def _sleeves(self, size: int) -> dict[int, int]:
        found = dict.fromkeys(self.bunches, 0)
        for leg, sleeves in self.leg_sleeves(size).items():
            found[self._bunch[leg]] += sleeves
        return found

    def _weigh(self, place: Place, weights: Mapping[int, int]) -> Expression:
        rank = self.job.enclosure.place_rank[place]
        heavy = {bunch: self._at[bunch][rank] for bunch, weight in weights.items() if weight}
        found = [(lit(literal), weights[bunch]) for bunch, literal in heavy.items() if not isinstance(literal, int)]
        return Weighted(*zip(*found, strict=True)) if found else 0

    def _bunch_legs(self, trunk: Trunk) -> dict[int, int]:
        """Count the legs of a trunk in each bunch."""

        def make() -> dict[int, int]:
            found: dict[int, int] = defaultdict(int)
            for leg, bunch in self._bunch.items():
                if leg.trunk == trunk.id:
                    found[bunch] += 1
            return dict(found)

        counted: dict[int, int] = self._make(("bunch legs", trunk.id), make)
        return counted

    def trunk_at(self, trunk: Trunk, place: Place) -> Literal:
        """Whether a trunk has a leg at a place."""
        rank = self.job.enclosure.place_rank[place]
        return self._make(
            ("trunk at", trunk.id, place),
            lambda: self.any_of(*(self._at[bunch][rank] for bunch in self._bunch_legs(trunk))),
        )

    def trunk_on(self, trunk: Trunk, stack: str) -> Literal:
        """Whether a trunk has a leg on a stack."""
        here = (place for place in self.places if place.stack == stack)
        return self._make(
            ("trunk on", trunk.id, stack), lambda: self.any_of(*(self.trunk_at(trunk, place) for place in here))
        )

    def legs_at(self, trunk: Trunk, place: Place) -> Expression:
        """How many legs of a trunk are at a place."""
        return self._weigh(place, self._bunch_legs(trunk))

    def legs_on(self, trunk: Trunk, stack: str) -> Expression:
        """How many legs of a trunk are on a stack."""

        def make() -> Expression:
            counted = self.number(self.most_trunk_legs(trunk), f"legs of {trunk.id} on {stack}")
            bunches = self._bunch_legs(trunk)
            terms = [self.on(self.bunches[bunch][0], stack) for bunch in bunches]
            self.require(total(n * x for n, x in zip(bunches.values(), terms, strict=True)) == counted)
            return counted

        return self._make(("legs on", trunk.id, stack), make)

    def most_legs_at(self, place: Place) -> int:
        """Return a number of legs above which no plan goes at a place, by the tray's fibres where that rule binds hard."""
        legs = sum(self.most_trunk_legs(trunk) for trunk in self.job.trunks)
        if not self.keeps(TrayFibres.id) or not self.bunches:
            return legs
        room = 2 * self.job.enclosure.tray_at(place).fibres
        densest = max(len(found) / self.loads[bunch] for bunch, found in self.bunches.items())
        return min(legs, int(room * densest + 1e-6))

    def most_legs_of(self, trunk: Trunk, place: Place) -> int:
        """Bound the legs of a trunk at a place by the fibres of its tray, and the bunch that brings the most for its fibres."""
        room = 2 * self.job.enclosure.tray_at(place).fibres
        legs = self._bunch_legs(trunk)
        return max(
            (room * number // self.loads[bunch] for bunch, number in legs.items() if self.loads[bunch]), default=0
        )

    def most_at_a_position(self, groups: Iterable[Iterable[Leg]]) -> int:
        """Bound the number of these groups that have a leg at one position: so many as find room there with their bunches.

        Bunches find room by the fibres of their trays, where that rule is kept; in one bunch several groups may have a leg.
        """
        if not self.bunches:
            return 0
        bunches = [{self._bunch[leg] for leg in group} for group in groups]
        shared = max(Counter(bunch for found in bunches for bunch in found).values(), default=1)
        most = len(self.bunches)
        if TrayFibres.id in self.kept:
            lightest = max(1, min(self.loads.values()))
            most = sum(2 * max(tray.fibres for tray in stack.kinds) // lightest for stack in self.job.enclosure.stacks)
        return most * shared

    # -- trunks ------------------------------------------------------------------------------------------------------

    def in_box(self, trunk: Trunk) -> Literal:
        """Whether a trunk has a placed leg, or goes through and its other end has one."""

        def make() -> Literal:
            legs = [leg for one in ends for subunit in one.subunits for leg in self.all_legs(subunit)]
            if not legs:
                return 0
            return 1 if self.all_placed else self.any_of(*(self.placed(leg) for leg in legs))

        ends = self.job.ends_of(trunk)
        return self._make(("in box", ends[0].id), make)

    def _window(self, through: Through) -> WindowNumbers:
        return self._make(("window", through.trunk), lambda: window_numbers(self, through))
