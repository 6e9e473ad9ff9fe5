"""The words of every step, with the figures of the plan."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence

from trayopt.crewsheets.acts import Act, Phase
from trayopt.crewsheets.book import Book, counted_sizes
from trayopt.crewsheets.figures import place_name
from trayopt.crewsheets.marks import Marks
from trayopt.crewsheets.passing import spans
from trayopt.crewsheets.service_words import ServiceWords
from trayopt.crewsheets.step_facts import (
    guide_words,
    guides_of,
    laid_with,
    named,
    parked_of,
    tied_words,
    trial_note,
    units_of,
)  # fmt: skip
from trayopt.crewsheets.through_words import ThroughWords
from trayopt.crewsheets.travellers import Traveller
from trayopt.crewsheets.units import Teller
from trayopt.domain.base import SPLIT
from trayopt.domain.hardware import Place
from trayopt.domain.plan import PlanLeg


class StepWords:
    """Writes the titles and the lines of acts."""

    def __init__(self, book: Book, marks: Marks, tell: Teller) -> None:
        self.book, self.marks, self.tell, self.through = book, marks, tell, ThroughWords(book, tell)
        self.service = ServiceWords(book, marks, tell)
        self._of: dict[Phase, Callable[[Act], Iterator[str]]] = {
            "pass": self.through.laid, "cut": self.through.cut,
            "prepare": self._prepare, "service": self.service.found, "identify": self._identify, "release": self._release,
            "clamp": self._clamp, "strip": self._strip, "units": self._units, "release_units": self._release_units,
            "part": self._part, "fit": self._fit, "route": self._route, "mark": self._mark, "take_off": self._take_off,
            "take_out": self._take_out, "divide": self._divide, "open": self.service.way_to, "splice": self._splice,
            "lay": self._lay, "test": self._test, "close": self._close,
        }  # fmt: skip

    def title(self, act: Act) -> str:
        """Return the title of a step."""
        if act.phase in {"open", "splice", "lay"}:
            tray = act.trays[0]
            key = "splice.park" if act.phase == "splice" and not self.book.work_sleeves[tray] else act.phase
            return self.tell(f"step.{key}", name=self._name(tray))
        name = act.trunks[0] if act.phase in {"part", "route", "mark", "take_off"} else ""
        return self.tell(f"step.{act.phase}", name=name, batch=act.batch or 0)

    def lines(self, act: Act) -> list[str]:
        """Return the lines that say what is done."""
        return list(self._of[act.phase](act))

    # --- before routing ---------------------------------------------------------------------------------------------

    def _prepare(self, act: Act) -> Iterator[str]:
        del act
        book, tell = self.book, self.tell
        kinds: dict[str, int] = {}
        for tray in book.new_trays:
            kinds[book.hardware(tray).id] = kinds.get(book.hardware(tray).id, 0) + 1
        box = book.job.enclosure
        yield tell("step.prepare.box", box=box.id, n=len(box.stacks))
        for kind, count in kinds.items():
            yield tell("step.prepare.trays", n=count, tray=kind)
        yield tell("step.prepare.tools")
        for trunk in book.outside:
            yield tell("step.outside", trunk=trunk)

    def _identify(self, act: Act) -> Iterator[str]:
        through = {item.ends[0]: item for item in self.through.of(act)}
        for name in act.trunks:
            item = through.get(name)
            if item is None and name in self.book.job.other_end:
                continue
            cable = self.book.job.trunk_by_id[name].cable
            sides = {} if item is None else {"one": item.ends[0], "other": item.ends[1]}
            yield self.tell(
                "step.identify.line" if item is None else "step.identify.through",
                trunk=name if item is None else item.trunk, fibres=self.tell("count.fibres", n=cable.fibres),
                diameter=self.tell.size(cable.diameter_mm), **sides,
            )  # fmt: skip

    def _release(self, act: Act) -> Iterator[str]:
        yield from self.through.windows(act, "step.release.window")
        for trunk in self.through.without(act.trunks):
            yield self.tell("step.release.line", trunk=trunk, length=self.tell.cut(self.marks.strip[trunk]))

    def _clamp(self, act: Act) -> Iterator[str]:
        book, tell = self.book, self.tell
        yield tell("step.clamp.first")
        yield from self.through.drawn_in(act)
        for trunk in act.trunks:
            port = book.job.enclosure.port_by_id[book.ways[trunk].port or ""]
            there = [t for t in book.trunks if book.ways[t.id].port == port.id]
            seal = port.seal_for([t.cable.diameter_mm for t in there])
            diameter = tell.size(book.job.trunk_by_id[trunk].cable.diameter_mm)
            if seal is None:
                key = "step.clamp.bare" if port.seals else "step.clamp.sealless"
                yield tell(key, trunk=trunk, port=port.id, diameter=diameter)
                continue
            line = tell("step.clamp.line", n=seal.holes, trunk=trunk, port=port.id, diameter=diameter)
            built = [t.id for t in there if t.id in book.built_trunks]
            more = tell("step.clamp.shared", n=len(built), built=", ".join(built)) if built else ""
            yield f"{line} {more}".rstrip()

    def _strip(self, act: Act) -> Iterator[str]:
        yield from self.through.windows(act, "step.strip.window")
        for trunk in self.through.without(act.trunks):
            mm = self.book.job.trunk_by_id[trunk].transition_mm
            where = "at_port" if mm == 0 else "before" if mm > 0 else "behind"
            transition = self.tell(f"step.strip.{where}", length=self.tell.length(abs(mm)))
            length = self.tell.cut(self.marks.strip[trunk])
            yield self.tell("step.strip.line", trunk=trunk, length=length, transition=transition)
        yield trial_note(self.marks, self.tell)

    def _units(self, act: Act) -> Iterator[str]:
        for trunk in act.trunks:
            units = units_of(self.book, trunk)
            if not units:
                continue
            if trunk in self.book.built_trunks:
                names = self.tell.words.listed([str(number) for number in units])
                yield self.tell("step.units.built", n=len(units), trunk=trunk, units=names)
                yield from self.service.parted(trunk)
            else:
                fibres = self.tell("count.fibres", n=self.book.job.trunk_by_id[trunk].cable.fibres)
                yield self.tell("step.units.line", n=len(units), trunk=self.through.name(trunk), fibres=fibres)

    def _release_units(self, act: Act) -> Iterator[str]:
        book, tell = self.book, self.tell
        for trunk in act.trunks:
            legs = book.work[trunk]
            fibres = tell("count.fibres", n=sum(book.run(leg).count for leg in legs))
            units = self._units_named(leg.subunit for leg in legs)
            yield tell("step.release_units.line", n=len(legs), trunk=trunk, units=units, fibres=fibres)
            yield from self.service.beside(trunk)
            idle = () if trunk in self.through.ends else book.cut_back_now(trunk)
            out = [leg for leg in book.let_out(trunk) if leg not in idle]
            for key, group in (("cut_back", idle), ("let_out", out)):
                if group:
                    units = self._units_named(leg.subunit for leg in group)
                    fibres = tell("count.fibres", n=sum(book.run(leg).count for leg in group))
                    yield tell(f"step.release_units.{key}", n=len(group), trunk=trunk, units=units, fibres=fibres)
        yield from self.service.parked()
        yield from self.through.release()
        yield tell("step.release_units.traffic")

    # --- the trial --------------------------------------------------------------------------------------------------

    def _part(self, act: Act) -> Iterator[str]:
        """Yield lines on how subunits are divided at the port; neighbours of one kind share a line."""
        yield from self._divisions(act.travellers, "step.part")

    def _fit(self, act: Act) -> Iterator[str]:
        for stack in self.book.job.enclosure.stacks:
            here = [self.book.trays[i] for i in act.trays if self.book.trays[i].stack == stack.id]
            for tray, count in Counter(map(self.book.hardware, here)).items():
                yield self.tell("step.fit.line", n=count, stack=stack.id, tray=tray.id)

    def _route(self, act: Act) -> Iterator[str]:
        book, tell, trunk = self.book, self.tell, act.trunks[0]
        way, travellers = book.ways[trunk], self._travellers(act)
        sizes = [(size, [t for t in travellers if t.diameter_mm == size]) for size, _ in counted_sizes(travellers)]
        tubes = ", ".join(
            tell("step.route.named", n=len(some), size=tell.size(size), names=named(book, (t.legs for t in some)))
            for size, some in sizes
        )
        if trunk in book.built_trunks:
            yield from self.service.coil(trunk)
        for key, idle in (("coiled", book.coiled_now(trunk)), ("cut_back", book.cut_back_now(trunk))):
            if act.coiled and idle:
                yield tell(f"step.route.{key}", n=len(idle), names=named(book, ([leg] for leg in idle)))
        travel = tell(f"travel.{way.travel}")
        yield tell("step.route.line", n=way.loops or 0, trunk=trunk, port=way.port, travel=travel, tubes=tubes)
        if guides := guides_of(book, travellers):
            yield tell("step.route.guides", guides=guide_words(guides, tell))

    def _mark(self, act: Act) -> Iterator[str]:
        tell, travellers = self.tell, self._travellers(act)
        legs = self._new(travellers)
        yield tell("step.mark.line", n=len(legs), first=named(self.book, ([leg] for leg in legs)))
        opened = sum(traveller.opened and not self.book.served(traveller) for traveller in travellers)
        if opened:
            length = tell.length(self.book.settings.materials.parting_mm)
            yield tell("step.mark.opened", n=opened, length=length)

    def _take_off(self, act: Act) -> Iterator[str]:
        yield self.tell("step.take_off.line", n=len(act.travellers))

    def _take_out(self, act: Act) -> Iterator[str]:
        book = self.book
        legs = [leg for i in act.trays for leg in book.tray_legs[i]]
        least = min(book.free_mm(leg) for leg in legs)
        yield self.tell("step.take_out.line", n=len(act.trays), length=self.tell.length(least))

    def _divide(self, act: Act) -> Iterator[str]:
        """Yield lines on how tubes are ended and divided at the bench; tubes in service have lines of their own."""
        book, tell = self.book, self.tell
        names = [name for name in act.travellers if not book.served(book.travellers[name])]
        own = [name for name in names if book.travellers[name].own]
        yield from self._divisions(own, "step.divide")
        for trunk in act.trunks:
            parted = sum(name not in own and book.travellers[name].trunk == trunk for name in names)
            if parted:
                yield tell("step.divide.port", n=parted, trunk=trunk)
        for traveller in self._travellers(act):
            if book.served(traveller):
                live = [leg.leg for leg in traveller.legs if leg.leg in book.built]
                new = ", ".join(leg.leg for leg in self._new([traveller]))
                span = traveller.legs[0].subunit
                yield tell(
                    "step.divide.served", n=len(live), trunk=traveller.trunk, span=span, live=", ".join(live), legs=new
                )

    def _divisions(self, names: Sequence[str], key: str) -> Iterator[str]:
        kinds: dict[tuple[str, int], int] = {}
        for name in names:
            for leg in self.book.travellers[name].legs:
                kinds[leg.trunk, leg.subunit] = leg.of
        rows = sorted((self.book.job.trunk_rank[trunk], number, of) for (trunk, number), of in kinds.items())
        start = 0
        for i, (rank, number, of) in enumerate(rows):
            if i + 1 < len(rows) and rows[i + 1] == (rank, number + 1, of):
                continue
            trunk = self.book.job.trunks[rank].id
            first = rows[start][1]
            span = str(first) if first == number else f"{first} – {number}"
            subunit = self.book.job.subunit_of_leg[trunk, number]
            yield self.tell(
                f"{key}.whole" if of == 1 else f"{key}.line",
                trunk=trunk,
                units=self.tell("step.units.span", n=number - first + 1, span=span),
                of=of,
                n=subunit.ribbons // of,
                fibres=self.tell("count.fibres", n=subunit.fibres // of),
                length=self.tell.length(self.book.settings.materials.parting_mm),
            )
            start = i + 1

    # --- trays ------------------------------------------------------------------------------------------------------

    def _splice(self, act: Act) -> Iterator[str]:
        book, tell, tray = self.book, self.tell, act.trays[0]
        names = [leg.leg for leg in book.tray_legs[tray] if leg.leg not in book.built]
        legs = tell("count.legs", n=len(names), legs=", ".join(names))
        sleeves = book.work_sleeves[tray]
        yield from self._ribbons(tray)
        if sleeves:
            yield tell(
                "step.splice.line", n=len(sleeves), splices=tell("count.splices", n=book.spliced(tray)), legs=legs
            )
            if tray == book.work_trays[0]:
                yield tell("step.splice.holder")
        else:
            yield tell("step.splice.none", legs=legs)
        if tied := tied_words(book, tell, tray):
            yield " ".join([tied, *self._spliced_together(tray)])
        if book.states[tray] == "opened":
            yield tell("step.splice.served")
        if parked := parked_of(book, tray):
            yield tell("step.splice.parked", runs=", ".join(parked))

    def _spliced_together(self, tray: int) -> Iterator[str]:
        """Yield which trays that come to the bench together are spliced before one is laid, and which of them stay closed."""
        book, tell = self.book, self.tell
        closed = [self._name(i) for i in book.group_of[tray] if book.states[i] == "closed"]
        work = [self._name(i) for i in book.group_of[tray] if book.states[i] != "closed"]
        if not closed:
            yield tell("step.splice.tied")
        elif len(work) > 1:
            yield tell("step.splice.tied_some", trays=tell.words.listed(work))
        if closed:
            yield tell("step.splice.tied_closed", n=len(closed), trays=tell.words.listed(closed))

    def _ribbons(self, tray: int) -> Iterator[str]:
        """Yield lines on the work on ribbons before a tray is spliced: making and splitting them."""
        book, tell, done = self.book, self.tell, self.book.handlings[tray]
        made: dict[tuple[str, int], list[int]] = {}
        for ribbon in done.made:
            made.setdefault((ribbon.trunk, ribbon.width), []).append(ribbon.subunit)
        for (trunk, width), units in made.items():
            key = "ribbonise" if book.job.trunk_by_id[trunk].in_ribbons else "loose"
            yield tell(f"step.splice.{key}", n=len(units), trunk=trunk, units=self._units_named(units), width=width)
        for trunk in book.ribbons:
            single = sum(name == trunk for name, *_ in done.separated)
            if single:
                yield tell("step.splice.separate", n=single, trunk=trunk)
            cuts = sum(name == trunk for name, _ in done.cuts)
            if cuts:
                shared = sum(
                    book.ribbons[trunk] == SPLIT and len(set(parts)) > 1
                    for sleeve in book.work_sleeves[tray]
                    for run in (sleeve.a, sleeve.b)
                    if run.trunk == trunk
                    for parts in ([book.seat(trunk, fibre).ribbon for fibre in (run.first, run.last)],)
                )
                key = "step.splice.side_by_side" if shared else "step.splice.split"
                yield tell(key, n=cuts, trunk=trunk, sleeves=shared)

    def _lay(self, act: Act) -> Iterator[str]:
        book, tell, tray = self.book, self.tell, act.trays[0]
        names = laid_with(book, tray)
        served = [name for name in names if book.served(book.travellers[name])]
        new = [name for name in names if name not in served]
        if new:
            yield tell("step.lay.track", n=len(new), names=", ".join(new))
        if served:
            yield tell("step.lay.served", n=len(served), names=", ".join(served))
        row = book.trays[tray]
        under = book.tray_index.get(Place(row.stack, row.position - 1))
        if under is None:
            key = "step.lay.first" if row.position == 1 else "step.lay.bare"
            yield tell(key, stack=row.stack, position=row.position)
        else:
            yield tell("step.lay.over", stack=row.stack, position=row.position, under=self._name(under))
        group = [i for i in book.group_of[tray] if book.states[i] != "closed"]
        closed = [i for i in book.group_of[tray] if book.states[i] == "closed"]
        back = [i for i in closed if tray == group[0] and i < tray] + [
            i for i in closed if tray == group[-1] and i > tray
        ]
        if back:
            yield tell("step.lay.tied", n=len(back), trays=", ".join(map(self._name, back)))
        over = book.above(tray) if tray == group[-1] else ()
        if over:
            yield tell("step.lay.back", n=len(over), trays=", ".join(map(self._name, reversed(over))))

    def _test(self, act: Act) -> Iterator[str]:
        book, tell, chosen = self.book, self.tell, self.book.settings.tests
        yield tell(
            "step.test.line",
            n=len(act.trays),
            trays=tell.words.listed([self._name(i) for i in act.trays]),
            splices=tell("count.splices", n=sum(book.spliced(i) for i in act.trays)),
            waves=tell.words.listed([f"{wave} nm" for wave in chosen.wavelengths_nm]),
            limit=chosen.limit_db,
            mean=chosen.batch_mean_db,
        )
        yield tell("step.test.gate" if (act.batch or 0) < len(book.batches) else "step.test.last")

    def _close(self, act: Act) -> Iterator[str]:
        del act
        book, tell = self.book, self.tell
        if not book.work:
            yield tell("step.close.nothing")
            return
        yield tell("step.close.dress", n=len(book.work_trays))
        if book.plan.unplaced:
            yield tell("step.close.unplaced", n=book.plan.value("unplaced"))
        yield tell("step.close.file")

    # --- common phrases ---------------------------------------------------------------------------------------------

    def _units_named(self, numbers: Iterable[int]) -> str:
        """Write subunits as ``units 1 – 3, 5``."""
        units = list(dict.fromkeys(numbers))
        return self.tell("step.units.span", n=len(units), span=spans(units))

    def _name(self, tray: int) -> str:
        return place_name(self.book.trays[tray])

    def _travellers(self, act: Act) -> list[Traveller]:
        return [self.book.travellers[name] for name in act.travellers]

    def _new(self, travellers: Sequence[Traveller]) -> list[PlanLeg]:
        return [leg for traveller in travellers for leg in traveller.legs if leg.leg not in self.book.built]
