"""The book of a plan, in which every list, step and picture of the sheets looks things up.

It holds the plan's figures (``figures.py``), and says which parts are in service and which are to be made.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from typing import Literal, NamedTuple

from trayopt.crewsheets.figures import Figures, Sleeve
from trayopt.crewsheets.passing import Inside, Passing, passing_of
from trayopt.crewsheets.travellers import Traveller
from trayopt.domain.cablework import Subunit
from trayopt.domain.handling import Handling, handling, separated
from trayopt.domain.pins import LegPin
from trayopt.domain.plan import PlanLeg, PlanTray
from trayopt.domain.trunk import Trunk

State = Literal["new", "opened", "closed"]
"""The state of a tray: it is put in new, it is in service and gets new legs, or it is in service and stays closed."""


class Batch(NamedTuple):
    """A test batch: whole trays, in build order, that are tested together before anything is laid over them."""

    number: int
    trays: tuple[int, ...]
    fibres: int


class Book(Figures):
    """The figures of a plan, divided into what is built, and so in service and not to be touched, and what is to be made."""

    @cached_property
    def passing(self) -> tuple[Passing, ...]:
        """Trunks that go through and are in the box."""
        return passing_of(self.job, self.plan, Inside(self.ways, self.legs, self.built, self.built_trunks))

    @cached_property
    def built(self) -> frozenset[str]:
        """Names of the placed legs that are built: they are in service, so no step touches them."""
        runs = {str(pin.leg) for pin in self.job.pins if isinstance(pin, LegPin) and pin.built}
        return frozenset(leg.leg for leg in self.all_legs if str(self.run(leg)) in runs)

    @cached_property
    def _built_pins(self) -> dict[str, LegPin]:
        pins = {str(pin.leg): pin for pin in self.job.leg_pins if pin.built}
        return {leg.leg: pins[str(self.run(leg))] for leg in self.all_legs if str(self.run(leg)) in pins}

    @cached_property
    def measured_before(self) -> dict[str, int]:
        """Entrance marks of built legs that were measured when they were made, in mm by leg."""
        return {leg: pin.measured_mm for leg, pin in self._built_pins.items() if pin.measured_mm is not None}

    @cached_property
    def tries_before(self) -> dict[str, int]:
        """How often splices of built legs can be made again, by leg, as far as it was recorded."""
        return {leg: pin.tries_left for leg, pin in self._built_pins.items() if pin.tries_left is not None}

    @cached_property
    def built_trunks(self) -> frozenset[str]:
        """Trunks in the box that are built or have a built leg: they are clamped, stripped and routed already."""
        pinned = {pin.trunk for pin in self.job.pins if not isinstance(pin, LegPin) and pin.built}
        built = {t for t, legs in self.legs.items() if t in pinned or any(leg.leg in self.built for leg in legs)}
        return frozenset(built | {self.job.other_end[trunk] for trunk in built if trunk in self.job.other_end})

    @property
    def new_trunks(self) -> list[Trunk]:
        """Trunks in the box that are not built and have to be brought in."""
        return [trunk for trunk in self.trunks if trunk.id not in self.built_trunks]

    @cached_property
    def work(self) -> dict[str, list[PlanLeg]]:
        """The legs to be made of each trunk, by subunit, then group; a trunk without such legs is left out."""
        found = {trunk: [leg for leg in legs if leg.leg not in self.built] for trunk, legs in self.legs.items()}
        return {trunk: legs for trunk, legs in found.items() if legs}

    @cached_property
    def work_legs(self) -> list[PlanLeg]:
        """Every leg to be made, by trunk, subunit, group."""
        return [leg for legs in self.work.values() for leg in legs]

    @cached_property
    def states(self) -> tuple[State, ...]:
        """The state of each tray."""
        found: list[State] = []
        for legs in self.tray_legs:
            built = [leg.leg in self.built for leg in legs]
            found.append("closed" if all(built) else "opened" if any(built) else "new")
        return tuple(found)

    @cached_property
    def work_trays(self) -> tuple[int, ...]:
        """Trays that get new legs, in build order."""
        return tuple(i for i in self.build if self.states[i] != "closed")

    @cached_property
    def new_trays(self) -> tuple[PlanTray, ...]:
        """Trays that are put in new, in build order."""
        return tuple(self.trays[i] for i in self.build if self.states[i] == "new")

    @cached_property
    def handlings(self) -> tuple[Handling, ...]:
        """The work on ribbons for the sleeves to be made in each tray."""
        found = []
        for tray, sleeves in zip(self.trays, self.work_sleeves, strict=True):
            sides = [side for sleeve in sleeves for side in (sleeve.a, sleeve.b)]
            single = self.hardware(tray).sleeve_fibres == 1
            known = self.job.trunk_by_id
            found.append(separated(sides, known) if single else handling(sides, known, self.ribbons))
        return tuple(found)

    def made(self, sleeve: Sleeve) -> bool:
        """Whether the splices of a sleeve were made before, so that both legs are built."""
        sides = [self.leg_at(run.trunk, run.first) for run in (sleeve.a, sleeve.b)]
        return all(leg is not None and leg.leg in self.built for leg in sides)

    @cached_property
    def work_sleeves(self) -> tuple[tuple[Sleeve, ...], ...]:
        """Sleeves to be made in each tray, by number."""
        return tuple(tuple(sleeve for sleeve in sleeves if not self.made(sleeve)) for sleeves in self.tray_sleeves)

    @cached_property
    def sleeves_to_make(self) -> tuple[Sleeve, ...]:
        """Sleeves to be made, in build order."""
        return tuple(sleeve for i in self.build for sleeve in self.work_sleeves[i])

    def live(self, trays: Iterable[int]) -> dict[str, int]:
        """Count the splices in service in some trays, by join."""
        found: dict[str, int] = {}
        for tray in trays:
            made = [sleeve for sleeve in self.tray_sleeves[tray] if self.made(sleeve)]
            for name, count in self._counted(made).items():
                found[name] = found.get(name, 0) + count
        return found

    def above(self, tray: int) -> tuple[int, ...]:
        """Return the trays in service that have to be lifted before a tray comes out, outermost first."""
        return tuple(i for i in self.lifted(tray) if self.states[i] != "new")

    def served(self, traveller: Traveller) -> bool:
        """Whether a traveller is in service: one of its legs is built."""
        return any(leg.leg in self.built for leg in traveller.legs)

    def spliced(self, tray: int) -> int:
        """Count the splices to be made in a tray."""
        return sum(sleeve.a.count for sleeve in self.work_sleeves[tray])

    @cached_property
    def batches(self) -> tuple[Batch, ...]:
        """Batches: whole groups of trays with new legs, up to ``batch_fibres`` splices; a larger group is a batch alone."""
        most = self.settings.tests.batch_fibres
        found: list[list[int]] = []
        filled = most + 1
        for group in self.groups:
            trays = [i for i in group if self.states[i] != "closed"]
            count = sum(self.spliced(i) for i in trays)
            if trays and filled + count > most:
                found.append([])
                filled = 0
            if trays:
                found[-1] += trays
            filled += count
        return tuple(
            Batch(number, tuple(trays), sum(self.spliced(i) for i in trays))
            for number, trays in enumerate(found, start=1)
        )

    @cached_property
    def batch_of(self) -> dict[int, int]:
        """Number of the batch of each tray that gets new legs."""
        return {tray: batch.number for batch in self.batches for tray in batch.trays}

    @cached_property
    def parted_before(self) -> frozenset[str]:
        """Legs to be made that lie in tubes of the set already: their subunit was parted at the port with a leg in service."""
        parted = {(leg.trunk, leg.subunit) for leg in self.all_legs if leg.leg in self.built and not self.own_tube(leg)}
        return frozenset(leg.leg for leg in self.work_legs if (leg.trunk, leg.subunit) in parted)

    def beside(self, trunk: str) -> list[PlanLeg]:
        """Return the legs in service of subunits of a trunk that get new legs as well."""
        worked = {leg.subunit for leg in self.work.get(trunk, [])}
        return [leg for leg in self.legs[trunk] if leg.leg in self.built and leg.subunit in worked]

    def let_out(self, trunk: str) -> list[PlanLeg]:
        """Return the legs that go to no tray, but come out of their tube because the subunit is parted at the port now."""
        parted = {leg.subunit for leg in self.work.get(trunk, []) if leg.leg not in self.parted_before}
        return [leg for leg in self._unplaced(trunk) if leg.subunit in parted]

    def coiled_now(self, trunk: str) -> list[PlanLeg]:
        """Return the legs that the work coils on the track: of a trunk in service, only what is parted at the port now."""
        return self._now(trunk, self.coiled(trunk))

    def cut_back_now(self, trunk: str) -> list[PlanLeg]:
        """Return the legs that the work cuts back at the port: of a trunk in service, only what is parted there now."""
        return self._now(trunk, self.cut_back(trunk))

    def _now(self, trunk: str, idle: list[PlanLeg]) -> list[PlanLeg]:
        if trunk not in self.built_trunks:
            return idle
        out = self.let_out(trunk)
        return [leg for leg in idle if leg in out]

    def circuits_of(self, legs: Iterable[PlanLeg]) -> dict[str, int]:
        """Count the splices in service of some legs, by join."""
        names = {leg.leg for leg in legs}
        return self._counted(
            sleeve
            for sleeves in self.tray_sleeves
            for sleeve in sleeves
            if self.made(sleeve)
            and any(
                (leg := self.leg_at(run.trunk, run.first)) is not None and leg.leg in names
                for run in (sleeve.a, sleeve.b)
            )
        )

    @cached_property
    def work_travellers(self) -> dict[str, Traveller]:
        """Travellers with legs to be made, by name; a traveller in service lies on the track already."""
        return {
            name: traveller
            for name, traveller in self.travellers.items()
            if any(leg.leg not in self.built for leg in traveller.legs)
        }

    def tubes_of(self, trunk: str) -> list[tuple[float, int]]:
        """Count the tubes that are laid round the track for a trunk's new legs: (diameter in mm, number), by diameter."""
        return counted_sizes(t for t in self.work_travellers.values() if t.trunk == trunk and not self.served(t))


def counted_sizes(travellers: Iterable[Traveller | Subunit]) -> list[tuple[float, int]]:
    """Count travellers by diameter: (diameter in mm, number), the thinnest first."""
    found: dict[float, int] = {}
    for traveller in travellers:
        found[traveller.diameter_mm] = found.get(traveller.diameter_mm, 0) + 1
    return sorted(found.items())
