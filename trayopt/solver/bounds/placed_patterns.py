"""Which bunches are placed where splices stay out: closed patterns, each of which lies in one tray or is left out whole.

It holds for every plan. The placed legs of a plan are parted into bunches, each with all that its legs are spliced to:

* A subunit with a placed leg has one division, and bunches hold legs of that. Where its trunk is divided at the tray alone, all
  its legs are placed, parked ones as well, or none.
* Trays hold the fibre ends and sleeves of all bunches, no bunch needs more sleeves than some tray has, and bunches take no more
  shares of trays than there are trays (``tray_shares.py``).
* A trunk with a placed bunch is in the box.

Stacks, places and order are left out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cached_property

from trayopt.domain.cablework import Leg
from trayopt.rules.variables import Expression, Literal
from trayopt.solver.bounds.closed_patterns import Bunch, closed_bunches
from trayopt.solver.bounds.tied_subunits import room_of
from trayopt.solver.bounds.tray_shares import holds_fibres, holds_sleeves, most_sleeves2, shares_fit
from trayopt.solver.model.base import Base, Divisions, Key, legs_with, sleeves_of_legs
from trayopt.solver.model.literals import total

MOST_BUNCHES = 300
"""With more bunches than this nothing is said of them: counts without them are answered several times as soon."""


class PlacedPatterns:
    """The placed bunches of the plans of a model, by the divisions that a subunit with a placed leg may have.

    ``listed`` tells whether bunches could be listed; where not, nothing is posted.
    """

    def __init__(self, model: Base, divisions: Divisions) -> None:
        self._model, self._divisions = model, divisions
        job = self._job = model.job
        listed = None
        if holds_fibres(job):
            sides = {
                piece: (
                    legs_with(job, lambda s: divisions[s.trunk, s.number], piece.a),
                    legs_with(job, lambda s: divisions[s.trunk, s.number], piece.b),
                )
                for piece in job.pieces
            }
            loads = {leg: job.ends(leg) for legs in self._legs.values() for leg in legs}
            listed = closed_bunches(sides, loads, room_of(job))
        self.listed = listed is not None and len(listed) <= MOST_BUNCHES
        """Whether anything is said."""
        self._here: dict[Bunch, Literal] = {}
        self._divided: dict[tuple[Key, int], Literal] = {}
        if self.listed:
            self._here = {bunch: model.literal(f"{bunch[0]} and all with it") for bunch in listed or ()}
            self._divide()
            self._fill()

    @cached_property
    def _legs(self) -> dict[tuple[Key, int], tuple[Leg, ...]]:
        """Every leg of a division that can be placed."""
        job = self._job
        return {
            (key, of): job.legs_in(job.subunit_of_leg[key], of, job.trunk_by_id[key[0]].divide_at[0])
            for key, open_ in self._divisions.items()
            for of in open_
        }

    def _divide(self) -> None:
        """Give each subunit one division, and let its bunches be of that."""
        model = self._model
        placed: dict[Leg, list[Literal]] = {leg: [] for legs in self._legs.values() for leg in legs}
        for bunch, here in self._here.items():
            for leg in bunch:
                placed[leg].append(here)
            for trunk in dict.fromkeys(leg.trunk for leg in bunch):
                model.require(here <= model.in_box(self._job.trunk_by_id[trunk]))
        for key, open_ in self._divisions.items():
            of_key = {of: model.literal(f"{key[0]}/{key[1]} in {of}") for of in open_}
            model.require(total(of_key.values()) <= 1)
            whole = model.divide_options(self._job.trunk_by_id[key[0]]) == ("tray",)
            for of, literal in of_key.items():
                self._divided[key, of] = literal
                for leg in self._legs[key, of]:
                    number = total(placed[leg])
                    model.require(number == literal if whole else number <= literal)

    @cached_property
    def _ends(self) -> dict[Bunch, int]:
        """Fibre ends of each bunch."""
        return {bunch: sum(map(self._job.ends, bunch)) for bunch in self._here}

    @cached_property
    def _sleeves2(self) -> dict[Bunch, int]:
        """Twice the sleeves that each bunch takes at least."""
        job = self._job
        size = job.enclosure.trays[0].sleeve_fibres
        sleeves = sleeves_of_legs(job, lambda s: self._divisions[s.trunk, s.number], size)
        return {bunch: sum(sleeves.get(leg, 0) for leg in bunch) for bunch in self._here}

    def _fill(self) -> None:
        """Let trays hold what is placed."""
        job, model = self._job, self._model
        trays = [tray for stack in job.enclosure.stacks for tray in stack.by_position]
        most = 2 * job.enclosure.fibres, 2 * sum(tray.sleeves for tray in trays)
        model.require(self._sum(self._ends) <= most[0])
        if holds_sleeves(job):
            model.require(self._sum(self._sleeves2) <= most[1])
            for bunch, size in self._sleeves2.items():
                if size > most_sleeves2(job):
                    model.require(self._here[bunch] <= 0)
        for constraint in shares_fit(job, self._here, self._ends, self._sleeves2, most):
            model.require(constraint)

    def _sum(self, sizes: Mapping[Bunch, int]) -> Expression:
        """Sum a size over all placed bunches."""
        return total(size * self._here[bunch] for bunch, size in sizes.items())

    def trays(self) -> Expression:
        """Bound the used trays from below: they hold all that is placed, and its shares."""
        job, model = self._job, self._model
        trays = model.number(len(job.enclosure.places), "used trays")
        model.require(self._sum(self._ends) - room_of(job) * trays <= 0)
        if holds_sleeves(job):
            model.require(self._sum(self._sleeves2) - most_sleeves2(job) * trays <= 0)
        for constraint in shares_fit(job, self._here, self._ends, self._sleeves2, (0, 0), trays):
            model.require(constraint)
        return trays

    def legs(self) -> Expression:
        """Count the placed legs, parked ones as well."""
        return self._sum({bunch: len(bunch) for bunch in self._here})

    def unplaced(self) -> Expression:
        """Count the splices without a tray."""
        spliced = self._job.spliced_fibres
        return self._job.splices - total(
            sum(spliced(leg) for leg in bunch) // 2 * here for bunch, here in self._here.items()
        )

    def divisions(self, value: Callable[[Expression], int]) -> Divisions:
        """Read the divisions of a solution; all that are open for a subunit without a placed leg."""
        return {
            key: tuple(of for of in open_ if value(self._divided[key, of])) or tuple(open_)
            for key, open_ in self._divisions.items()
        }
