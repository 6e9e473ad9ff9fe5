"""The vocabulary in which rules and goals talk to the model. The solver's floor implements it; no solver is imported here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Protocol, TypeAlias

from trayopt.domain.assignment import Way
from trayopt.domain.base import DivideAt, RibbonWord, Travel
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.finding import Level
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.splicing import Piece
from trayopt.domain.through import Through
from trayopt.domain.trunk import Trunk
from trayopt.track.routes import Routes


class Linear(Protocol):
    """A linear expression over variables of the solver, with integer coefficients.

    Its operators take other expressions and whole numbers. A comparison is a constraint: the solver's own type calls what
    comes of one ``bool``, and so do rules and goals.
    """

    def __add__(self, other: Any, /) -> Linear: ...
    def __radd__(self, other: int, /) -> Linear: ...
    def __sub__(self, other: Any, /) -> Linear: ...
    def __rsub__(self, other: Any, /) -> Linear: ...
    def __mul__(self, other: int, /) -> Linear: ...
    def __rmul__(self, other: int, /) -> Linear: ...
    def __neg__(self) -> Linear: ...
    def __le__(self, other: object, /) -> bool: ...
    def __ge__(self, other: object, /) -> bool: ...
    def __lt__(self, other: object, /) -> bool: ...
    def __gt__(self, other: object, /) -> bool: ...


class Boolean(Linear, Protocol):
    """A 0/1 variable of the solver, or the negation of one."""

    def __invert__(self) -> Boolean: ...
    @property
    def index(self) -> int:
        """The number of the literal in the model; below 0 for a negation."""


Literal: TypeAlias = Boolean | int
"""A 0/1 variable of the solver or a constant 0 or 1; usable in sums. ``x.no(literal)`` is its negation."""
Expression: TypeAlias = Linear | int
"""A linear expression, or a whole number."""
Constraint: TypeAlias = bool
"""A comparison of expressions: a constraint of the solver, or whether it plainly holds where both are whole numbers."""


class Terms(Protocol):
    """The words for literals and sums, which every model has, and for facts about its job."""

    job: Job
    routes: Routes
    all_placed: bool
    """Whether this model holds only plans that place every splice."""

    def no(self, literal: Literal) -> Literal:
        """Negate a literal."""

    def both(self, *literals: Literal) -> Literal:
        """Whether all of these hold."""

    def any_of(self, *literals: Literal) -> Literal:
        """Whether at least one of these holds."""

    def one_of(self, *literals: Literal) -> Literal:
        """Return the literal of "one of these holds", for literals of which no two can hold together."""

    def keeps(self, rule: str) -> bool:
        """Whether this model holds only plans that break no subject of this rule."""

    def broken(self, level: Level) -> Expression:
        """Sum of the groups of a level that are let go, each times its rule's weight where the level is prefer."""

    def number(self, most: int, name: str) -> Expression:
        """Make an integer variable from 0 to ``most``."""

    def literal(self, name: str) -> Literal:
        """Make a 0/1 variable that nothing else binds."""

    def clause(self, *literals: Literal) -> None:
        """Require at least one of these: the same as ``require`` of their sum, but much faster."""

    def require(self, constraint: Constraint, *when: Literal) -> None:
        """Add a constraint that only ties helper variables together: no rule speaks through it."""


class TrunkWays(Protocol):
    """Ways of trunks and ends of stacks."""

    def in_box(self, trunk: Trunk) -> Literal:
        """Whether a trunk has a placed leg."""

    def ways(self, trunk: Trunk) -> Sequence[Way]:
        """Every way that is open for a trunk in this model."""

    def goes(self, trunk: Trunk, way: Way) -> Literal:
        """Whether a trunk in the box goes this way; false for every way of a trunk outside."""

    def enters(self, trunk: Trunk, port: str) -> Literal:
        """Whether a trunk in the box enters at a port."""

    def travels(self, trunk: Trunk, travel: Travel) -> Literal:
        """Whether a trunk in the box travels this way round."""

    def end(self, stack: str, end: str) -> Literal:
        """Whether a stack uses this end; exactly one of its ends holds."""


class Partings(Protocol):
    """Where trunks are divided."""

    def divide_options(self, trunk: Trunk) -> Sequence[DivideAt]:
        """Where a trunk may be divided in this model: the tray, the port, or both in this order."""

    def divided_at(self, trunk: Trunk, at: DivideAt) -> Literal:
        """Whether a trunk is divided here; exactly one of its options holds, whether it is in the box or not."""


class Decided(TrunkWays, Partings, Protocol):
    """The decisions about trunks: ways and places of division."""


class Ribbons(Protocol):
    """Ribbon work of trunks."""

    def ribboned(self, trunk: Trunk, word: RibbonWord) -> Literal:
        """Whether this is done with a trunk's ribbons; exactly one of its own list holds, whether it is in the box or not."""


class TrunkStacks(Protocol):
    """On which stacks trunks have legs."""

    def trunk_on(self, trunk: Trunk, stack: str) -> Literal:
        """Whether a trunk has a leg on a stack."""


class TrunkPlaces(Protocol):
    """At which places trunks have legs."""

    def trunk_at(self, trunk: Trunk, place: Place) -> Literal:
        """Whether a trunk has a leg at a place."""


class TrunkLegs(Protocol):
    """How many legs trunks have at places and on stacks."""

    def legs_at(self, trunk: Trunk, place: Place) -> Expression:
        """How many legs of a trunk are at a place."""

    def legs_on(self, trunk: Trunk, stack: str) -> Expression:
        """How many legs of a trunk are on a stack."""

    def most_trunk_legs(self, trunk: Trunk) -> int:
        """Return the greatest number of placed legs of a trunk in this model."""

    def most_legs_at(self, place: Place) -> int:
        """Return an upper bound of the number of legs at a place in this model."""


class FirstStacks(Protocol):
    """Which subunits are in the box, and on which stack each begins."""

    def has_placed(self, subunit: Subunit) -> Literal:
        """Whether a subunit has a placed leg."""

    def first_on(self, subunit: Subunit, stack: str) -> Literal:
        """Whether the first placed leg of a subunit lies on this stack."""


class Cuts(Protocol):
    """How subunits are divided."""

    def divisions(self, subunit: Subunit) -> Sequence[int]:
        """Every k that is open for a subunit in this model; none for a subunit without a spliced fibre."""

    def divided(self, subunit: Subunit, of: int) -> Literal:
        """Whether a subunit is divided by this k; exactly one of its divisions holds, placed or not."""

    def legs(self, subunit: Subunit, of: int) -> Sequence[Leg]:
        """Every leg of a division that can be placed, in order.

        Idle legs are among them where the trunk may be divided at the tray: opened there, a tube leaves no leg outside.
        """


class LegsPlaced(Protocol):
    """Which legs are placed."""

    def placed(self, leg: Leg) -> Literal:
        """Whether a leg is placed."""


class LegNumbers(Protocol):
    """How many legs of a division are placed."""

    def number_placed(self, subunit: Subunit, of: int) -> Expression:
        """How many legs of a division are placed."""


class LegStacks(Protocol):
    """Which legs are on which stack."""

    def on(self, leg: Leg, stack: str) -> Literal:
        """Whether a leg is placed on a stack."""

    def any_on(self, subunit: Subunit, stack: str) -> Literal:
        """Whether a placed leg of a subunit lies on this stack."""

    def number_on(self, subunit: Subunit, of: int, stack: str) -> Expression:
        """How many legs of a division are placed on a stack."""


class LegPlaces(Protocol):
    """At which place a leg is."""

    def at(self, leg: Leg, place: Place) -> Literal:
        """Whether a leg is placed at a place."""


class LegPositions(Protocol):
    """How deep legs lie."""

    def position_up_to(self, leg: Leg, position: int) -> Literal:
        """Whether a leg is placed at this position or nearer to the base, on any stack."""

    def most_at_a_position(self, groups: Iterable[Iterable[Leg]]) -> int:
        """Bound the number of these groups of legs that have a leg at one position, over all stacks."""


class Pieces(Protocol):
    """Where the splices of pieces of joins lie."""

    def piece_at(self, piece: Piece, place: Place) -> Expression:
        """Whether the splices of a piece lie at a place, as a 0/1 sum."""

    def piece_up_to(self, piece: Piece, rank: int) -> Literal:
        """Whether the splices of a piece lie at a place of this rank in place order or below."""

    def piece_placed(self, piece: Piece) -> Expression:
        """Whether the splices of a piece are placed, as a 0/1 sum."""

    def same_place(self, one: Piece, other: Piece) -> bool:
        """Whether two pieces share their place in every plan of this model, because they share a leg."""


class Joins(Protocol):
    """At which places the splices of joins lie."""

    def join_at(self, join: int, place: Place) -> Literal:
        """Whether splices of a join lie at a place."""


class JoinStacks(Protocol):
    """On which stacks the splices of joins lie."""

    def join_on(self, join: int, stack: str) -> Literal:
        """Whether splices of a join lie on a stack."""


class Pairs(Protocol):
    """Where the splices of pairs of trunks lie."""

    def pair_at(self, pair: tuple[str, str], place: Place) -> Literal:
        """Whether splices of a pair of trunks lie at a place."""


class Trays(Protocol):
    """Which tray places are used."""

    def used(self, place: Place) -> Literal:
        """Whether a tray place is used."""


class StackTrays(Protocol):
    """How many tray places of stacks are used."""

    def trays_on(self, stack: str) -> Expression:
        """How many tray places of a stack are used."""


class Ties(Protocol):
    """Which trays opened tubes tie to each other."""

    def ties_next(self, place: Place) -> Literal:
        """Whether an opened subunit has legs at a place and at the next one outward on its stack."""


class LeastLoads(Protocol):
    """Lower bounds of the loads of tray places."""

    def ends_at_least(self, place: Place) -> Expression:
        """Fibre ends of a place, or less: for rules that bound them from above, and no others."""

    def sleeves2_at_least(self, place: Place) -> Expression:
        """Twice the sleeves of a place, or less: for rules that bound them from above, and no others."""


class Windows(Protocol):
    """Windows in the sheaths of trunks that go through: for rules that bound them from above, and no others."""

    def window_loops_at_least(self, through: Through) -> Expression:
        """Loops of the tubes of a trunk that are not cut, or fewer; none where it stays outside."""

    def window_steps_at_least(self, through: Through) -> Expression:
        """Length of a window in whole steps of ``CUT_STEP_MM``, or less; 0 where the trunk stays outside."""


class Opposed(Protocol):
    """Orders in which trunks see strands."""

    def opposed(
        self, orders: Mapping[tuple[int, int], tuple[Literal, int]], strands: Sequence[Sequence[Leg]], weight: int
    ) -> None:
        """Tell of pairs of strands whether the first turns off further out, and how many trunks see it before the second.

        ``strands`` gives for each strand the legs of which one has its low, ``weight`` the crossings that a literal stands for at
        least.
        """


class Loads(Protocol):
    """The loads of tray places."""

    def ends(self, place: Place) -> Expression:
        """Fibre ends of a place: two a splice, one a parked fibre."""

    def sleeves2(self, place: Place) -> Expression:
        """Twice the sleeves of a place."""


class Variables(
    Terms, TrunkWays, Partings, Ribbons, TrunkStacks, TrunkPlaces, TrunkLegs, FirstStacks, Cuts, LegsPlaced, LegNumbers,
    LegStacks, LegPlaces, LegPositions, Pieces, Joins, JoinStacks, Pairs, Trays, StackTrays, Ties, LeastLoads, Loads, Opposed,
    Windows, Protocol,
):  # fmt: skip
    """The whole vocabulary; literals and sums are made on demand and exact (true in a solution exactly if the words hold).

    The whole model says all of it. A relaxation says the parts that it declares, each so that every plan in it gives every
    answer its true value: whatever a rule makes of such answers holds of every plan that keeps the rule. Asked for anything
    else it raises ``CannotSay``, and the rule is left out of it.
    """


class CannotSay(Exception):  # noqa: N818 (a plain answer, not a fault)
    """A relaxation was asked for a word that is not in its vocabulary."""

    def __init__(self, relaxation: str, question: str) -> None:
        super().__init__(f"{relaxation} cannot say {question}")
        self.relaxation, self.question = relaxation, question


def questions(part: type) -> frozenset[str]:
    """Return the names of the words of one part of the vocabulary."""
    return frozenset(name for name in (*vars(part), *part.__annotations__) if not name.startswith("_"))
