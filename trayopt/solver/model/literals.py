"""A CP-SAT model and what is said of its literals: every literal is made once, and constants 0 and 1 stand for themselves."""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Sequence
from functools import cached_property
from typing import NamedTuple, TypeVar, cast

from trayopt.rules.variables import Constraint, Expression, Literal
from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock, OutOfTime

Sum = cp_sat.LinearExpr.sum
T = TypeVar("T")
OFTEN = 500
"""Number of new literals after which a model looks at the clock."""


def is_false(literal: Literal) -> bool:
    """Whether a literal is the constant 0, and so false in every solution."""
    return isinstance(literal, int) and not literal


def total(items: Iterable[Expression]) -> Expression:
    """Sum of literals and constants."""
    found = [item for item in items if not isinstance(item, int) or item != 0]
    return linear(Sum(found)) if found else 0


def linear(expression: Expression) -> cp_sat.LinearExpr:
    """Return an expression as the solver's own type: what rules and goals put together is made of nothing else."""
    return cast("cp_sat.LinearExpr", expression)


def lit(literal: Literal) -> cp_sat.IntVar:
    """Return a literal as the solver's own type; a constant counts as such."""
    return cast("cp_sat.IntVar", literal)


def lits(literals: Iterable[Literal]) -> list[cp_sat.IntVar]:
    """Return literals as the solver's own type."""
    return cast("list[cp_sat.IntVar]", list(literals))


class OnStack(NamedTuple):
    """A stack in the tag of a variable."""

    stack: str


Tag = tuple[Hashable, ...]
"""What a variable is about: stacks (``OnStack``) and tray places in it tell which variable another stack has in its place."""


class Literals:
    """A model of the solver, made on demand: a literal that was made under a key is the same ever after.

    Where a clock is given, making more of the model raises ``OutOfTime`` once it is over.
    """

    def __init__(self, clock: Clock | None = None) -> None:
        self.cp = cp_sat.CpModel()
        self._made: dict[tuple[Hashable, ...], object] = {}
        self.tags: dict[int, Tag] = {}
        """What variables are about, by their numbers, where that was told."""
        self._clock = clock
        self._until_look = OFTEN

    def number(self, most: int, name: str, tag: Tag = ()) -> cp_sat.IntVar:
        """Make an integer variable from 0 to ``most``."""
        return self._tagged(self.cp.new_int_var(0, most, name), tag)

    def _tagged(self, variable: cp_sat.IntVar, tag: Tag) -> cp_sat.IntVar:
        if tag:
            self.tags[variable.index] = tag
        return variable

    def literal(self, name: str, tag: Tag = ()) -> cp_sat.IntVar:
        """Make a 0/1 variable."""
        self._until_look -= 1
        if not self._until_look:
            self._until_look = OFTEN
            if self._clock is not None and self._clock.over:
                raise OutOfTime
        return self._tagged(self.cp.new_bool_var(name), tag)

    def minimize(self, expression: Expression) -> None:
        """Make an expression the objective."""
        self.cp.minimize(linear(expression))

    def require(self, constraint: Constraint, *when: Literal) -> None:
        """Add a constraint, under literals where given; a constraint that is plainly true is left out."""
        if isinstance(constraint, bool):
            if constraint:
                return
            self.cp.add_bool_or(lits(self.no(literal) for literal in when))
            return
        added = self.cp.add(constraint)
        conditions = lits(literal for literal in when if not isinstance(literal, int))
        if any(isinstance(literal, int) and literal == 0 for literal in when):
            conditions.append(self._false)
        if conditions:
            added.only_enforce_if(conditions)

    def clause(self, *literals: Literal) -> None:
        """Require that at least one of these literals holds."""
        found = [literal for literal in literals if not isinstance(literal, int)]
        if len(found) == len(literals) or not any(isinstance(x, int) and x for x in literals):
            self.cp.add_bool_or(lits(found))

    @cached_property
    def _false(self) -> cp_sat.IntVar:
        return self.cp.new_constant(0)

    def no(self, literal: Literal) -> Literal:
        """Negate a literal."""
        return 1 - literal if isinstance(literal, int) else ~literal

    def _make(self, key: tuple[Hashable, ...], make: Callable[[], T]) -> T:
        if key not in self._made:
            self._made[key] = make()
        return cast("T", self._made[key])

    def is_made(self, *key: Hashable) -> bool:
        """Whether what goes by this key was asked for."""
        return key in self._made

    def made(self, kinds: Collection[str]) -> Iterator[tuple[tuple[Hashable, ...], cp_sat.IntVar]]:
        """Return the literals whose keys begin with any of these words."""
        return ((key, cast("cp_sat.IntVar", literal)) for key, literal in self._made.items() if key[0] in kinds)

    def any_of(self, *literals: Literal) -> Literal:
        """Whether at least one of these holds."""
        found = list(
            {
                id(x) if isinstance(x, int) else x.index: x for x in literals if not (isinstance(x, int) and x == 0)
            }.values()
        )
        return self._bound_to("any", found, self._bind_any)

    def _bind_any(self, real: Sequence[cp_sat.IntVar], one: cp_sat.IntVar) -> None:
        self.cp.add_bool_or([*real, ~one])
        for x in real:
            self.cp.add_implication(x, one)

    def _bound_to(
        self,
        word: str,
        found: Sequence[Literal],
        bind: Callable[[Sequence[cp_sat.IntVar], cp_sat.IntVar], object],
    ) -> Literal:
        """Return a literal that is bound to these, made once for them in any order; none is made where the answer is known."""
        if any(isinstance(x, int) for x in found):
            return 1
        if len(found) <= 1:
            return found[0] if found else 0
        real = lits(found)

        def make() -> Literal:
            one = self.literal("")
            bind(real, one)
            return one

        return self._make((word, *sorted(x.index for x in real)), make)

    def positive(self, key: tuple[Hashable, ...], number: Expression, most: int) -> Literal:
        """Whether a number from 0 to ``most`` is above 0, under a key of its own."""

        def make() -> Literal:
            if isinstance(number, int):
                return int(number > 0)
            literal = self.literal(str(key), key)
            self.require(number >= literal)
            self.require(number <= most * literal)
            return literal

        return self._make(key, make)

    def both(self, *literals: Literal) -> Literal:
        """Whether all of these hold."""
        return self.no(self.any_of(*(self.no(x) for x in literals)))

    def one_of(self, *literals: Literal) -> Literal:
        """Return the literal of "one of these holds", for literals of which no two can hold together."""
        found = [x for x in literals if not (isinstance(x, int) and x == 0)]
        return self._bound_to("one", found, lambda real, one: self.cp.add(Sum(real) == one))
