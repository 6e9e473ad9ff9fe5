"""What the whole model and every relaxation have in common: trunks and their ways, rules that bind or are let go.

What a model says of legs is its own: a relaxation that makes none cannot be asked for one.
"""

from __future__ import annotations

from abc import abstractmethod
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cached_property

from trayopt.domain.assignment import Way
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.finding import Group, Level
from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.domain.ranges import Run
from trayopt.domain.splicing import Done, Piece
from trayopt.domain.through import Through
from trayopt.domain.trunk import Trunk
from trayopt.rules.variables import Expression, Literal
from trayopt.solver.model import cp_sat
from trayopt.solver.model.clock import Clock
from trayopt.solver.model.literals import total
from trayopt.solver.model.ways import Partings, Ways
from trayopt.solver.model.windows import WindowNumbers, least_window_numbers

Key = tuple[str, int]
"""A trunk and the number of one of its subunits."""
Divisions = Mapping[Key, Sequence[int]]
"""The k that are open, by subunit."""


class Base(Ways):
    """Trunks, and what becomes of the rules.

    Parameters
    ----------
    ways
        Open ways by trunk; a trunk that is missing has all ways of its own limits open.
    divide_at
        Where trunks may be divided, by trunk; for one that is missing its own list.
    all_placed
        Whether only plans that place every splice are wanted.
    clock
        Ends the making of the model with ``OutOfTime``; where None, nothing does.
    """

    def __init__(
        self,
        job: Job,
        *,
        ways: Mapping[str, Sequence[Way]] | None = None,
        divide_at: Partings | None = None,
        all_placed: bool = False,
        clock: Clock | None = None,
    ) -> None:
        super().__init__(job, ways, clock, divide_at)
        self.all_placed = all_placed
        self.kept: set[str] = set()
        """Rules that bind hard in this model."""
        self.let_go: dict[Group, cp_sat.IntVar] = {}
        """Literal of each group that may be broken."""
        self.guards: dict[Group, cp_sat.IntVar] = {}
        """Literal that holds each group of an explanation."""
        self.places = job.enclosure.places

    def keeps(self, rule: str) -> bool:
        """Whether this model holds only plans that break no subject of this rule."""
        return rule in self.kept

    def broken(self, level: Level, *, without: str = "") -> Expression:
        """Sum of the groups of a level that are let go, weighted where the level is prefer; ``without`` leaves out one rule."""
        settings = self.job.rules
        return total(
            (settings[group.rule].weight if level == "prefer" else 1) * literal
            for group, literal in self.let_go.items()
            if settings[group.rule].level == level and group.rule != without
        )

    def window_loops_at_least(self, through: Through) -> Expression:
        """Loops of the tubes of a trunk that are not cut, or fewer."""
        return self._window(through).loops

    def window_steps_at_least(self, through: Through) -> Expression:
        """Length of a window in whole steps, or less."""
        return self._window(through).steps

    def _window(self, through: Through) -> WindowNumbers:
        """Make the numbers of a window, of the ways of its ends alone."""
        return self._make(("window", through.trunk), lambda: least_window_numbers(self, through))


def legs_with(job: Job, divisions: Callable[[Subunit], Iterable[int]], run: Run) -> tuple[Leg, ...]:
    """Legs of every open division of a subunit that hold the first fibre of a run."""
    subunit = job.trunk_by_id[run.trunk].subunit_of(run.first)
    return tuple(subunit.leg_of_fibre(run.first, of) for of in divisions(subunit))


def sleeves_of_legs(job: Job, divisions: Callable[[Subunit], Iterable[int]], size: int) -> dict[Leg, int]:
    """Sleeves of ``size`` fibres that the runs of each leg take at least; both sides of a run count them."""
    found: dict[Leg, int] = defaultdict(int)
    for run in job.sleeve_runs:
        for side in run[:2]:
            for leg in legs_with(job, divisions, side):
                found[leg] += run.sleeves(size)
    return found


class UsedTrays(Base):
    """The used places of a model that knows what lies at each place."""

    @abstractmethod
    def used(self, place: Place) -> Literal:
        """Whether a tray place is used."""

    def trays_on(self, stack: str) -> Expression:
        """How many tray places of a stack are used."""
        return total(self.used(place) for place in self.places if place.stack == stack)


class DividedLegs(Base):
    """The legs of a model, as they follow from the divisions that are open in it."""

    @abstractmethod
    def divisions(self, subunit: Subunit) -> tuple[int, ...]:
        """Every k that is open for a subunit; none for an idle one."""

    @abstractmethod
    def legs(self, subunit: Subunit, of: int) -> tuple[Leg, ...]:
        """Every leg of a division that can be placed, in order."""

    def most_trunk_legs(self, trunk: Trunk) -> int:
        """Return the greatest number of placed legs of a trunk in this model."""
        return sum(max((len(self.legs(s, of)) for of in self.divisions(s)), default=0) for s in trunk.subunits)

    @cached_property
    def sides(self) -> dict[Piece, tuple[tuple[Leg, ...], tuple[Leg, ...]]]:
        """Legs that may hold each side of each piece."""
        return {
            piece: (legs_with(self.job, self.divisions, piece.a), legs_with(self.job, self.divisions, piece.b))
            for piece in self.job.pieces
        }

    def leg_sleeves(self, size: int) -> dict[Leg, int]:
        """Sleeves of ``size`` fibres that the runs of each leg take at least; both sides of a run count them."""
        return sleeves_of_legs(self.job, self.divisions, size)

    def leg_more_sleeves(self, size: int) -> dict[Leg, dict[Done, int]]:
        """Return for each choice of ribbon work the sleeves that the runs of each leg take above their least, for both sides."""
        found: dict[Leg, dict[Done, int]] = defaultdict(lambda: defaultdict(int))
        for run in self.job.sleeve_runs:
            for done, more in run.more(size).items():
                for side in run[:2]:
                    for leg in legs_with(self.job, self.divisions, side):
                        found[leg][done] += more
        return found

    def _may_stay_bare(self, leg: Leg) -> bool:
        """Whether a leg without a splice lies in a tray only if its trunk is divided there, which is open."""
        trunk = self.job.trunk_by_id[leg.trunk]
        return len(self.divide_options(trunk)) > 1 and not self.job.spliced_fibres(leg)
