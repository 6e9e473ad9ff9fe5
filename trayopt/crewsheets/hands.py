"""A simulation of hands on the ring: where everything lies while a box is built, and what every act needs.

The track carries travellers in the order in which they were laid: later ones lie over earlier ones. Trays are in their
stacks, outer trays over inner trays. A tray is spliced at the bench, with all its travellers off the track. So a tray with
a tube that lies on the track again cannot come to the bench, and neither can the trays that are tied to it by that tube.

A plan does not say how travellers in service lie on the track. After a signed hold point they can be taken off, while
everything over them is held aside. What this work itself has laid is never moved again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from copy import copy

from trayopt.crewsheets.acts import Act, Phase
from trayopt.crewsheets.book import Book
from trayopt.crewsheets.figures import place_name
from trayopt.crewsheets.passing import Passing, cut_before
from trayopt.crewsheets.travellers import Traveller
from trayopt.crewsheets.trouble import Trouble
from trayopt.rules.reach import Reach


class Hands:
    """The state of the ring, the stacks and the bench, from the box as it is found to the box as it is built."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self.known = set(book.built_trunks)
        """Trunks whose cable is identified."""
        self.counted: set[str] = set()
        """Trunks whose units are identified."""
        self.signed: set[str] = set()
        self.clamped = set(book.built_trunks)
        self.bare = set(book.built_trunks)
        """Trunks without their jacket."""
        live = [traveller for traveller in book.travellers.values() if book.served(traveller)]
        self.ring = [traveller.name for traveller in live]
        """Travellers and coils on the track, in order; the last lies over all others."""
        self.parted = {*(traveller.name for traveller in live), *book.parted_before}
        """Travellers that are parted at the port and lie in their tubes of the set."""
        self.passed_on = {item.trunk for item in book.passing if not item.new}
        """Trunks that go through and whose uncut tubes lie on the track."""
        self.cut = {
            (end, unit)
            for end in book.job.other_end
            for unit in cut_before(book.passing, end, book.job.trunk_by_id[end].subunits)
        }
        """Tubes of such trunks that are cut, by end and number."""
        self.marked: set[str] = set()
        self.divided: set[str] = set()
        self.tried: set[int] = set()
        """Empty trays that are in their places for the trial."""
        self.laid = {i for i, state in enumerate(book.states) if state != "new"}
        self.aside: set[int] = set()
        """Trays in service that are held aside."""
        self.bench: set[int] = set()
        """Trays that are out of the box, with their travellers."""
        self.spliced: set[int] = set()
        self.passed = {batch.number for batch in book.batches if not batch.fibres}
        bench = Reach().parameters(book.job).bench_mm
        self.bench_mm = 0 if book.job.rules[Reach.id].level == "off" else bench
        self._do: dict[Phase, Callable[[Act], Iterator[Trouble]]] = {
            "service": self._sign, "identify": self._identify, "release": self._release, "clamp": self._clamp,
            "strip": self._strip, "units": self._units, "pass": self._pass, "release_units": self._release_units,
            "cut": self._cut, "part": self._part,
            "fit": self._fit, "route": self._route, "mark": self._mark, "take_off": self._take_off,
            "take_out": self._take_out, "divide": self._divide, "open": self._open, "splice": self._splice,
            "lay": self._lay, "test": self._test, "close": self._close,
        }  # fmt: skip

    def copy(self) -> Hands:
        """Return an independent copy in the same state."""
        made = Hands(self.book)
        for name, value in vars(self).items():
            if name not in {"book", "_do"}:
                setattr(made, name, copy(value))
        return made

    def do(self, act: Act) -> list[Trouble]:
        """Do an act as far as possible, and return the troubles in the way."""
        if act.phase == "prepare":
            return []
        found = list(self._do[act.phase](act))
        if self.book.built_trunks and act.phase not in {"service", "close"} and "service" not in self.signed:
            found.append(Trouble("unsigned", act.phase, "service"))
        return found

    # --- before routing ---------------------------------------------------------------------------------------------

    def _sign(self, act: Act) -> Iterator[Trouble]:
        self.signed.add(act.phase)
        yield from ()

    def _signed(self, what: str, hold: str) -> Iterator[Trouble]:
        if hold not in self.signed:
            yield Trouble("unsigned", what, hold)

    def _identify(self, act: Act) -> Iterator[Trouble]:
        self.known.update(act.trunks)
        yield from ()

    def _release(self, act: Act) -> Iterator[Trouble]:
        yield from (Trouble("unknown", trunk) for trunk in act.trunks if trunk not in self.known)
        yield from self._sign(act)

    def _clamp(self, act: Act) -> Iterator[Trouble]:
        for trunk in act.trunks:
            yield from self._signed(trunk, "release")
            self.clamped.add(trunk)

    def _strip(self, act: Act) -> Iterator[Trouble]:
        for trunk in act.trunks:
            yield from self._signed(trunk, "release")
            if trunk not in self.clamped:
                yield Trouble("unclamped", trunk)
            self.bare.add(trunk)

    def _units(self, act: Act) -> Iterator[Trouble]:
        for trunk in act.trunks:
            if trunk not in self.bare:
                yield Trouble("jacket", trunk)
            self.counted.add(trunk)

    def _release_units(self, act: Act) -> Iterator[Trouble]:
        yield from (Trouble("unknown", trunk) for trunk in act.trunks if trunk not in self.counted)
        yield from self._sign(act)

    def _pass(self, act: Act) -> Iterator[Trouble]:
        for item in self._through(act):
            yield from (Trouble("jacket", end) for end in item.ends if end not in self.bare)
            yield from (Trouble("unknown", item.trunk) for end in item.ends if end not in self.counted)
            yield from (Trouble("covers", item.trunk, name) for name in self.ring if name in self._on_trial())
            self.ring.append(item.name)
            self.passed_on.add(item.trunk)

    def _cut(self, act: Act) -> Iterator[Trouble]:
        for item in self._through(act):
            yield from self._signed(item.trunk, "release_units")
            if item.uncut and item.trunk not in self.passed_on:
                yield Trouble("loose", item.trunk, item.name)
            for end in item.ends:
                if any(end in cut.capped for cut in item.cuts):
                    yield from (Trouble("covers", end, name) for name in self.ring if name in self._on_trial())
                    self.ring.append(coil_of(end))
                self.cut |= {(end, cut.unit) for cut in item.cuts}

    def _through(self, act: Act) -> list[Passing]:
        return [item for item in self.book.passing if item.ends[0] in act.trunks]

    def _severed(self, traveller: Traveller) -> Iterator[Trouble]:
        """Check that the tube of a traveller is cut, if its trunk goes through the box."""
        if traveller.trunk in self.book.job.other_end and (traveller.trunk, traveller.legs[0].subunit) not in self.cut:
            yield Trouble("uncut", traveller.name)

    def _part(self, act: Act) -> Iterator[Trouble]:
        for name in act.travellers:
            yield from self._severed(self.book.travellers[name])
            yield from self._signed(name, "release_units")
            yield from self._off(name)
            self.parted.add(name)

    # --- the trial --------------------------------------------------------------------------------------------------

    def _fit(self, act: Act) -> Iterator[Trouble]:
        for tray in act.trays:
            yield from self._free(tray)
            self.tried.add(tray)

    def _route(self, act: Act) -> Iterator[Trouble]:
        for trunk in act.trunks:
            if trunk not in self.bare:
                yield Trouble("jacket", trunk)
            if act.coiled and self.book.coiled_now(trunk):
                yield from (Trouble("covers", trunk, name) for name in self.ring if name in self._on_trial())
                self.ring.append(coil_of(trunk))
        for name in act.travellers:
            traveller = self.book.travellers[name]
            yield from self._severed(traveller)
            if not traveller.own and name not in self.parted:
                yield Trouble("whole", name)
            yield from self._off(name)
            yield from self._stand(traveller)
            self.ring.append(name)

    def _mark(self, act: Act) -> Iterator[Trouble]:
        for name in act.travellers:
            traveller = self.book.travellers[name]
            if name not in self.ring:
                yield Trouble("off_track", name)
            else:
                others = [other for other in self._over_on_ring([name]) if other not in act.travellers]
                yield from self._clear(traveller, others)
            yield from self._stand(traveller)
            self.marked.add(name)

    def _take_off(self, act: Act) -> Iterator[Trouble]:
        for name in reversed(act.travellers):
            traveller = self.book.travellers[name]
            if name not in self.ring:
                yield Trouble("off_track", name)
                continue
            yield from self._clear(traveller, self._over_on_ring([name]))
            yield from self._marked(traveller)
            self.ring.remove(name)

    def _take_out(self, act: Act) -> Iterator[Trouble]:
        for tray in act.trays:
            for traveller in self._travellers(tray):
                yield from self._marked(traveller)
            if self.book.states[tray] != "new":
                yield from self._fetch(tray)
                continue
            if tray not in self.tried:
                yield Trouble("not_there", self._name(tray))
            yield from self._buried(tray)
            self.tried.discard(tray)
            self.bench.add(tray)

    def _divide(self, act: Act) -> Iterator[Trouble]:
        for name in act.travellers:
            yield from self._signed(name, "release_units")
            yield from self._marked(self.book.travellers[name])
            yield from self._off(name)
            self.divided.add(name)

    # --- trays ------------------------------------------------------------------------------------------------------

    def _open(self, act: Act) -> Iterator[Trouble]:
        for tray in act.trays:
            self.signed.add(f"open {self.book.group_of[tray][0]}")
            group = self.book.group_of[tray]
            over = [i for i in group if any(self.book.states[k] == "new" and self._lies_over(i, k) for k in group)]
            self.aside.update(i for i in (*self.book.above(tray), *over) if i in self.laid)
        yield from ()

    def _splice(self, act: Act) -> Iterator[Trouble]:
        for tray in act.trays:
            if tray in self.laid:
                yield from self._fetch(tray)
            elif tray not in self.bench:
                yield Trouble("not_at_bench", self._name(tray))
            for traveller in self._travellers(tray):
                yield from self._off(traveller.name)
                if traveller.name in self.book.work_travellers and traveller.name not in self.divided:
                    yield Trouble("undivided", traveller.name)
            for leg in self.book.tray_legs[tray]:
                free = self.book.free_mm(leg)
                if free < self.bench_mm:
                    yield Trouble("reach", f"{leg.leg} ({self._name(tray)})", f"{free} / {self.bench_mm} mm")
            self.spliced.add(tray)

    def _lay(self, act: Act) -> Iterator[Trouble]:
        for tray in act.trays:
            group = self.book.group_of[tray]
            if tray not in self.spliced:
                yield Trouble("unspliced", self._name(tray))
            served = [i for i in group if self.book.states[i] == "closed" and i in self.bench]
            last = not any(i in self.bench for i in group if i > tray and i not in served)
            for i in sorted(i for i in (*served, tray) if i <= tray or last):
                yield from self._put(i)
            if last:
                self.aside.difference_update(self.book.above(tray))

    def _put(self, tray: int) -> Iterator[Trouble]:
        if tray not in self.bench:
            yield Trouble("not_at_bench", self._name(tray))
        yield from self._free(tray)
        for other in sorted({i for t in self._travellers(tray) for i in self._trays(t)}):
            if other in self.book.batch_of and other not in self.spliced:
                yield Trouble("ties", self._name(tray), self._name(other))
        for other in self.book.work_trays:
            if other not in self.laid and self._lies_over(tray, other):
                yield Trouble("buries", self._name(tray), self._name(other))
        own = next((self.book.batch_of[i] for i in self.book.group_of[tray] if i in self.book.batch_of), None)
        for i in sorted(self.laid):
            batch = self.book.batch_of.get(i, own)
            if self._lies_over(tray, i) and batch != own and batch not in self.passed:
                yield Trouble("untested", self._name(tray), self._name(i))
        self.ring += [t.name for t in self._travellers(tray) if t.name not in self.ring]
        self.bench.discard(tray)
        self.laid.add(tray)

    def _test(self, act: Act) -> Iterator[Trouble]:
        for tray in act.trays:
            if tray not in self.laid or tray not in self.spliced:
                yield Trouble("unspliced" if tray not in self.spliced else "not_there", self._name(tray))
        if act.batch is not None:
            self.passed.add(act.batch)

    def _close(self, act: Act) -> Iterator[Trouble]:
        del act
        yield from (Trouble("not_there", self._name(i)) for i in range(len(self.book.trays)) if i not in self.laid)
        yield from (Trouble("held_aside", self._name(i)) for i in sorted(self.aside))
        yield from (
            Trouble("loose", p.trunk, p.name) for p in self.book.passing if p.uncut and p.trunk not in self.passed_on
        )
        for batch in self.book.batches:
            if batch.number not in self.passed:
                yield Trouble("untested", "close", self._name(batch.trays[0]))

    # --- places -----------------------------------------------------------------------------------------------------

    def _name(self, tray: int) -> str:
        return place_name(self.book.trays[tray])

    def _trays(self, traveller: Traveller) -> set[int]:
        return {self.book.tray_of(leg) for leg in traveller.legs}

    def _travellers(self, tray: int) -> list[Traveller]:
        return list(dict.fromkeys(self.book.traveller_of[leg.leg] for leg in self.book.tray_legs[tray]))

    def _over(self, tray: int) -> list[int]:
        """Return the trays that are over a tray's place and are not held aside."""
        return [i for i in sorted((self.laid | self.tried) - self.aside) if self._lies_over(i, tray)]

    def _lies_over(self, tray: int, other: int) -> bool:
        """Whether the place of a tray lies over the place of another tray."""
        one, two = self.book.trays[tray], self.book.trays[other]
        return one.stack == two.stack and one.position > two.position

    def _buried(self, tray: int) -> Iterator[Trouble]:
        over = self._over(tray)
        if over:
            yield Trouble("buried", self._name(tray), ", ".join(self._name(i) for i in over))

    def _free(self, tray: int) -> Iterator[Trouble]:
        """Check that a tray can go to its place: there is no tray at this place and none over it."""
        if tray in self.laid or tray in self.tried:
            yield Trouble("taken", self._name(tray))
        yield from self._buried(tray)

    def _stand(self, traveller: Traveller) -> Iterator[Trouble]:
        """Check that the trays of a traveller's new legs are in their places."""
        standing = (self.laid | self.tried) - self.aside
        needed = {self.book.tray_of(leg) for leg in traveller.legs if leg.leg not in self.book.built}
        for tray in sorted(needed - standing):
            yield Trouble("no_stack", traveller.name, self._name(tray))

    def _on_trial(self) -> set[str]:
        """Return the travellers that will be taken off the track again, because their trays are not spliced yet."""
        made = self.book.work_travellers.values()
        return {t.name for t in made if not self.book.served(t) and not self._trays(t) <= self.spliced}

    def _marked(self, traveller: Traveller) -> Iterator[Trouble]:
        """Check that a traveller with legs to be made is marked."""
        if traveller.name in self.book.work_travellers and traveller.name not in self.marked:
            yield Trouble("unmarked", traveller.name)

    def _off(self, name: str) -> Iterator[Trouble]:
        """Check that a traveller is at hand and does not lie on the track."""
        if name in self.ring:
            yield Trouble("on_track", name)

    def over(self, name: str) -> list[str]:
        """Return everything on the track over a traveller, the lowest first; over one from before this work, everything."""
        return self._over_on_ring([name]) if name in self.ring else list(self.ring)

    def _over_on_ring(self, names: Sequence[str]) -> list[str]:
        """Return everything on the track over the lowest of some travellers, without these."""
        lowest = min(self.ring.index(name) for name in names)
        return [name for name in self.ring[lowest + 1 :] if name not in names]

    def _clear(self, traveller: Traveller, over: Iterable[str]) -> Iterator[Trouble]:
        """Check that nothing lies over a traveller on the track; for a traveller in service, it is held aside."""
        names = [name for name in over if not self.book.served(traveller)]
        if names:
            yield Trouble("buried", traveller.name, ", ".join(names))

    def _fetch(self, tray: int) -> Iterator[Trouble]:
        """Bring a tray in service to the bench, with its travellers and with the trays tied to it."""
        name = self._name(tray)
        if self.book.states[tray] == "new":
            yield Trouble("not_at_bench", name)
            return
        group = self.book.group_of[tray]
        yield from self._signed(name, f"open {group[0]}")
        for i in reversed(group):
            if i in self.laid and self.book.states[i] != "new":
                yield from self._buried(i)
                self.laid.discard(i)
                self.aside.discard(i)
                self.bench.add(i)
                for traveller in self._travellers(i):
                    if traveller.name in self.ring:
                        self.ring.remove(traveller.name)


def coil_of(trunk: str) -> str:
    """Return the name of the coiled part of a trunk on the track."""
    return f"{trunk}/…"


def replay(book: Book, acts: Iterable[Act]) -> list[tuple[int, Trouble]]:
    """Do acts one after the other, and return the troubles, each with the number of its act from 1."""
    hands = Hands(book)
    return [(number, trouble) for number, act in enumerate(acts, start=1) for trouble in hands.do(act)]
