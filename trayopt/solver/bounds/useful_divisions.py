"""Which divisions are of use: what one leg needs against what one tray has, without a model.

A division is of no use if one of its legs fits no tray, needs a tube that the set does not have, or is bent tighter than a rule
at must allows. It may be of use where its trunk is divided at the tray and of none at the port, or the other way round.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from copy import copy
from functools import cached_property
from typing import NamedTuple, Self

from trayopt.domain.base import EPSILON, DivideAt
from trayopt.domain.cable import FIBRE_RADIUS_MM
from trayopt.domain.cablework import Leg
from trayopt.domain.hardware import Tray
from trayopt.domain.job import Job
from trayopt.domain.splicing import SleeveRun
from trayopt.domain.trunk import Trunk
from trayopt.rules.bend_radius import BendRadius
from trayopt.rules.fibre_bend import FibreBend
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.tray_sleeves import TraySleeves
from trayopt.solver.model.base import Key
from trayopt.solver.model.ways import Partings
from trayopt.track.routes import routes_of


class _Side(NamedTuple):
    """A sleeve run as one trunk sees it, by its first fibre."""

    first: int
    run: SleeveRun

    def sleeves(self, size: int) -> int:
        return self.run.sleeves(size)


class UsefulDivisions:
    """The divisions of a job that can be of use.

    Parameters
    ----------
    divide_at
        Where trunks may be divided, by trunk; for one that is missing its own list.
    """

    def __init__(self, job: Job, divide_at: Partings | None = None) -> None:
        self.job = job
        self.must = {rule for rule, setting in job.rules.items() if setting.level == "must"}
        self._options = {trunk.id: tuple((divide_at or {}).get(trunk.id, trunk.divide_at)) for trunk in job.trunks}
        self._use(
            {
                key: {
                    of: tuple(at for at in self._options[key[0]] if self._useful(key, of, at))
                    for of in job.subunit_of_leg[key].divisions
                }
                for key, runs in job.spliced.items()
                if runs
            }
        )

    def _use(self, where: Mapping[Key, Mapping[int, tuple[DivideAt, ...]]]) -> None:
        """Open every k that is of use somewhere."""
        self._where = where
        self.open: dict[Key, tuple[int, ...]] = {
            key: tuple(of for of, at in by_of.items() if at) for key, by_of in where.items()
        }
        """Every useful k, by subunit."""

    def narrowed(self, given: Mapping[Key, Collection[int]], divide_at: Partings | None = None) -> Self:
        """Return the useful divisions of plans in which these subunits have one of these k and these trunks are divided there.

        What holds for all plans is not made again.
        """
        other = copy(self)
        for of_open in ("possible", "largest"):
            vars(other).pop(of_open, None)
        options = {
            trunk: tuple(at for at in open_ if at in (divide_at or {}).get(trunk, open_))
            for trunk, open_ in self._options.items()
        }
        vars(other).update(_options=options)
        other._use(  # noqa: SLF001 (a copy of itself)
            {
                key: {
                    of: tuple(at for at in found if at in options[key[0]])
                    for of, found in by_of.items()
                    if key not in given or of in given[key]
                }
                for key, by_of in self._where.items()
            }
        )
        return other

    def within_box(self, job: Job) -> Self:
        """Return the useful divisions of the same job in a smaller box, whose trays are of the same types."""
        if job is self.job:
            return self
        other = copy(self)
        vars(other).update(job=job)
        other._use(self._where)  # noqa: SLF001 (a copy of itself)
        return other

    def where(self, key: Key, of: int) -> tuple[DivideAt, ...]:
        """Tell where a trunk may be divided for a division of one of its subunits to be of use: nowhere where it is of none."""
        return self._where[key].get(of, ())

    @property
    def hopeless(self) -> bool:
        """Whether some subunit cannot be placed whole at any division."""
        return any(not open_ for open_ in self.open.values())

    @cached_property
    def possible(self) -> dict[Key, tuple[int, ...]]:
        """Every k at which some leg of a subunit can be placed; where there is none, one k that stands for unplaced."""
        return {
            key: tuple(
                of
                for of in self.job.subunit_of_leg[key].divisions
                if of in self.open[key] or any(self.placeable(key, of, at) for at in self._options[key[0]])
            )
            or (1,)
            for key in self.open
        }

    def placeable(self, key: Key, of: int, at: DivideAt) -> tuple[Leg, ...]:
        """Return the legs of a division that can be placed at all if the trunk is divided there: at the tray all, or none."""
        subunit = self.job.subunit_of_leg[key]
        legs = self.job.legs_in(subunit, of, at)
        trunk = self.job.trunk_by_id[subunit.trunk]
        tube = routes_of(self.job).traveller(trunk, subunit, of, at)
        if tube is None:
            return ()
        if BendRadius.id in self.must and tube.radius_mm > self.job.enclosure.track.min_radius_mm + EPSILON:
            return ()
        trays = self._trays(trunk)
        fit = tuple(
            leg for leg in legs if any(self._fits(tray, *self._needs(leg, tray.sleeve_fibres)) for tray in trays)
        )
        return fit if at == "port" or len(fit) == len(legs) else ()

    def _useful(self, key: Key, of: int, at: DivideAt) -> bool:
        """Whether every leg of a division can be placed, of a trunk that is divided there."""
        return len(self.placeable(key, of, at)) == len(self._legs_in(key, of, at))

    def _trays(self, trunk: Trunk) -> list[Tray]:
        radius = FIBRE_RADIUS_MM[trunk.cable.fibre]
        bent = FibreBend.id in self.must
        return [tray for tray in self.job.enclosure.trays if not bent or tray.min_radius_mm >= radius - EPSILON]

    def _fits(self, tray: Tray, ends: int, sleeves: int) -> bool:
        if TrayFibres.id in self.must and ends > 2 * tray.fibres:
            return False
        return TraySleeves.id not in self.must or sleeves <= tray.sleeves

    def _needs(self, leg: Leg, sleeve_fibres: int) -> tuple[int, int]:
        """Least ends and sleeves that a leg brings into a tray, with sleeves of a size: all that it is spliced to comes too."""
        first, last = self.job.subunit(leg).leg_run(leg)
        return self.job.ends(leg) + self.job.spliced_fibres(leg), sum(
            run.sleeves(sleeve_fibres) for run in self._runs_of[leg.trunk, leg.subunit] if first <= run.first <= last
        )

    @cached_property
    def _runs_of(self) -> dict[Key, list[_Side]]:
        found: dict[Key, list[_Side]] = {(s.trunk, s.number): [] for s in self.job.subunits}
        for run in self.job.sleeve_runs:
            for side in run[:2]:
                subunit = self.job.trunk_by_id[side.trunk].subunit_of(side.first)
                found[side.trunk, subunit.number].append(_Side(side.first, run))
        return found

    @property
    def most_legs(self) -> int:
        """Legs of the finest useful divisions."""
        return sum(
            max(len(self._legs_in(key, of, at)) for of in open_ for at in self._where[key][of])
            for key, open_ in self.open.items()
        )

    def least_legs(self, unplaced: int) -> int:
        """Bound the legs of plans that leave so many splices unplaced: a trunk's other splices lie in legs as large as fit."""
        return sum(self._fewest(trunk, unplaced) for trunk in self.job.trunks)

    def _fewest(self, trunk: Trunk, unplaced: int) -> int:
        return -(-max(0, self.job.spliced_in(trunk) - unplaced) // self.largest[trunk.id])

    def smallest(self, legs: int, unplaced: int) -> dict[str, int]:
        """Bound the spliced fibres of any leg of each trunk in plans of so many legs that leave so many splices unplaced.

        Where that is above 0, no leg of the trunk is parked. The other trunks have their fewest legs at least, and the other
        legs of the trunk hold no more than as large as fit.
        """
        spare = legs - self.least_legs(unplaced)
        return {
            trunk.id: self.job.spliced_in(trunk)
            - unplaced
            - (self._fewest(trunk, unplaced) + spare - 1) * self.largest[trunk.id]
            for trunk in self.job.trunks
        }

    @cached_property
    def largest(self) -> dict[str, int]:
        """Most spliced fibres in a leg of each trunk that some tray takes; 1 where none does."""
        return {trunk.id: self._largest(trunk) for trunk in self.job.trunks}

    def _largest(self, trunk: Trunk) -> int:
        trays = self._trays(trunk)
        fitting = (
            self.job.spliced_fibres(leg)
            for subunit in trunk.subunits
            for of in self.possible.get((trunk.id, subunit.number), ())
            for leg in subunit.legs(of)
            if any(self._fits(tray, *self._needs(leg, tray.sleeve_fibres)) for tray in trays)
        )
        return max(fitting, default=1) or 1

    def even(self) -> Iterator[dict[Key, tuple[int, ...]]]:
        """Yield divisions into legs of about one size, as large as can be at most, for each size from the largest down."""
        fibres = {key: self.job.subunit_of_leg[key].fibres for key in self.open}
        sizes = {fibres[key] // of for key, open_ in self.open.items() for of in open_}
        before: dict[Key, tuple[int, ...]] = {}
        for size in sorted(sizes, reverse=True):
            divisions: dict[Key, tuple[int, ...]] = {
                key: (next((of for of in open_ if fibres[key] // of <= size), open_[-1]),)
                for key, open_ in self.open.items()
            }
            if divisions != before:
                yield divisions
            before = divisions

    def _legs_in(self, key: Key, of: int, at: DivideAt) -> tuple[Leg, ...]:
        return self.job.legs_in(self.job.subunit_of_leg[key], of, at)

    def _fewest_legs(self, key: Key, of: int) -> tuple[Leg, ...]:
        """Return the legs that lie in trays at a division: without those that are parked, where the port will do as well."""
        return self._legs_in(key, of, self._where[key][of][-1])

    def _count(self, key: Key, of: int) -> int:
        return len(self._fewest_legs(key, of))
