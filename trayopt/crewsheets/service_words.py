"""The words of steps on what is in service: what is found, what is not touched, and the way to trays under others."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from trayopt.crewsheets.acts import Act
from trayopt.crewsheets.book import Book
from trayopt.crewsheets.figures import place_name
from trayopt.crewsheets.marks import Marks
from trayopt.crewsheets.step_facts import counted, named
from trayopt.crewsheets.through_words import ThroughWords
from trayopt.crewsheets.units import Teller
from trayopt.domain.plan import PlanLeg
from trayopt.domain.ranges import Run, joined


class ServiceWords:
    """Writes the lines of acts about trunks, legs and trays in service."""

    def __init__(self, book: Book, marks: Marks, tell: Teller) -> None:
        self.book, self.marks, self.tell, self.through = book, marks, tell, ThroughWords(book, tell)

    def found(self, act: Act) -> Iterator[str]:
        """Yield lines on the trunks and trays in service, and the circuits in them."""
        book, tell = self.book, self.tell
        for trunk in act.trunks:
            yield tell("step.service.work" if trunk in book.work else "step.service.trunk", trunk=trunk)
            yield from self._lengths(trunk)
        yield from self.through.in_service()
        for stack in book.job.enclosure.stacks:
            for state in ("closed", "opened"):
                trays = [i for i, tray in enumerate(book.trays) if tray.stack == stack.id and book.states[i] == state]
                if trays:
                    names = ", ".join(map(self._name, trays))
                    yield tell(f"step.service.{state}", n=len(trays), trays=names, circuits=self._live(trays))

    def _lengths(self, trunk: str) -> Iterator[str]:
        """Yield what the new legs of a trunk in service need: its jacket is off, so no tube of it gets longer.

        A trunk that goes through has a line about its window instead.
        """
        book, marks, tell = self.book, self.marks, self.tell
        if trunk not in book.work or trunk in book.job.other_end:
            return
        needed = max(marks.of[leg.leg].cut for leg in book.work[trunk])
        built = [marks.of[leg.leg].cut for leg in book.legs[trunk] if leg.leg in book.built]
        yield tell("step.service.length", trunk=trunk, length=tell.cut(needed))
        if built and needed > max(built):
            yield tell("step.service.longer", trunk=trunk, length=tell.cut(max(built)))
        coiled = any(not book.served(book.traveller_of[leg.leg]) for leg in book.work[trunk])
        if coiled and book.job.trunk_by_id[trunk].idle == "cut_back":
            yield tell("step.service.cut_back", trunk=trunk)

    def parted(self, trunk: str) -> Iterator[str]:
        """Yield a line on the legs to be made that were parted at the port before."""
        parted = [leg for leg in self.book.work[trunk] if leg.leg in self.book.parted_before]
        if parted:
            legs = named(self.book, ([leg] for leg in parted))
            yield self.tell("step.units.parted", n=len(parted), legs=legs)

    def beside(self, trunk: str) -> Iterator[str]:
        """Yield a line on legs in service in subunits of which other legs are released."""
        book, beside = self.book, self.book.beside(trunk)
        if beside:
            live = ", ".join(f"{leg.leg} ({book.run(leg)})" for leg in beside)
            circuits = counted(book.circuits_of(beside), self.tell) or self.tell("step.service.none")
            yield self.tell("step.release_units.beside", n=len(beside), live=live, circuits=circuits)

    def parked(self) -> Iterator[str]:
        """Yield a line for each run of parked fibres of legs in service that is spliced now."""
        book, tell = self.book, self.tell
        parked: dict[PlanLeg, list[tuple[int, int]]] = {}
        for sleeve in book.sleeves_to_make:
            for run in (sleeve.a, sleeve.b):
                leg = book.leg_at(run.trunk, run.first)
                if leg is not None and leg.leg in book.built:
                    parked.setdefault(leg, []).append((run.first, run.last))
        for leg, runs in parked.items():
            for run in (Run(leg.trunk, *ends) for ends in joined(runs)):
                yield tell("step.release_units.parked", n=run.count, run=str(run), leg=leg.leg)

    def coil(self, trunk: str) -> Iterator[str]:
        """Yield lines on taking tubes from a coil that lies among others in service."""
        yield self.tell("step.route.built", trunk=trunk)
        if circuits := counted(self.book.live(range(len(self.book.trays))), self.tell):
            yield self.tell("step.route.over", circuits=circuits)

    def way_to(self, act: Act) -> Iterator[str]:
        """Yield lines on what is in service over trays, in them, and tied to them."""
        book, tell, over = self.book, self.tell, self.book.above(act.trays[0])
        if over:
            trays = ", ".join(map(self._name, over))
            yield tell("step.open.lift", n=len(over), trays=trays, circuits=self._live(over))
        for tray in act.trays:
            if book.states[tray] == "opened":
                legs = ", ".join(leg.leg for leg in book.tray_legs[tray] if leg.leg in book.built)
                yield tell("step.open.inside", name=self._name(tray), legs=legs, circuits=self._live([tray]))
        closed = [i for i in book.group_of[act.trays[0]] if book.states[i] == "closed"]
        if closed:
            names = ", ".join(map(self._name, closed))
            yield tell("step.open.tied", n=len(closed), trays=names, circuits=self._live(closed))

    def _name(self, tray: int) -> str:
        return place_name(self.book.trays[tray])

    def _live(self, trays: Sequence[int]) -> str:
        return counted(self.book.live(trays), self.tell) or self.tell("step.service.none")
